"""The differential curve of a discharge by public tools: argument 1 is a log of bench_simulate.py, argument 2 half the
window in samples.

Prints for the samples under load: charge by cumulative trapezoid (scipy), the slope of the voltage by the filter of
Savitzky and Golay (scipy), and by numpy.polyfit at a few places of an uneven grid. Then the same of the simulator's own
curve: the model is solved again at steps of one second, differentiated with numpy.gradient, and averaged over the window.
"""

import json
import sys

import numpy as np
import pybamm
from scipy.integrate import cumulative_trapezoid
from scipy.signal import savgol_filter

half = int(sys.argv[2])
t, v, i = np.loadtxt(sys.argv[1], delimiter=",", skiprows=2, unpack=True)
on = np.flatnonzero(i > 0.1)
q = cumulative_trapezoid(i, t, initial=0.0)
# Steady current on an even grid of time: an even grid of charge, from the second sample under load to the one before the cut-off.
on = on[1:-1]
q, v = q[on] - q[on[0]], v[on]
step = float(np.median(np.diff(q)))
assert np.allclose(np.diff(q), step, rtol=1e-6), "the grid is not even"
slope = savgol_filter(v, 2 * half + 1, polyorder=2, deriv=1, delta=step)

rng = np.random.default_rng(4)
uneven = np.sort(rng.choice(len(q), len(q) // 2, replace=False))
# Off the grid, so that no sample lies on the edge of a window.
centres = np.linspace(q[uneven[0]] + (half + 0.37) * step, q[uneven[-1]] - (half + 0.37) * step, 60)
fits = []
for centre in centres:
    inside = uneven[np.abs(q[uneven] - centre) <= half * step]
    fits.append(float(np.polyfit(q[inside] - centre, v[inside], 1)[0]))

model = pybamm.lithium_ion.SPMe()
experiment = pybamm.Experiment([("Rest for 5 minutes", "Discharge at C/5 until 2.5 V")], period="1 seconds")
parameters = pybamm.ParameterValues("Prada2013")
solution = pybamm.Simulation(model, parameter_values=parameters, experiment=experiment).solve(initial_soc=1.0)
time, voltage, current = (solution[name].entries for name in ["Time [s]", "Terminal voltage [V]", "Current [A]"])
load = np.flatnonzero(current > 0.1)[1:-1]
charge = cumulative_trapezoid(current[load], time[load], initial=0.0)
fine = np.gradient(voltage[load], charge)
# From the first sample of the log that is used: the two grids do not begin at the same moment.
charge += (time[load[0]] - t[on[0]]) * float(np.median(i[on]))
places = np.linspace(charge[-1] * 0.05, charge[-1] * 0.9, 50)
window = 2 * half * step
truth = []
for place in places:
    inside = np.abs(charge - place) <= window / 2
    # A straight line over a window is the mean of the slopes in it, weighed by a parabola.
    weight = 1 - ((charge[inside] - place) / (window / 2)) ** 2
    truth.append(float(np.average(fine[inside], weights=weight)))

print(
    json.dumps(
        {
            "charge": q.tolist(),
            "voltage": v.tolist(),
            "window": window,
            "slope": slope.tolist(),
            "uneven": uneven.tolist(),
            "centres": centres.tolist(),
            "fits": fits,
            "places": places.tolist(),
            "truth": truth,
        }
    )
)
