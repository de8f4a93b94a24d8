"""Simulated packs of a richer model than the program's, written from the equations: bars in two dimensions with a round
contact, air in two layers, the core of a cell apart from its can, films that grow with the difference.

`thermal_packs.py FIRST COUNT` prints, for each pack, what three sensors read after an hour at a test current (with noise)
and the current of one full discharge at which the first place reaches its limit. The pack is the invented one of
tests/integration/common/pack.rs; its free quantities are drawn from RANGES, which stand there as well. All numbers SI.
"""
import json
import sys

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.sparse import coo_matrix, diags

SIGMA, LORENZ, ZERO = 5.670374419e-8, 2.443e-8, 273.15
CELLS, CHARGE, TEST = 4, 150.0 * 3600, (120.0, 3600.0)
WIDTH, THICKNESS, GRID, LAP = 0.02, 0.002, 0.004, 0.02
RANGES = [
    ("ambient", 23 + ZERO, 27 + ZERO), ("film inside", 2, 6), ("film outside", 4, 10), ("emissivity of bars", 0.05, 0.4),
    ("post conductance", 0.2, 1), ("post resistance", 5e-6, 30e-6), ("joint resistance", 5e-6, 25e-6),
    ("joint conductance", 0.5, 4), ("cell resistance", 0.4e-3, 0.9e-3), ("cell resistance slope", -0.015, -0.005),
    ("reversible heat", -1e-4, 1e-4), ("cell heat capacity", 2900, 3500), ("cell to wall", 0.2, 1), ("cell to cell", 1, 5),
    ("resistivity", 1.72e-8, 1.80e-8), ("fuse resistance", 0.2e-3, 0.4e-3), ("BMS resistance", 0.3e-3, 0.5e-3),
    ("BMS to wall", 0.2, 1.5), ("insulation conductivity", 0.15, 0.3), ("film at leads", 4, 9),
]


class Pack:
    def __init__(self, rng):
        self.mass, self.edges, self.films, self.rays, self.heats, self.limits = [], [], [], [], [], []
        self.q = q = {name: rng.uniform(low, high) for name, low, high in RANGES}
        # What the program's equations do not know.
        self.core_to_can, self.layers, self.radius = rng.uniform(8, 30), rng.uniform(0.2, 1.5), rng.uniform(6e-3, 9e-3)
        self.room = self.node(np.inf)
        wall, low, high = self.node(2500), self.node(7.5), self.node(7.5)
        self.edges += [(low, high, self.layers), (low, wall, q["film inside"] * 0.175), (high, wall, q["film inside"] * 0.175)]
        self.edges.append((wall, self.room, q["film outside"] * 0.45))
        self.rays.append((wall, self.room, 0.9 * 0.45 * SIGMA))
        self.air, self.wall = high, wall
        posts, cans = [], []
        for _ in range(CELLS):
            core, can, minus, plus = self.node(0.85 * q["cell heat capacity"]), self.node(0.15 * q["cell heat capacity"]), self.node(30), self.node(30)
            self.edges += [(core, can, self.core_to_can), (can, wall, q["cell to wall"])]
            for post in (minus, plus):
                self.edges.append((post, core, q["post conductance"]))
                self.heats.append((post, q["post resistance"], 0.0, 298.15, 0.0))
                self.limits.append((post, 60 + ZERO))
            self.heats.append((core, q["cell resistance"], q["cell resistance slope"], 298.15, q["reversible heat"]))
            self.limits.append((core, 60 + ZERO))
            posts.append((minus, plus))
            cans.append(can)
        self.edges += [(a, b, q["cell to cell"]) for a, b in zip(cans, cans[1:])]
        links = [self.plate(posts[k][1], posts[k + 1][0], 0.05) for k in range(CELLS - 1)]
        inlet, bms, outlet = self.node(0), self.node(150), self.node(0)
        self.plate(posts[0][0], None, 0.1, inlet)
        self.edges += [(inlet, bms, 1.0), (bms, outlet, 1.0), (bms, wall, q["BMS to wall"])]
        self.heats.append((bms, q["BMS resistance"], 0.004, 298.15, 0.0))
        before, fuse, after = self.node(0), self.node(20), self.node(0)
        bar = self.plate(posts[-1][1], None, 0.1, before)
        self.edges += [(before, fuse, 2.0), (fuse, after, 2.0)]
        self.heats.append((fuse, q["fuse resistance"], 0.004, 298.15, 0.0))
        self.limits += [(bms, 100 + ZERO), (fuse, 120 + ZERO)]
        for start in (outlet, after):
            inside = self.node(0)
            self.cable(start, inside, 0.15, high, wall)
            self.cable(inside, self.room, 1.0, self.room, self.room)
        self.sensors = [links[-1][len(links[-1]) // 2], bar[len(bar) // 2], fuse]
        self.build()

    def node(self, capacity):
        self.mass.append(max(capacity, 1e-3))
        return len(self.mass) - 1

    def metal(self, node, resistance):
        self.heats.append((node, resistance, 0.0039, 293.15, 0.0))

    def surface(self, node, area):
        self.films.append((node, self.air, self.q["film inside"] * area))
        self.rays.append((node, self.wall, self.q["emissivity of bars"] * area * SIGMA))

    def plate(self, start, end, length, far=None):
        """A bar in two dimensions: round contacts on posts at its laps, or its last column at a point. Its middle row."""
        total = length + LAP * (2 if far is None else 1)
        nx, ny = round(total / GRID), round(WIDTH / GRID)
        at = lambda i, j: i * ny + j
        x, y = (np.arange(nx) + 0.5) * GRID, (np.arange(ny) + 0.5) * GRID - WIDTH / 2
        nodes = [self.node(3.42e6 * GRID * GRID * THICKNESS) for _ in range(nx * ny)]
        contacts = []
        for post, centre in ((start, LAP / 2),) + (((end, total - LAP / 2),) if far is None else ()):
            contacts.append((post, [at(i, j) for i in range(nx) for j in range(ny) if (x[i] - centre) ** 2 + y[j] ** 2 < self.radius**2]))
        pairs = [(at(i, j), at(i + 1, j)) for i in range(nx - 1) for j in range(ny)] + [(at(i, j), at(i, j + 1)) for i in range(nx) for j in range(ny - 1)]
        # Potentials: one contact at nought, the other (or the last column) at one; then scaled to one ampere.
        sheet, m, right = THICKNESS / self.q["resistivity"], np.zeros((nx * ny, nx * ny)), np.zeros(nx * ny)
        for a, b in pairs:
            m[a, a] += sheet; m[b, b] += sheet; m[a, b] -= sheet; m[b, a] -= sheet
        ties = [(k, 1 / (self.q["joint resistance"] * len(c[1])), float(side)) for side, c in enumerate(contacts) for k in c[1]]
        if far is not None:
            ties += [(at(nx - 1, j), 2 * sheet, 1.0) for j in range(ny)]
        for k, g, level in ties:
            m[k, k] += g
            right[k] += g * level
        v = np.linalg.solve(m, right)
        amps = sum(g * v[k] for k, g, level in ties if level == 0)
        for a, b in pairs:
            for k in (a, b):
                self.metal(nodes[k], sheet * ((v[a] - v[b]) / amps) ** 2 / 2)
            self.edges.append((nodes[a], nodes[b], 388.0 * THICKNESS))
        for k, g, level in ties:
            heat = g * ((v[k] - level) / amps) ** 2
            post = far if far is not None and level == 1 else contacts[int(level)][0]
            if post == far:
                self.metal(nodes[k], heat)
                self.edges.append((nodes[k], far, 2 * 388.0 * THICKNESS))
                continue
            for point in (nodes[k], post):
                self.heats.append((point, heat / 2, 0.0, 298.15, 0.0))
            count = len(contacts[int(level)][1])
            self.edges.append((nodes[k], post, (self.q["joint conductance"] + LORENZ * 325 / self.q["joint resistance"]) / count))
        for i in range(nx):
            lapped = x[i] < LAP or (far is None and x[i] > total - LAP)
            for j in range(ny):
                edge = 2 * THICKNESS * GRID / ny
                self.surface(nodes[at(i, j)], (1 if lapped else 2) * GRID * GRID + edge)
                self.limits.append((nodes[at(i, j)], 90 + ZERO))
        if far is not None:
            self.limits.append((far, 90 + ZERO))
        return [nodes[at(i, ny // 2)] for i in range(nx) if far is not None and x[i] > LAP or far is None and LAP < x[i] < total - LAP]

    def cable(self, start, end, length, air, faced):
        count, area, cover = max(6, round(length / 0.025)), 50e-6, 1.8e-3
        step, inner = length / count, 2 * np.sqrt(np.pi * area)
        outer = inner + 2 * np.pi * cover
        line = [self.node(3.42e6 * area * step) for _ in range(count)]
        g = 388.0 * area / step
        for k, node in enumerate(line):
            skin = self.node(1.8e6 * (inner + outer) / 2 * cover * step)
            self.metal(node, self.q["resistivity"] * step / area)
            self.edges.append((node, skin, self.q["insulation conductivity"] * (outer - inner) / np.log(outer / inner) / cover * step))
            self.edges.append((skin, air, self.q["film at leads"] * outer * step))
            self.rays.append((skin, faced, 0.9 * outer * step * SIGMA))
            self.edges.append((line[k - 1], node, g) if k else (start, node, 2 * g))
            self.limits.append((node, 105 + ZERO))
        self.edges.append((line[-1], end, 2 * g))

    def build(self):
        n = len(self.mass)
        self.edges, self.films, self.rays = (tuple(np.array(c) for c in zip(*part)) for part in (self.edges, self.films, self.rays))
        a, b, g = self.edges
        a, b = a.astype(int), b.astype(int)
        rows, columns, values = np.r_[a, b, a, b], np.r_[a, b, b, a], np.r_[g, g, -g, -g]
        self.lead = coo_matrix((values, (rows, columns)), (n, n)).tocsr()
        self.mass = np.array(self.mass)
        heats = np.array(self.heats)
        self.heat_at, self.heats = heats[:, 0].astype(int), heats[:, 1:]
        self.free = np.arange(n) != self.room

    def flow(self, t, current):
        f = -(self.lead @ t)
        a, b, g = self.films
        d = t[a.astype(int)] - t[b.astype(int)]
        # A film of natural convection: as drawn at a difference of 20 K.
        q = g * d * (np.maximum(np.abs(d), 0.5) / 20) ** 0.2
        np.add.at(f, a.astype(int), -q)
        np.add.at(f, b.astype(int), q)
        a, b, s = self.rays
        q = s * (t[a.astype(int)] ** 4 - t[b.astype(int)] ** 4)
        np.add.at(f, a.astype(int), -q)
        np.add.at(f, b.astype(int), q)
        r, slope, reference, reversible = self.heats.T
        here = t[self.heat_at]
        np.add.at(f, self.heat_at, current**2 * r * np.maximum(1 + slope * (here - reference), 0.2) + current * reversible * here)
        return f

    def course(self, current, seconds):
        t = np.full(len(self.mass), self.q["ambient"])

        def rates(_, y):
            t[self.free] = y
            return self.flow(t, current)[self.free] / self.mass[self.free]

        # The slopes but for radiation and films, which are small: enough for Newton's method inside BDF.
        slopes = (-diags(1 / self.mass[self.free]) @ self.lead[self.free][:, self.free]).tocsc()
        y = solve_ivp(rates, (0, seconds), t[self.free].copy(), method="BDF", rtol=1e-4, atol=1e-2, jac=slopes).y[:, -1]
        t[self.free] = y
        return t

    def over(self, log_current):
        current = float(np.exp(log_current))
        t = self.course(current, CHARGE / current)
        return max(np.log(max(t[k] - self.q["ambient"], 1e-6) / (limit - self.q["ambient"])) for k, limit in self.limits)


if __name__ == "__main__":
    first, count = int(sys.argv[1]), int(sys.argv[2])
    for number in range(first, first + count):
        rng = np.random.default_rng(number)
        pack = Pack(rng)
        t = pack.course(*TEST)
        readings = [float(t[k] + rng.normal(0, 1)) for k in pack.sensors]
        current = float(np.exp(brentq(pack.over, np.log(60), np.log(400), xtol=3e-3)))
        print(json.dumps(dict(readings=readings, current=current)), flush=True)
