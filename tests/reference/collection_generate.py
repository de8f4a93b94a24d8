"""Makes a folder of invented inspections, varied from the two examples: collection_generate.py ROOT NUMBER [--logs].

Numbers follow from the place in the list alone, so that two runs make the same. With --logs each inspection gets the
logs of its example; without them it has no bench test.
"""

import re
import shutil
import sys
from pathlib import Path

EXAMPLES = Path(__file__).resolve().parents[2] / "example-inspections"
MAKERS = ["Marrowby Electric", "Tollgate Cells", "Pennywhistle Power", "Inkerfold", "Saltmarsh & Daughters"]
CURRENCIES = ["EUR", "EUR", "EUR", "GBP", "USD"]


def varied(text, number):
    """The record of an example with other numbers in it."""
    maker = MAKERS[number % len(MAKERS)]
    rated = 60 + 10 * (number * 7 % 23)
    width, thick = 12 + number * 5 % 24, 1 + number % 4
    capacity = 100 + 10 * (number * 3 % 15)
    changes = [
        (r'^title = .*$', f'title = "Invented pack {number}"'),
        (r'^maker = .*$', f'maker = "{maker}"'),
        (r'^model = .*$', f'model = "Harbour {rated}-{capacity}"'),
        (r'^revision = .*$', f'revision = "{"ABCD"[number % 4]}"'),
        (r'^serial = .*$', f'serial = "INVENTED-{number:05d}"'),
        (r'^price = .*$', f'price = "{300 + number * 13 % 700}.00 {CURRENCIES[number * 3 % 5]}"'),
        (r'^continuous_current = .*$', f'continuous_current = "{rated} A"'),
        (r'^capacity = "150 Ah"$', f'capacity = "{capacity} Ah"'),
        (r'"25.02 x 3.01 mm"', f'"{width}.02 x {thick}.01 mm"'),
        (r'"20.04 x 1.52 mm"', f'"{width}.04 x {thick}.02 mm"'),
    ]
    for pattern, new in changes:
        text = re.sub(pattern, lambda _: new, text, count=1, flags=re.MULTILINE)
    return text


def without_logs(text):
    return re.sub(r'^log = .*\n', '', text, flags=re.MULTILINE)


def main():
    root, number = Path(sys.argv[1]), int(sys.argv[2])
    logs = "--logs" in sys.argv[3:]
    names = ["harbour-24-150-rev-a", "harbour-24-150-rev-b"]
    texts = [(EXAMPLES / name / "inspection.toml").read_text(encoding="utf-8") for name in names]
    for index in range(number):
        which = index % 2
        folder = root / f"{index // 1000:02d}" / f"pack-{index:05d}"
        folder.mkdir(parents=True)
        text = varied(texts[which], index)
        if logs:
            (folder / "logs").mkdir()
            for log in sorted((EXAMPLES / names[which] / "logs").iterdir()):
                shutil.copyfile(log, folder / "logs" / log.name)
        else:
            text = without_logs(text)
        (folder / "inspection.toml").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
