"""Evaluates expressions with the `uncertainties` library, for tests/reference_uncertainty.rs.

Reads one JSON object from standard input and writes a list of [value, standard uncertainty] to standard output.
The heat balance and the cable law below are written from the published formulas, not from the Rust code.
"""

import json
import math
import re
import sys

import numpy as np
from uncertainties import UFloat, nominal_value, ufloat, umath, wrap

SIGMA = 5.670374419e-8  # W/(m2 K4), CODATA
G = 9.80665  # m/s2


def air(kelvin):
    """Viscosity, conductivity, Prandtl number of air: Sutherland's law, constants after White."""
    mu = 1.716e-5 * (kelvin / 273.15) ** 1.5 * (273.15 + 110.4) / (kelvin + 110.4)
    k = 0.02414 * (kelvin / 273.15) ** 1.5 * (273.15 + 194.0) / (kelvin + 194.0)
    rho = 101325.0 / (287.05 * kelvin)
    return mu / rho, k, mu * 1006.0 / k


# Share of the conductivity of annealed copper (17.241 nOhm m), temperature coefficient at 20 degC.
METALS = {"copper": (0.99, 0.00393 * 0.99), "aluminium": (0.61, 0.00403), "brass": (0.28, 0.0015)}


def busbar(metal):
    iacs, alpha = METALS[metal]

    def current(width, thickness, ambient, rise):
        film = ambient + rise / 2
        nu, k, pr = air(film)
        rayleigh = G * (1 / film) * rise * width**3 / nu**2 * pr
        nusselt = (
            0.825 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.492 / pr) ** (9 / 16)) ** (8 / 27)
        ) ** 2
        perimeter = 2 * (width + thickness)
        lost = nusselt * k / width * perimeter * rise
        lost += 0.4 * SIGMA * perimeter * ((ambient + rise) ** 4 - ambient**4)
        ohms = 1.7241e-8 / iacs * (1 + alpha * (ambient + rise - 293.15)) / (width * thickness)
        return math.sqrt(lost / ohms)

    return current


CLASSES = [60, 75, 80, 90, 105, 125, 200]
TABLE_5 = {
    18: [10, 10, 15, 20, 20, 25, 25],
    16: [15, 15, 20, 25, 25, 30, 35],
    14: [20, 20, 25, 30, 35, 40, 45],
    12: [25, 25, 35, 40, 45, 50, 55],
    10: [40, 40, 50, 55, 60, 70, 70],
    8: [55, 65, 70, 70, 80, 90, 100],
    6: [80, 95, 100, 100, 120, 125, 135],
    4: [105, 125, 130, 135, 160, 170, 180],
    3: [120, 145, 150, 155, 180, 195, 210],
    2: [140, 170, 175, 180, 210, 225, 240],
    1: [165, 195, 210, 210, 245, 265, 280],
    0: [195, 230, 245, 245, 285, 305, 325],
    -1: [225, 265, 285, 285, 330, 355, 370],
    -2: [260, 310, 330, 330, 385, 410, 430],
    -3: [300, 360, 385, 385, 445, 475, 510],
}


def cable(size, insulation, ambient):
    """33 CFR 183.425, table 5: straight lines between classes, log-log between sizes; 0.85 at 50 degC sets the exponent."""
    gauge = np.array(list(TABLE_5))
    amps = np.array([np.interp(insulation - 273.15, CLASSES, row) for row in TABLE_5.values()])
    area = math.pi / 4 * (0.127e-3 * 92.0 ** ((36 - gauge) / 39)) ** 2
    base = math.exp(np.interp(math.log(size), np.log(area), np.log(amps)))
    power = math.log(0.85) / math.log(55 / 75)
    return base * ((insulation - ambient) / (insulation - 303.15)) ** power


def pair(result):
    if isinstance(result, UFloat):
        return [result.nominal_value, result.std_dev]
    return [float(result), 0.0]


def main():
    task = json.load(sys.stdin)
    shared = {name: ufloat(0, 1) for name in task.get("shared", [])}
    names = {}
    for name, (value, own, source, common) in task["variables"].items():
        names[name] = value + ufloat(0, own) + (common * shared[source] if source else 0)
    functions = {
        "sqrt": umath.sqrt,
        "abs": lambda x: -x if nominal_value(x) < 0 else x,
        "min": lambda *xs: min(xs, key=nominal_value),
        "max": lambda *xs: max(xs, key=nominal_value),
    }
    for metal in METALS:
        functions[f"busbar_{metal}"] = wrap(busbar(metal))
    functions["cable_ampacity"] = wrap(cable)
    scope = {name.replace(".", "_"): value for name, value in names.items()}
    results = []
    for text in task["expressions"]:
        text = re.sub(r"(\d) (A|V|W|ohm)\b", r"\1", text)
        text = re.sub(r'busbar_current\("(\w+)", ', r"busbar_\1(", text)
        text = re.sub(r"([a-z]+)\.([a-z0-9_]+)", r"\1_\2", text).replace("^", "**")
        results.append(pair(eval(text, {"__builtins__": {}}, {**functions, **scope})))
    json.dump(results, sys.stdout)


main()
