"""Charge and energy of a clean log by three general-purpose libraries: scipy.integrate, pandas and polars.

usage: bench_integrals.py log.csv skip_rows time voltage current [step column and number]
Times that do not rise are dropped first, as a person would: the row is dropped whose time lies below the largest before it.
"""

import json
import sys

import numpy as np
import pandas as pd
import polars as pl
from scipy.integrate import trapezoid

path, skip, time, voltage, current = sys.argv[1], int(sys.argv[2]), *sys.argv[3:6]
log = pd.read_csv(path, skiprows=skip)
log = log[log[time] >= log[time].cummax()]
if len(sys.argv) > 6:
    log = log[log[sys.argv[6]] == float(sys.argv[7])]
t, v, i = (log[name].to_numpy() for name in (time, voltage, current))
step = log[time].diff()
frame = pl.DataFrame({"t": t, "v": v, "i": i})
dt = pl.col("t").diff()
half = lambda of: (dt * (of + of.shift(1)) / 2).sum()
polars = frame.select(q=half(pl.col("i")), e=half(pl.col("i") * pl.col("v"))).row(0)
pandas = [float((step * (x + x.shift(1)) / 2).sum()) for x in (log[current], log[current] * log[voltage])]
print(
    json.dumps(
        {
            "scipy": [float(trapezoid(i, t)), float(trapezoid(i * v, t))],
            "pandas": pandas,
            "polars": list(polars),
            "rows": int(len(t)),
        }
    )
)
