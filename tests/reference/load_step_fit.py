"""Fits the approach to a steady temperature with scipy.optimize.curve_fit, and takes the resistance of the first load
step with numpy, from a log with the columns time, voltage, current, temperature. Prints both as JSON."""

import json
import sys

import numpy as np
from scipy.optimize import curve_fit

data = np.loadtxt(sys.argv[1], delimiter=",", skiprows=1)
time, voltage, current, temperature = data.T
on = int(np.argmax(current > 0.5 * current.max()))
under = slice(on, None)
t = time[under] - time[on]


def approach(t, last, first, tau):
    return last - (last - first) * np.exp(-t / tau)


guess = (temperature[-1], temperature[on], t[-1] / 3)
found, covariance = curve_fit(approach, t, temperature[under], p0=guess)


def resistance(after):
    v = np.interp(time[on] + after, time[on:], voltage[on:])
    i = np.interp(time[on] + after, time[on:], current[on:])
    before = slice(max(0, on - 8), on)
    return float((voltage[before].mean() - v) / (i - current[before].mean()))


print(
    json.dumps(
        {
            "final": float(found[0]),
            "tau": float(found[2]),
            "final_standard": float(np.sqrt(covariance[0][0])),
            "resistance": [resistance(after) for after in (0.0, 1.0, 10.0)],
        }
    )
)
