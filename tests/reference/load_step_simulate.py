"""A load step on an LFP cell as PyBaMM computes it (single particle model with electrolyte, parameter set Prada2013,
lumped heat), sampled every half second: rest, then 1 C. Writes time, voltage, current, temperature; prints the number
of rows."""

import json
import sys

import numpy as np
import pybamm

model = pybamm.lithium_ion.SPMe({"thermal": "lumped"})
parameters = pybamm.ParameterValues("Prada2013")
# The set has no thermal part of its own: that of another set, with the loss to the air chosen for a rise of some kelvins.
thermal = pybamm.ParameterValues("Chen2020")
for name in model.default_parameter_values.keys():
    if name not in parameters.keys() and name in thermal.keys():
        parameters.update({name: thermal[name]}, check_already_exists=False)
for name in thermal.keys():
    if name not in parameters.keys():
        parameters.update({name: thermal[name]}, check_already_exists=False)
parameters.update({"Total heat transfer coefficient [W.m-2.K-1]": 60.0}, check_already_exists=False)
experiment = pybamm.Experiment([("Rest for 10 seconds", "Discharge at 1C for 25 minutes")], period="0.5 seconds")
solution = pybamm.Simulation(model, parameter_values=parameters, experiment=experiment).solve(initial_soc=0.9)
names = ["Time [s]", "Terminal voltage [V]", "Current [A]", "Volume-averaged cell temperature [K]"]
time, voltage, current, temperature = [solution[name].entries for name in names]
keep = np.concatenate([[True], np.diff(time) > 1e-6])
with open(sys.argv[1], "w", encoding="utf-8", newline="\n") as out:
    out.write("Time (s),Voltage (V),Current (A),Temperature (°C)\n")
    for row in zip(time[keep], voltage[keep], current[keep], temperature[keep] - 273.15):
        out.write(",".join(f"{value:.6f}" for value in row) + "\n")
print(json.dumps({"rows": int(keep.sum()), "rise": float(temperature[-1] - temperature[0])}))
