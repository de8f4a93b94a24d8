"""Temperatures of electro-thermal networks, from the equations, independently of the program.

`solve` reads networks as JSON lines and writes their temperatures; `random SEED COUNT` makes networks and solves them. Bars are spectral elements (Gauss-Lobatto-Legendre,
order 6, Galerkin), overlaps a continuous contact with an evenly leaving current, currents a nodal analysis of all
elements; in time scipy's BDF, steady Newton's method after a long time. All numbers SI.
Sources: heat equation of a fin with a source; Newton, Stefan-Boltzmann, Churchill-Chu (1975) and Incropera-DeWitt
9.30/9.32 for surfaces; Wiedemann-Franz for contacts; Kirchhoff for currents.
"""
import json
import sys

import numpy as np
from numpy.polynomial import legendre
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

SIGMA = 5.670374419e-8
LORENZ = np.pi**2 / 3 * (1.380649e-23 / 1.602176634e-19) ** 2
ORDER = 6


def gauss_lobatto(order):
    """Nodes, weights and derivative matrix on [-1, 1]."""
    c = np.zeros(order + 1)
    c[order] = 1
    x = np.r_[-1.0, np.sort(legendre.legroots(legendre.legder(c))), 1.0]
    p = legendre.legval(x, c)
    w = 2.0 / (order * (order + 1) * p**2)
    d = np.zeros((order + 1, order + 1))
    for i in range(order + 1):
        for j in range(order + 1):
            if i != j:
                d[i, j] = p[i] / p[j] / (x[i] - x[j])
    d[0, 0], d[-1, -1] = -order * (order + 1) / 4, order * (order + 1) / 4
    return x, w, d


NODES, WEIGHTS, DERIVATIVE = gauss_lobatto(ORDER)
STIFFNESS = DERIVATIVE.T @ np.diag(WEIGHTS) @ DERIVATIVE


def air(kelvin):
    """Kinematic viscosity, conductivity, Prandtl number of air (Sutherland)."""
    ratio = (kelvin / 273.15) ** 1.5
    mu = 1.716e-5 * ratio * (273.15 + 110.4) / (kelvin + 110.4)
    k = 0.02414 * ratio * (273.15 + 194.0) / (kelvin + 194.0)
    return mu / (101325.0 / (287.05 * kelvin)), k, mu * 1006.0 / k


def natural(kind, size, ts, ta):
    nu, k, pr = air((ts + ta) / 2)
    grashof = 9.80665 * np.abs(ts - ta) / ((ts + ta) / 2) / nu**2
    if kind == "upright":
        ra = grashof * pr * size**3
        return (0.825 + 0.387 * ra ** (1 / 6) / (1 + (0.492 / pr) ** (9 / 16)) ** (8 / 27)) ** 2 * k / size
    ra = grashof * pr * (size / 2) ** 3
    return (0.54 + 0.27) / 2 * ra**0.25 * k / (size / 2)


class Network:
    def __init__(self, n):
        self.n = n
        self.points = list(n["points"])
        self.lines = []  # spectral elements: (element, nodes, half length, taper from, taper to)
        self.nodes_of = []
        for e in n["elements"]:
            nodes = {}
            if e["kind"] == "bar":
                nodes["line"] = self.line(e, e["from"], e["to"], e["length"], e)
            if e["kind"] == "joint":
                nodes["overlap"] = [
                    self.line(e, (e["from"], e["to"])[side], None, o["length"], o) if o else None
                    for side, o in enumerate(e.get("overlaps", [None, None]))
                ]
            self.nodes_of.append(nodes)
        self.held = np.array([p is not None for p in self.points])
        self.count = len(self.points)

    def new(self):
        self.points.append(None)
        return len(self.points) - 1

    def line(self, element, start, end, length, conductor):
        """Spectral elements from start to end (or to a free end); returns nodes with their lengths."""
        parts = min(1 + int(length / 0.12), 12)
        half = length / parts / 2
        chain, weight, pieces = [start], [], []
        for part in range(parts):
            inner = [self.new() for _ in range(ORDER)]
            if part == parts - 1 and end is not None:
                self.points.pop()
                inner[-1] = end
            pieces.append([chain[-1], *inner])
            chain += inner
        at = np.concatenate([[0.0]] + [(2 * p + 1 + NODES[1:]) * half for p in range(parts)])
        weights = np.zeros(len(chain))
        for p in range(parts):
            weights[p * ORDER : p * ORDER + ORDER + 1] += WEIGHTS * half
        skin = [self.new() for _ in chain] if conductor.get("cover") else None
        return dict(chain=np.array(chain), at=at, weights=weights, pieces=[np.array(p) for p in pieces], half=half, skin=skin)

    def currents(self, t, current):
        """Current of every element by nodal analysis."""
        edges = []
        for k, (e, nodes) in enumerate(zip(self.n["elements"], self.nodes_of)):
            if e["kind"] == "bar":
                line = nodes["line"]
                edges.append((k, e["from"], e["to"], np.sum(line["weights"] * self.per_metre(e, t[line["chain"]]))))
            elif e["kind"] == "joint":
                r = self.ohms(e["resistance"], self.joint_temperature(e, nodes, t))
                for o, line in zip(e.get("overlaps", [None, None]), nodes["overlap"]):
                    if o:
                        s = 1 - line["at"] / o["length"]
                        r += np.sum(line["weights"] * self.per_metre(o, t[line["chain"]]) * s**2)
                edges.append((k, e["from"], e["to"], r))
            elif e["kind"] == "cell":
                edges.append((k, e["minus"], e["plus"], self.ohms(e["resistance"], t[e["core"]]) + sum(p["ohms"] for p in e["posts"])))
            elif e["kind"] == "device":
                edges.append((k, e["from"], e["to"], self.ohms(e["resistance"], t[e["at"]])))
        result = {}
        minus, plus = self.n["terminals"]
        names = sorted({p for edge in edges for p in edge[1:3]})
        index = {p: i for i, p in enumerate(names)}
        m = np.zeros((len(names), len(names)))
        for _, a, b, r in edges:
            a, b = index[a], index[b]
            m[a, a] += 1 / r
            m[b, b] += 1 / r
            m[a, b] -= 1 / r
            m[b, a] -= 1 / r
        right = np.zeros(len(names))
        right[index[minus]] += current
        right[index[plus]] -= current
        v = np.linalg.lstsq(m[1:, 1:], right[1:], rcond=None)[0]
        v = np.r_[0.0, v]
        for k, a, b, r in edges:
            result[k] = (v[index[a]] - v[index[b]]) / r
        return result

    @staticmethod
    def ohms(r, t):
        return r["ohms"] * np.maximum(1 + r["coefficient"] * (t - r["reference"]), 0.2)

    @staticmethod
    def area_of(c):
        return c["area"] if "area" in c else c["width"] * c["thickness"]

    @staticmethod
    def perimeter_of(c, cover=0.0):
        if "area" in c:
            return 2 * np.sqrt(np.pi * c["area"]) + 2 * np.pi * cover
        return 2 * (c["width"] + c["thickness"]) + 8 * cover

    def per_metre(self, c, t):
        m = c["metal"]
        return m["resistivity"] * (1 + m["coefficient"] * (t - 293.15)) / self.area_of(c)

    def joint_temperature(self, e, nodes, t):
        sides = [
            np.sum(line["weights"] * t[line["chain"]]) / o["length"] if o else t[end]
            for o, line, end in zip(e.get("overlaps", [None, None]), nodes["overlap"], (e["from"], e["to"]))
        ]
        return sum(sides) / 2

    def surface(self, s, nodes, areas, t, f):
        ts, ta, tw = t[nodes], t[s["air"]], t[s["faced"]]
        h = s["film"] if "film" in s else s["factor"] * natural(s["natural"], s["size"], ts, ta)
        q = h * areas * (ts - ta)
        np.add.at(f, nodes, -q)
        f[s["air"]] += np.sum(q)
        q = s["emissivity"] * SIGMA * areas * (ts**4 - tw**4)
        np.add.at(f, nodes, -q)
        f[s["faced"]] += np.sum(q)

    def conductor(self, c, line, t, f, squares, mass, covered=0.0):
        """Conduction, heat and surface of a line; squares of the current at its nodes."""
        for piece in line["pieces"]:
            np.add.at(f, piece, -c["metal"]["conductivity"] * self.area_of(c) / line["half"] * (STIFFNESS @ t[piece]))
        chain, w = line["chain"], line["weights"]
        np.add.at(f, chain, w * self.per_metre(c, t[chain]) * squares)
        np.add.at(mass, chain, w * c["metal"]["capacity"] * self.area_of(c))
        surface, thickness = chain, 0.0
        if line["skin"] is not None:
            cover, surface = c["cover"], np.array(line["skin"])
            thickness = cover["thickness"]
            inner, outer = self.perimeter_of(c), self.perimeter_of(c, thickness)
            g = w * cover["conductivity"] * (outer - inner) / np.log(outer / inner) / thickness
            q = g * (t[chain] - t[surface])
            np.add.at(f, chain, -q)
            np.add.at(f, surface, q)
            np.add.at(mass, surface, w * cover["capacity"] * (inner + outer) / 2 * thickness)
        if c.get("surface"):
            self.surface(c["surface"], surface, w * (self.perimeter_of(c, thickness) - covered), t, f)

    def flow(self, t, current):
        f, mass = np.zeros(self.count), np.zeros(self.count)
        shares = self.currents(t, current)

        def lead(a, b, g):
            q = g * (t[a] - t[b])
            f[a] -= q
            f[b] += q

        for k, (e, nodes) in enumerate(zip(self.n["elements"], self.nodes_of)):
            i = shares.get(k, 0.0)
            kind = e["kind"]
            if kind == "bar":
                self.conductor(e, nodes["line"], t, f, i * i, mass)
            elif kind == "joint":
                # A contact spread over the overlap, point by point against the partner.
                lines = nodes["overlap"]
                for side, (o, line) in enumerate(zip(e.get("overlaps", [None, None]), lines)):
                    if o:
                        covered = o["width"] if "width" in o else 0.0
                        squares = (i * (1 - line["at"] / o["length"])) ** 2
                        self.conductor(o, line, t, f, squares, mass, covered)
                long = [line for line in lines if line is not None]
                if long:
                    parts = long[0]["weights"] / np.sum(long[0]["weights"])
                else:
                    parts = np.array([1.0])
                a = lines[0]["chain"] if lines[0] else np.full(len(parts), e["from"])
                # Overlaps count from their own ends: what lies on what runs the other way.
                b = lines[1]["chain"][::-1] if lines[1] else np.full(len(parts), e["to"])
                r = self.ohms(e["resistance"], (t[a] + t[b]) / 2)
                heat = i * i * r * parts
                np.add.at(f, a, heat / 2)
                np.add.at(f, b, heat / 2)
                g = e["conductance"] + (LORENZ * (t[a] + t[b]) / 2 / r if e["metallic"] else 0.0)
                q = g * parts * (t[a] - t[b])
                np.add.at(f, a, -q)
                np.add.at(f, b, q)
            elif kind == "cell":
                core = e["core"]
                for post, at in zip(e["posts"], (e["minus"], e["plus"])):
                    f[at] += i * i * post["ohms"]
                    lead(at, core, post["conductance"])
                f[core] += i * i * self.ohms(e["resistance"], t[core]) + abs(i) * e["overvoltage"] + i * e["reversible"] * t[core]
                mass[core] += e["capacity"]
            elif kind == "device":
                f[e["at"]] += i * i * self.ohms(e["resistance"], t[e["at"]])
                lead(e["from"], e["at"], e["conductance"])
                lead(e["to"], e["at"], e["conductance"])
                mass[e["at"]] += e["capacity"]
            elif kind == "mass":
                mass[e["at"]] += e["heat_capacity"]
                f[e["at"]] += e["watts"]
            elif kind == "link":
                lead(e["from"], e["to"], e["conductance"])
            elif kind == "face":
                self.surface(e["surface"], np.array([e["at"]]), np.array([e["area"]]), t, f)
        return f, np.maximum(mass, 1e-3)

    def colours(self, t, current, mass):
        """Groups of unknowns no two of which act on the same balance, but for those that act on nearly all."""
        unknown = np.flatnonzero(~self.held)
        base = self.flow(t, current)[0]
        acts = np.zeros((len(unknown), len(unknown)), bool)
        for j, point in enumerate(unknown):
            moved = t.copy()
            moved[point] += 0.5
            acts[:, j] = np.abs(self.flow(moved, current)[0] - base)[unknown] > 1e-9
        acts |= acts.T
        busy = acts.sum(axis=0) > 25
        groups = []
        for j in np.flatnonzero(~busy):
            rows = acts[:, j] & ~busy
            for group in groups:
                if not (group[0] & rows).any():
                    group[0] |= rows
                    group[1].append(j)
                    break
            else:
                groups.append([rows, [j]])
        return unknown, acts, busy, [g[1] for g in groups]

    def solve(self):
        n, free = self.n, ~self.held
        t = np.array([n["start"] if p is None else p for p in self.points], float)
        mass = self.flow(t, n["current"])[1][free]
        unknown, acts, busy, groups = self.colours(t, n["current"], mass)

        def heat(y):
            t[free] = y
            return self.flow(t, n["current"])[0][free]

        def jacobian(y):
            """Slopes of the heat flows; those of the air and the wall by the symmetry of heat exchange."""
            base, j, step = heat(y), np.zeros((len(y), len(y))), 1e-4
            for group in groups:
                moved = y.copy()
                moved[group] += step
                change = (heat(moved) - base) / step
                for column in group:
                    rows = acts[:, column] & ~busy
                    j[rows, column] = change[rows]
            for column in np.flatnonzero(busy):
                moved = y.copy()
                moved[column] += step
                j[:, column] = (heat(moved) - base) / step
                j[column, ~busy] = j[~busy, column]
            return j

        out = {}
        y0 = np.full(free.sum(), float(n["start"]))

        def course(seconds, rtol, atol):
            rates, slopes = (lambda _, y: heat(y) / mass), (lambda _, y: jacobian(y) / mass[:, None])
            return solve_ivp(rates, (0, seconds), y0, method="BDF", rtol=rtol, atol=atol, jac=slopes).y[:, -1]

        t[free] = course(n["seconds"], 1e-6, 1e-4)
        out["after"] = self.places(t)
        if n.get("steady", True):
            y = course(40 * n["seconds"], 1e-3, 1e-2)
            for _ in range(60):
                step = np.linalg.solve(jacobian(y), -heat(y))
                y = y + step
                if np.abs(step).max() < 1e-8:
                    t[free] = y
                    out["steady"] = self.places(t)
                    break
        return out

    def places(self, t):
        """Hottest temperature of each element's own points."""
        result = []
        for e, nodes in zip(self.n["elements"], self.nodes_of):
            kind = e["kind"]
            if kind == "bar":
                line = nodes["line"]
                fine = [
                    np.max(np.polynomial.polynomial.polyval(np.linspace(-1, 1, 101), np.polynomial.polynomial.polyfit(NODES, t[p], ORDER)))
                    for p in line["pieces"]
                ]
                result.append(max(fine))
            elif kind == "joint":
                laps = [t[line["chain"]].max() for line in nodes["overlap"] if line]
                result.append(max(t[e["from"]], t[e["to"]], *laps))
            elif kind == "cell":
                result.append(t[e["core"]])
            elif kind in ("device", "mass", "face"):
                result.append(t[e["at"]])
            else:
                result.append(max(t[e["from"]], t[e["to"]]))
        return result


METALS = [
    dict(resistivity=1.7415e-8, coefficient=0.0039, conductivity=388.0, capacity=3.42e6),
    dict(resistivity=2.8264e-8, coefficient=0.00403, conductivity=234.0, capacity=2.42e6),
    dict(resistivity=1.43e-7, coefficient=0.0045, conductivity=52.0, capacity=3.67e6),
]


def random_network(rng):
    """A stack of cells with links, two legs, a fuse and a BMS; now and then parallel bars, strings and covers."""
    points, elements = [], []

    def point(held=None):
        points.append(held)
        return len(points) - 1

    def add(kind, **e):
        elements.append(dict(kind=kind, **e))

    def between(a, b, log=False):
        return float(np.exp(rng.uniform(np.log(a), np.log(b)))) if log else float(rng.uniform(a, b))

    room = point(between(273.0, 318.0))
    air, wall = point(), point()
    add("mass", at=air, heat_capacity=between(5, 50), watts=0.0)
    add("mass", at=wall, heat_capacity=between(300, 3000), watts=between(0, 3))
    add("link", **{"from": air, "to": wall}, conductance=between(0.3, 4, True))
    outside = dict(natural="upright", size=between(0.1, 0.3), factor=between(0.7, 1.2), air=room, emissivity=between(0.1, 0.9), faced=room)
    add("face", at=wall, area=between(0.1, 0.6), surface=outside)

    def surface(width):
        s = dict(air=air, emissivity=between(0.05, 0.9), faced=wall)
        how = rng.integers(3)
        if how == 0:
            s["film"] = between(1.5, 12)
        else:
            s.update(natural="upright" if how == 1 else "level", size=width, factor=between(0.6, 1.2))
        return s

    current = between(30, 250, True)

    def flat():
        metal = dict(METALS[rng.choice(3, p=[0.5, 0.35, 0.15])])
        area = current / between(4.0, 12.0) * 1e-6 * (4 if metal["conductivity"] < 100 else 1)
        width = max(between(0.01, 0.04), float(np.sqrt(area)))
        return dict(width=width, thickness=area / width, metal=metal, surface=surface(width))

    def cable():
        area = current / between(3, 8) * 1e-6
        cover = dict(thickness=between(0.8e-3, 3e-3), conductivity=between(0.15, 0.4), capacity=1.8e6)
        return dict(area=area, metal=dict(METALS[0]), cover=cover, surface=surface(float(2 * np.sqrt(area / np.pi) + 2 * cover["thickness"])))

    def resistance(ohms, coefficient=0.0):
        return dict(ohms=ohms, coefficient=coefficient, reference=298.15)

    def joint(a, b, overlaps=(None, None)):
        add("joint", **{"from": a, "to": b}, resistance=resistance(between(4e-6, 6e-5, True), between(0, 0.002)),
            metallic=bool(rng.random() < 0.7), conductance=between(0.2, 5, True), overlaps=list(overlaps))

    def bar(a, b, conductor, length):
        add("bar", **{"from": a, "to": b}, length=length, **conductor)

    def lap(conductor):
        return dict(conductor, length=between(0.012, 0.03)) if rng.random() < 0.5 and "width" in conductor else None

    def link(a, b, length):
        """A bar between two posts, or two beside each other."""
        for _ in range(2 if rng.random() < 0.25 else 1):
            c = flat() if rng.random() < 0.8 else cable()
            p, q = point(), point()
            joint(p, a, (lap(c), None))
            bar(p, q, c, length)
            joint(q, b, (lap(c), None))

    def post():
        p = point()
        add("mass", at=p, heat_capacity=between(10, 60), watts=0.0)
        return p

    def cell(a, b, resistance_, size):
        core = point()
        add("cell", minus=a, plus=b, core=core, resistance=resistance(resistance_, between(-0.008, 0.0)),
            overvoltage=between(0, 0.02), reversible=between(-1e-4, 1e-4), capacity=size,
            posts=[dict(ohms=between(5e-6, 4e-5), conductance=between(0.15, 2, True)) for _ in range(2)])
        add("link", **{"from": core, "to": wall}, conductance=between(0.05, 0.8, True))
        add("face", at=core, area=between(0.01, 0.06), surface=surface(0.15))
        return core

    def stack(a, b, number, r, size):
        cores, here = [], a
        for k in range(number):
            there = b if k == number - 1 else post()
            cores.append(cell(here, there, r, size))
            here = there
            if k < number - 1:
                after = post()
                link(here, after, between(0.03, 0.12))
                here = after
        for p, q in zip(cores, cores[1:]):
            add("link", **{"from": p, "to": q}, conductance=between(0.2, 5, True))

    number = int(rng.integers(1, 5))
    r, size = 60.0 / current * between(0.5e-3, 2.5e-3), current * between(10, 40)
    first, last = post(), post()
    stack(first, last, number, r, size)
    if rng.random() < 0.3:
        p, q = post(), post()
        stack(p, q, number, r * between(0.8, 1.5), size)
        link(first, p, between(0.05, 0.2))
        link(q, last, between(0.05, 0.2))
    # Minus leg with the BMS, plus leg with the fuse.
    sink, inlet, outlet = point(), point(), point()
    link(first, inlet, between(0.05, 0.3))
    add("device", **{"from": inlet, "to": outlet}, at=sink, resistance=resistance(between(0.1e-3, 0.4e-3) * 100 / current, between(0.001, 0.006)),
        conductance=between(0.2, 2), capacity=between(30, 300))
    add("face", at=sink, area=between(0.02, 0.1), surface=surface(0.1))
    add("link", **{"from": sink, "to": wall}, conductance=between(0.2, 3, True))
    fuse, near, far = point(), point(), point()
    link(last, near, between(0.05, 0.25))
    add("device", **{"from": near, "to": far}, at=fuse, resistance=resistance(between(0.05e-3, 0.25e-3) * 100 / current, between(0.002, 0.005)),
        conductance=between(0.5, 4), capacity=between(5, 40))
    add("face", at=fuse, area=0.004, surface=surface(0.02))
    ends = []
    for start in (outlet, far):
        c, end = cable(), point() if rng.random() < 0.5 else point(points[room] + between(0, 15))
        inside = point()
        bar(start, inside, c, between(0.1, 0.4))
        c = dict(c, surface=dict(c["surface"], air=room, faced=room))
        bar(inside, end, c, between(0.3, 1.2))
        ends.append(end)
    return dict(start=points[room], points=points, terminals=[ends[0], ends[1]], elements=elements, current=current,
                seconds=between(60, 5400, True))


def currents_at_limits(network):
    """For every element with a limit the current at which it reaches that at the end of the time."""

    def over(log_current, k):
        n = dict(network, current=float(np.exp(log_current)), steady=False)
        return Network(n).solve()["after"][k] - network["elements"][k]["limit"]

    limited = [k for k, e in enumerate(network["elements"]) if "limit" in e]
    return {k: float(np.exp(brentq(over, np.log(20), np.log(2000), args=(k,), xtol=1e-4))) for k in limited}


if __name__ == "__main__":
    if sys.argv[1] == "currents":
        for line in sys.stdin:
            described = json.loads(line)
            print(json.dumps(dict(name=described["name"], currents=currents_at_limits(described["network"]))), flush=True)
    elif sys.argv[1] == "random":
        seed, count = int(sys.argv[2]), int(sys.argv[3])
        for number in range(seed, seed + count):
            network = random_network(np.random.default_rng(number))
            print(json.dumps(dict(network=network, answer=Network(network).solve())), flush=True)
    else:
        for line in sys.stdin:
            if line.strip():
                print(json.dumps(Network(json.loads(line)).solve()), flush=True)
