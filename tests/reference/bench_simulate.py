"""Makes tests/data/logs/lfp-discharge-simulated.csv: a discharge of an LFP cell at 0.2 C after a rest, as PyBaMM
(single particle model with electrolyte, parameter set Prada2013) computes it, and prints the capacity and the energy.

The log has a sample every 20 s, rounded like an instrument's. The capacity is the simulator's own variable. The energy is
the integral of its terminal voltage and current at steps of one second; its variable "Discharge energy" lies 0.2 %
below that integral for this model at any step, so it is printed but not used as the reference.
"""

import json
import sys

import numpy as np
import pybamm


def solve(period):
    model = pybamm.lithium_ion.SPMe({"calculate discharge energy": "true"})
    experiment = pybamm.Experiment(
        [("Rest for 5 minutes", "Discharge at C/5 until 2.5 V", "Rest for 5 minutes")], period=period
    )
    parameters = pybamm.ParameterValues("Prada2013")
    solution = pybamm.Simulation(model, parameter_values=parameters, experiment=experiment).solve(initial_soc=1.0)
    names = ["Time [s]", "Terminal voltage [V]", "Current [A]", "Discharge capacity [A.h]", "Discharge energy [W.h]"]
    return [solution[name].entries for name in names]


time, voltage, current, discharge, energy = solve("20 seconds")
keep = np.concatenate([[True], np.diff(time) > 1e-6])
with open(sys.argv[1], "w", encoding="utf-8", newline="\n") as out:
    out.write("Simulated with PyBaMM, parameter set Prada2013\n")
    out.write("Test Time / s,Voltage / V,Current / A\n")
    for t, v, i in zip(time[keep], voltage[keep], current[keep]):
        out.write(f"{t:.3f},{v:.5f},{i:.5f}\n")
t, v, i, _, _ = solve("1 seconds")
on = i > 0
print(
    json.dumps(
        {
            "capacity_ah": float(discharge[-1] - discharge[0]),
            "energy_wh": float(np.trapezoid(v[on] * i[on], t[on]) / 3600),
            "energy_variable_wh": float(energy[-1] - energy[0]),
        }
    )
)
