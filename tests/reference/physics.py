"""Reference values for tests/reference_physics.rs from the `ht`, `fluids` and `scipy` libraries.

Reads one JSON object from standard input, {"air": [...], "nusselt": [...], "bars": [...]}, and writes the answers
under the same keys to standard output.
"""

import json
import sys

from fluids import ATMOSPHERE_1976
from ht.conv_free_immersed import Nu_vertical_plate_Churchill
from scipy.constants import Stefan_Boltzmann, g
from scipy.optimize import brentq

PRESSURE = 101325.0  # Pa
HEAT_CAPACITY = 1006.0  # J/(kg K), dry air near room temperature


def air(kelvin):
    """Kinematic viscosity, conductivity and Prandtl number after the US Standard Atmosphere 1976."""
    mu = ATMOSPHERE_1976.viscosity(kelvin)
    k = ATMOSPHERE_1976.thermal_conductivity(kelvin)
    rho = ATMOSPHERE_1976.density(kelvin, PRESSURE)
    return [mu / rho, k, mu * HEAT_CAPACITY / k]


# Resistivity of annealed copper over the metal's conductivity in IACS, coefficient at 20 degC (handbooks).
METALS = {"copper": (0.99, 0.00389), "aluminium": (0.61, 0.00403), "brass": (0.28, 0.0015)}


def rise(bar):
    """Temperature rise at which the heat made in a metre of bar leaves it."""
    width, thickness, ambient = bar["width"], bar["thickness"], bar["ambient"]
    iacs, alpha = METALS[bar["metal"]]
    surface = 2 * (width + thickness)

    def balance(dt):
        hot = ambient + dt
        film = 0.5 * (ambient + hot)
        nu, k, pr = air(film)
        grashof = g * dt * width**3 / (film * nu**2)
        h = Nu_vertical_plate_Churchill(pr, grashof) * k / width
        lost = surface * (h * dt + bar["emissivity"] * Stefan_Boltzmann * (hot**4 - ambient**4))
        made = bar["current"] ** 2 * 1.7241e-8 / iacs * (1 + alpha * (hot - 293.15)) / (width * thickness)
        return made - lost

    return brentq(balance, 1e-6, 400.0, xtol=1e-10)


def main():
    task = json.load(sys.stdin)
    json.dump(
        {
            "air": [air(kelvin) for kelvin in task["air"]],
            "nusselt": [Nu_vertical_plate_Churchill(pr, gr) for pr, gr in task["nusselt"]],
            "bars": [rise(bar) for bar in task["bars"]],
        },
        sys.stdout,
    )


main()
