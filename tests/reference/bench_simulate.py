"""Makes tests/data/logs/lfp-discharge-simulated.csv: a discharge of an LFP cell at 0.2 C after a rest, as PyBaMM
(single particle model with electrolyte, parameter set Prada2013) computes it, and prints what the simulator itself says about it.

The log is sampled every 20 s and rounded like an instrument's; the capacity is the simulator's own variable.
"""

import json
import sys

import numpy as np
import pybamm

model = pybamm.lithium_ion.SPMe({"calculate discharge energy": "true"})
parameters = pybamm.ParameterValues("Prada2013")
experiment = pybamm.Experiment(
    [("Rest for 5 minutes", "Discharge at C/5 until 2.5 V", "Rest for 5 minutes")],
    period="20 seconds",
)
solution = pybamm.Simulation(model, parameter_values=parameters, experiment=experiment).solve(
    initial_soc=1.0
)
time = solution["Time [s]"].entries
voltage = solution["Terminal voltage [V]"].entries
current = solution["Current [A]"].entries
keep = np.concatenate([[True], np.diff(time) > 1e-6])
with open(sys.argv[1], "w", encoding="utf-8", newline="\n") as out:
    out.write("Simulated with PyBaMM, parameter set Prada2013\n")
    out.write("Test Time / s,Voltage / V,Current / A\n")
    for t, v, i in zip(time[keep], voltage[keep], current[keep]):
        out.write(f"{t:.3f},{v:.5f},{i:.5f}\n")
discharge = solution["Discharge capacity [A.h]"].entries
energy = solution["Discharge energy [W.h]"].entries
print(json.dumps({"capacity_ah": float(discharge[-1] - discharge[0]), "energy_wh": float(energy[-1] - energy[0])}))
