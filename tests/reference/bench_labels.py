"""The labels of the Battery Data Format, as its reference implementation (`batterydf` on PyPI) lists them: both kinds, with units,
and the other names that it takes for the same quantity."""

import importlib
import json
import sys

import bdf  # noqa: F401  (its package replaces the module name below by a function)

spec = sys.modules["bdf.normalize.spec"]
print(
    json.dumps(
        [
            {
                "name": entry["mr_name"],
                "label": entry["label_template"].format(unit=entry["unit"]),
                "unit": entry["unit"],
                "other": entry["synonyms"],
            }
            for entry in spec._STATIC_COLUMNS.values()
        ]
    )
)
