"""Makes the invented logs of the example inspections from an electro-thermal network of its own.

Nothing here is measured. What is invented is the pack; what happens to it follows from the numbers below, which are the
truth of the examples: conduction along every bar and cable with distributed heat, joints, posts, eight cells, the BMS
with its heat path, the air inside, the case and the room. The record beside the logs holds what an inspector would have
measured of them. This network shares no line with the program's.

    python example-inspections/logs/simulate.py                # logs of both examples, tests/data/examples-truth.toml
    python example-inspections/logs/simulate.py --check        # only says what differs; ends with 1 where something does
    python example-inspections/logs/simulate.py --readings     # what the record's readings would be

Needs numpy and scipy. The same on every machine: noise comes from a generator with fixed seeds, steps are fixed, and
rounding to an instrument's resolution hides the last bits.

Free quantities (what a record does not hold), SI units unless said; A and B are the revisions:

| quantity                                                  | A           | B            |
|-----------------------------------------------------------|-------------|--------------|
| film inside at 30 K, W/(m²·K), grows with rise^0.25       | 4.6         | 4.2          |
| film of the case outside, the same, without radiation     | 4.5         | 4.5          |
| free part of the case's surface: box; lid                 | 0.80; 0.95  | 0.80; 0.95   |
| emissivity of bars; of insulation, case, fuse body        | 0.07; 0.9   | 0.12; 0.9    |
| resistivity at 20 °C of the positive bar, Ω·m             | 1.74e-8     | 1.22e-7      |
| its temperature coefficient, 1/K; conductivity, W/(m·K)   | 0.0039; 390 | 0.0050; 68   |
| foot of the positive bar on the post of cell 8, m         | 0.028       | 0.030        |
| contact of that foot, Ω                                   | 10e-6       | 22e-6        |
| contact of the positive joint, spread over its overlap, Ω | 18e-6       | 51.5e-6      |
| contact of the negative joint, Ω                          | 11e-6       | 71e-6        |
| joints through bolt and faces, W/K                        | 2           | 1.5          |
| post to its cell, W/K; post's resistance, Ω               | 0.42; 15e-6 | 0.42; 15e-6  |
| cell: ohmic without posts at 25 °C, Ω (cell 5 of B)       | 0.31e-3     | 0.31e-3 (0.382e-3) |
| cell: charge transfer, Ω, and its time, s                 | 0.08e-3; 3  | 0.08e-3; 3   |
| cell: diffusion, Ω, and its time, s                       | 0.19e-3; 140| 0.19e-3; 140 |
| cell: specific heat, J/(kg·K); entropy, V/K               | 1020; -4e-5 | 1020; -4e-5  |
| capacity of a cell, Ah (cell 5 of B)                      | 152.8       | 150.9 (143.7)|
| cell to cell; cell to the case, W/K                       | 2.0; 0.34   | 2.4; 0.30    |
| link between cells with both joints, Ω                    | 38e-6       | 46e-6        |
| link's joint to the post, W/K                             | 2           | 2            |
| BMS: switches; shunt and board, Ω at 25 °C                | 0.20e-3; 0.11e-3 | 0.20e-3; 0.11e-3 |
| fuse (A), thermal cut-offs, Ω at 20 °C                    | 0.34e-3; 45e-6 | 60e-6     |
| device of the path to either end, W/K                     | 0.12 (fuse); 1.5 | 1.5     |
| lugs in the path, Ω                                       | 12e-6       | 15e-6        |
| switches to the board, W/K, each half                     | 0.55        | 0.17         |
| switches to the plate, W/K                                | 2.5 each    | 0.50 one half, 0 the other |
| plate to the patch of case or lid behind it, W/K          | 6.0         | 0.55         |
| that patch to the room, m²; to the rest of the case, W/K  | 0.016; 0.06 | 0.013; 0.05  |
"""

import argparse
import dataclasses
import functools
import math
import pathlib
import random
import sys

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

HERE = pathlib.Path(__file__).resolve().parent
EXAMPLES = HERE.parent
TRUTH = HERE.parent.parent / "tests" / "data" / "examples-truth.toml"
ZERO = 273.15
SIGMA = 5.670374419e-8  # CODATA
LORENZ = 2.44e-8  # Wiedemann and Franz, V²/K²
ROOM = 24.0
COPPER = (1.74e-8, 0.0039, 390.0, 8890.0, 385.0)  # Ω·m and 1/K at 20 °C, W/(m·K), kg/m³, J/(kg·K)
STEEL = (1.22e-7, 0.0050, 68.0, 7800.0, 470.0)

# Open-circuit voltage of an LFP cell at 25 °C on discharge; an invented curve with the two plateaus of the chemistry.
REST = PchipInterpolator(
    [-0.02, 0.0, 0.01, 0.02, 0.05, 0.08, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5, 0.55, 0.6, 0.65, 0.7, 0.8, 0.9, 0.95,
     0.98, 0.99, 1.0, 1.005, 1.012],
    [2.00, 2.52, 2.76, 2.93, 3.12, 3.19, 3.206, 3.228, 3.246, 3.263, 3.276, 3.284, 3.289, 3.294, 3.297, 3.303, 3.318,
     3.327, 3.331, 3.334, 3.337, 3.346, 3.354, 3.39, 3.50, 3.70],
)
HYSTERESIS = 0.012  # V above that curve on charge


@dataclasses.dataclass(frozen=True)
class Build:
    """One revision: what the record holds of it, and the truth of what it does not hold."""

    rev: str
    film: float
    bar_emissivity: float
    foamed: bool  # foam over the cells: links and posts meet no air, the flat bar lies on it
    negative_bar: tuple  # width, thickness, length, m
    positive_bar: tuple
    metal: tuple
    foot: float
    foot_contact: float
    overlap: float
    overlap_contact: float
    negative_contact: float
    bolt: float
    device: float  # resistance of the fuse (A) or the link (B) in the positive leg
    device_slope: float
    device_to_ends: float
    device_body: float  # area of its body, m²
    disc: float
    cable: float  # cross-section, m²
    cable_diameter: float  # over the insulation, m
    lug: float
    ohmic: tuple
    capacity: tuple
    spare: tuple  # what a cell holds beside the others when they are empty, Ah
    link: float
    between: float
    to_case: float
    lead: float  # cross-section of the leads outside, m²
    rig_fuse: float
    rig_lugs: tuple
    sensors: tuple  # offset of the thermocouple channels bar, BMS, air, K


A = Build("a", 4.6, 0.07, True, (0.02005, 0.00202, 0.095), (0.02502, 0.00301, 0.140), COPPER, 0.028, 10e-6, 0.025, 18e-6,
          11e-6, 2.0, 0.34e-3, 0.0036, 0.12, 0.0055, 45e-6, 35e-6, 0.0112, 12e-6, (0.31e-3,) * 8, (152.8,) * 8, (0.0,) * 8, 38e-6,
          2.0, 0.34, 50e-6, 180e-6, (65e-6, 60e-6), (0.2, -0.3, 0.1))
B = Build("b", 4.2, 0.12, False, (0.02003, 0.00246, 0.095), (0.02004, 0.00152, 0.140), STEEL, 0.030, 22e-6, 0.020, 51.5e-6,
          71e-6, 1.5, 60e-6, 0.0030, 1.5, 0.0140, 0.0, 25e-6, 0.0096, 15e-6,
          tuple(0.382e-3 if cell == 4 else 0.31e-3 for cell in range(8)),
          tuple(143.7 if cell == 4 else 150.9 for cell in range(8)), (0.0,) * 8, 46e-6, 2.4, 0.30, 95e-6, 150e-6,
          (60e-6, 55e-6), (0.1, 0.3, -0.2))


class Network:
    """Points with heat capacity, conductances, faces and resistors; backward Euler in time, solved to the last digits."""

    def __init__(self):
        self.names, self.capacity = {}, []
        self.links, self.faces, self.radiations, self.resistors, self.overlaps, self.extra = [], [], [], [], [], []

    def point(self, name, capacity):
        self.names[name] = len(self.capacity)
        self.capacity.append(capacity)
        return self.names[name]

    def link(self, a, b, conductance):
        self.links.append((a, b, conductance))

    def face(self, a, air, area, film, wall=None, emissivity=0.0):
        """A face to air; film in W/(m²·K) at 30 K of difference, growing with its fourth root."""
        self.faces.append((a, air, area * film))
        if wall is not None and emissivity:
            self.radiations.append((a, wall, area * emissivity * SIGMA))

    def resistor(self, a, b, ohms, slope=0.0, reference=20.0, contact=False):
        """Makes half its heat at either point; a contact also conducts after Wiedemann and Franz."""
        self.resistors.append((a, b, ohms, slope, reference + ZERO, contact))
        return len(self.resistors) - 1

    def strip(self, name, length, pieces, section, metal, slope_of=None):
        """A conductor of equal pieces, each a point in its middle; returns the points."""
        rho, slope, conductivity, density, heat = metal
        step = length / pieces
        points = [self.point(f"{name}{i}", density * heat * section * step) for i in range(pieces)]
        for a, b in zip(points, points[1:]):
            self.link(a, b, conductivity * section / step)
        for at in points:
            self.resistor(at, at, rho * step / section, slope)
        return points

    def ready(self):
        self.size = len(self.capacity)
        self.c = np.array(self.capacity)
        column = lambda rows, i, kind=float: np.array([row[i] for row in rows], dtype=kind)
        self.la, self.lb, self.lg = column(self.links, 0, int), column(self.links, 1, int), column(self.links, 2)
        self.fa, self.fb, self.fg = column(self.faces, 0, int), column(self.faces, 1, int), column(self.faces, 2)
        self.ra, self.rb, self.rg = (column(self.radiations, i, k) for i, k in ((0, int), (1, int), (2, float)))
        self.ea, self.eb = column(self.resistors, 0, int), column(self.resistors, 1, int)
        self.r20, self.slope, self.reference = (column(self.resistors, i) for i in (2, 3, 4))
        self.contact = column(self.resistors, 5, bool)
        self.share = np.ones(len(self.resistors))

    def ohms(self, t):
        return self.r20 * (1 + self.slope * (0.5 * (t[self.ea] + t[self.eb]) - self.reference))

    def shares(self, r):
        """How the current leaves a bar along an overlap: pieces of the bar in a row, each with a contact to the partner."""
        share = self.share
        for pieces, contacts in self.overlaps:
            n = len(pieces)
            # The current enters at the first piece and must all have left by the last; unknown: current of each contact.
            a, rhs = np.zeros((n, n)), np.zeros(n)
            a[n - 1, :], rhs[n - 1] = 1.0, 1.0
            for i in range(n - 1):
                # Contact i against contact i + 1 with half a piece on either side between them.
                between = 0.5 * (r[pieces[i]] + r[pieces[i + 1]])
                a[i, i] += r[contacts[i]]
                a[i, i + 1] -= r[contacts[i + 1]]
                a[i, i + 1 :] -= between
            left = np.linalg.solve(a, rhs)
            inside = 1.0
            for i in range(n):
                share[contacts[i]] = left[i]
                share[pieces[i]] = math.sqrt(0.5 * (inside**2 + (inside - left[i]) ** 2))
                inside -= left[i]
        return share

    def system(self, t, current, fixed):
        """Conductances and heat at these temperatures."""
        r = self.ohms(t)
        heat = (current * self.shares(r)) ** 2 * r
        q = np.bincount(np.concatenate([self.ea, self.eb]), np.concatenate([heat, heat]) / 2, self.size)
        for at, watts in fixed:
            q[at] += watts
        ga = np.concatenate([self.la, self.fa, self.ra, self.ea[self.contact]])
        gb = np.concatenate([self.lb, self.fb, self.rb, self.eb[self.contact]])
        film = self.fg * (np.maximum(np.abs(t[self.fa] - t[self.fb]), 0.5) / 30.0) ** 0.25
        ta, tb = t[self.ra], t[self.rb]
        radiated = self.rg * (ta**2 + tb**2) * (ta + tb)
        metallic = LORENZ * t[self.ea[self.contact]] / r[self.contact]
        g = np.concatenate([self.lg, film, radiated, metallic])
        n = self.size
        where = np.concatenate([ga * (n + 1), gb * (n + 1), ga * n + gb, gb * n + ga])
        k = np.bincount(where, np.concatenate([g, g, -g, -g]), n * n).reshape(n, n)
        return k, q, r

    def step(self, t0, dt, current, fixed, held):
        """Temperatures after dt; `held` are points at a given temperature. Infinite dt: the steady state."""
        storage = self.c / dt if math.isfinite(dt) else np.zeros(self.size)
        free = np.ones(self.size, bool)
        t = t0.copy()
        for at, value in held.items():
            free[at], t[at] = False, value
        for _ in range(200):
            k, q, _ = self.system(t, current, fixed)
            a = k[np.ix_(free, free)] + np.diag(storage[free])
            rhs = (storage * t0 + q)[free] - k[np.ix_(free, ~free)] @ t[~free]
            new = np.linalg.solve(a, rhs)
            worst = np.max(np.abs(new - t[free]))
            t[free] = new
            if worst < 1e-9:
                break
        else:
            raise RuntimeError("no steady state" if not math.isfinite(dt) else "no convergence")
        return t


class Pack:
    """One revision as a network, with its cells' electrical state."""

    def __init__(self, build, lid=True):
        self.build, net = build, Network()
        self.net = net
        b = build
        self.room = net.point("room", 1e12)
        # Case: box and lid, plastic of 4 mm; the outside is 360 x 260 x 230 mm.
        box_area, lid_area = 0.36 * 0.26 + 2 * (0.36 + 0.26) * 0.23, 0.36 * 0.26
        box, lid_point = net.point("case", 1900 * 1.9), net.point("lid", 1900 * 0.5)
        for wall, area in ((box, 0.80 * box_area), (lid_point, 0.95 * lid_area)):
            net.face(wall, self.room, area, 4.5, self.room, 0.9)
        air = net.point("air", 10.0)
        self.air = air
        net.face(air, box, 0.16, b.film)
        net.face(air, lid_point, lid_area, b.film)

        # Cells, posts, links. The first cell is at the negative end.
        self.cells, self.posts = [], []
        for i in range(8):
            cell = net.point(f"cell{i + 1}", 2.88 * 1020)
            self.cells.append(cell)
            end = 1.7 if i in (0, 7) else 1.0
            net.link(cell, box, b.to_case * end)
            net.face(cell, air, 0.0072, 0.15 * b.film if b.foamed else b.film)
            if i:
                net.link(self.cells[i - 1], cell, b.between)
            pair = []
            for sign in "-+":
                post = net.point(f"post{i + 1}{sign}", 14.0)
                net.link(post, cell, 0.42)
                net.resistor(post, cell, 15e-6, 0.004)
                net.face(post, air, 0.0006, 0.2 * b.film if b.foamed else b.film)
                pair.append(post)
            self.posts.append(pair)
        for i in range(7):
            link = net.point(f"link{i + 1}", 5.5)
            for post in (self.posts[i][1], self.posts[i + 1][0]):
                net.link(post, link, 1 / (1 / 2.0 + 1 / 1.5))
                net.resistor(post, link, b.link / 2, 0.002)
            net.face(link, air, 0.0015, 0.15 * b.film if b.foamed else b.film)

        # Negative leg: rig lead, lug, terminal, cable (with the disc in A), BMS, bar, first cell.
        end = self.lead("negative lead", b.rig_lugs[0])
        terminal = net.point("negative terminal", 32.0)
        net.resistor(end, terminal, b.rig_lugs[0], 0.0, contact=True)
        net.link(end, terminal, b.bolt)
        net.face(terminal, self.room, 0.0012, 5.0)
        net.link(terminal, box, 0.05)
        start = self.cable_run("negative cable", 0.10, 6)
        self.lug(terminal, start[0])
        if b.disc:
            disc = self.device("disc", b.disc, 0.003, b.device_to_ends if b.rev == "b" else 1.5, 22.0, 0.004, start[-1])
            start = self.cable_run("negative cable, second part", 0.08, 4)
            self.lug(disc, start[0])
        board = net.point("board", 34.0)
        self.lug(start[-1], board)
        # Switches on a spot of the board; in B half of them touch no pad.
        for half in ("one", "other"):
            spot = net.point(f"switches, {half} half", 5.0)
            net.resistor(spot, spot, 0.05e-3, 0.0058, 25.0)
            net.resistor(spot, spot, 0.05e-3, 0.0058, 25.0)
            net.link(spot, board, 0.55 if b.rev == "a" else 0.17)
            net.face(spot, air, 0.0006, b.film, lid_point, 0.8)
        net.resistor(board, board, 0.11e-3, 0.0015, 25.0)
        net.face(board, air, 0.011, b.film, lid_point, 0.8)
        self.spots = (net.names["switches, one half"], net.names["switches, other half"])
        if b.rev == "a":
            plate, patch = net.point("plate", 93.0), net.point("case at the plate", 40.0)
            for spot in self.spots:
                net.link(spot, plate, 2.5)
            net.link(board, plate, 1.2)
            net.link(plate, patch, 6.0)
            net.link(patch, box, 0.06)
            net.face(patch, self.room, 0.016, 4.5, self.room, 0.9)
            net.face(plate, air, 0.006, b.film)
        else:
            plate, patch = net.point("plate", 39.0), net.point("lid at the plate", 36.0)
            net.link(self.spots[0], plate, 0.50)
            net.link(plate, patch, 0.55)
            net.link(patch, lid_point, 0.05)
            net.face(patch, self.room, 0.013, 4.5, self.room, 0.9)
        width, thickness, length = b.negative_bar
        section = width * thickness
        bar = net.strip("negative bar", length, 19, section, COPPER)
        for at in bar:
            face = (width + 2 * thickness) if b.foamed else 2 * (width + thickness)
            net.face(at, air, face * length / 19, b.film, lid_point, b.bar_emissivity)
        self.overlap(bar[:4][::-1], board, 12e-6, b.bolt)
        self.overlap(bar[-4:], self.posts[0][0], b.negative_contact, b.bolt)
        self.negative_bar = bar

        # Positive leg: last cell, bar, fuse or link, cable, terminal, lug, rig lead.
        width, thickness, length = b.positive_bar
        pieces = 70
        bar = net.strip("positive bar", length, pieces, width * thickness, b.metal)
        for at in bar:
            net.face(at, air, 2 * (width + thickness) * length / pieces, b.film, lid_point, b.bar_emissivity)
        foot, over = round(b.foot / length * pieces), round(b.overlap / length * pieces)
        self.overlap(bar[:foot][::-1], self.posts[7][1], b.foot_contact, b.bolt)
        self.positive_bar = bar
        near = net.point("device, end at the bar", 8.0)
        self.overlap(bar[-over:], near, b.overlap_contact, b.bolt)
        net.face(near, air, 0.002, b.film)
        out = self.device("device", b.device, b.device_slope, b.device_to_ends, 9.0 if b.rev == "a" else 20.0, b.device_body,
                          near)
        net.face(out, air, 0.002, b.film)
        cable = self.cable_run("positive cable", 0.18, 9)
        self.lug(out, cable[0])
        self.positive_cable = cable
        terminal = net.point("positive terminal", 32.0)
        self.lug(cable[-1], terminal)
        net.face(terminal, self.room, 0.0012, 5.0)
        net.link(terminal, box, 0.05)
        end = self.lead("positive lead", b.rig_lugs[1], b.rig_fuse)
        net.resistor(end, terminal, b.rig_lugs[1], 0.0, contact=True)
        net.link(end, terminal, b.bolt)
        net.ready()
        self.lid_wall, self.box = lid_point, box

    # -- parts ------------------------------------------------------------------------------------------------

    def lead(self, name, _lug, fuse=0.0):
        """A lead of 1.2 m outside the pack; with a fuse 90 mm from its end. Returns the point at the pack."""
        net, section = self.net, self.build.lead
        points = net.strip(name, 1.2, 40, section, COPPER)
        across = math.sqrt(section / 0.785) * 1.1 + 3.2e-3
        for at in points:
            net.face(at, self.room, math.pi * across * 0.03, 6.0, self.room, 0.9)
        if fuse:
            net.resistor(points[3], points[3], fuse, 0.003)
            net.face(points[3], self.room, 0.006, 6.0, self.room, 0.9)
        return points[0]

    def cable_run(self, name, length, pieces):
        net, b = self.net, self.build
        points = net.strip(name, length, pieces, b.cable, COPPER)
        step = length / pieces
        for at in points:
            # Insulation of 0.2 W/(m·K) lies between the strands and its surface, which has a heat capacity of its own.
            inner = math.sqrt(b.cable / 0.76 / math.pi) * 2
            skin = net.point(f"skin of {at}", 1.9e6 * math.pi / 4 * (b.cable_diameter**2 - inner**2) * step)
            net.link(at, skin, 2 * math.pi * 0.2 * step / math.log(b.cable_diameter / inner))
            net.face(skin, self.air, math.pi * b.cable_diameter * step, b.film, net.names["lid"], 0.9)
        return points

    def lug(self, a, b):
        self.net.resistor(a, b, self.build.lug, 0.002, contact=True)
        self.net.link(a, b, self.build.bolt)

    def device(self, name, ohms, slope, to_ends, capacity, body, near):
        """A fuse or cut-off from `near`; returns its far end."""
        net = self.net
        middle, far = net.point(name, capacity), net.point(f"{name}, far end", 8.0)
        shell = net.point(f"{name}, body", 30.0)
        net.resistor(middle, middle, ohms, slope)
        for end in (near, far):
            net.link(middle, end, to_ends)
        net.link(middle, shell, 0.05)
        net.link(shell, near, 0.06)
        net.link(shell, far, 0.06)
        # Its foot is screwed to the case.
        net.link(shell, net.names["case"], 0.06)
        net.face(shell, self.air, body, self.build.film, net.names["lid"], 0.9)
        return far

    def overlap(self, bar, partner, contact, bolt):
        """`bar` from where the whole current enters the overlap to its end, lying on `partner`."""
        net = self.net
        contacts = [net.resistor(at, partner, contact * len(bar), 0.0, contact=True) for at in bar]
        for at in bar:
            net.link(at, partner, bolt / len(bar))
        # The bar's own resistors are those made with its points.
        own = [i for at in bar for i, r in enumerate(net.resistors) if r[0] == at and r[1] == at]
        net.overlaps.append((own, contacts))

    # -- cells ------------------------------------------------------------------------------------------------

    def rest(self, charge_fraction=1.0, temperature=ROOM):
        """Everything at one temperature; the cells hold this part of what they hold beside the least."""
        t = np.full(self.net.size, temperature + ZERO)
        least = min(self.build.capacity)
        held = [charge_fraction * least + spare for spare in self.build.spare]
        return State(t, np.array(held), np.zeros(8), np.zeros(8))

    def cell_ohms(self, state, current):
        """Ohmic, charge transfer, diffusion of each cell, Ω. The last two grow in the cold and when empty; on charge what the
        full electrode still takes up becomes slow, which is counted with the ohmic part."""
        t = state.t[self.cells]
        soc = state.held / np.array(self.build.capacity)
        warm = np.exp(1800.0 * (1 / t - 1 / 298.15))
        empty = 1 + 1.0 * np.exp(-np.maximum(soc, 0.0) / 0.05)
        full = 1 + (22.0 * np.exp((np.minimum(soc, 1.0) - 1) / 0.015) if current < 0 else 0.0)
        ohmic = np.array(self.build.ohmic) * (1 - 0.003 * (t - 298.15)) * full
        return ohmic, 0.08e-3 * warm * empty, 0.19e-3 * warm * empty

    def rest_voltages(self, state, current=0.0):
        soc = state.held / np.array(self.build.capacity)
        return REST(np.clip(soc, -0.02, 1.012)) + (HYSTERESIS if current < 0 else 0.0)

    def voltage(self, state, current):
        """Of the pack between its terminals, V, and of each cell between its posts."""
        ohmic, _, _ = self.cell_ohms(state, current)
        r = self.net.ohms(state.t)
        share = self.net.shares(r)
        cells = self.rest_voltages(state, current) - current * ohmic - state.v1 - state.v2
        # Parts outside the terminals belong to the rig.
        inside = self.inside()
        # Power over current gives the drop of what shares a current.
        drop = current * float(np.sum((share**2 * r)[inside]))
        return float(np.sum(cells)) - drop, cells

    def inside(self):
        if not hasattr(self, "_inside"):
            first = {v for k, v in self.net.names.items() if k.startswith(("negative lead", "positive lead"))}
            self._inside = np.array([a not in first and b not in first for a, b in zip(self.net.ea, self.net.eb)])
        return self._inside

    def advance(self, state, dt, current, room=ROOM):
        """dt seconds at a current, A, positive on discharge."""
        ohmic, r1, r2 = self.cell_ohms(state, current)
        f1, f2 = math.exp(-dt / 3.0), math.exp(-dt / 140.0)
        v1, v2 = state.v1 * f1 + current * r1 * (1 - f1), state.v2 * f2 + current * r2 * (1 - f2)
        heat = current**2 * ohmic + v1**2 / r1 + v2**2 / r2
        # dU/dT of -4e-5 V/K: warms on discharge.
        heat = heat + current * state.t[self.cells] * 4e-5
        t = self.net.step(state.t, dt, current, list(zip(self.cells, heat)), {self.room: room + ZERO})
        return State(t, state.held - current * dt / 3600, v1, v2)

    def at(self, state, name):
        return state.t[self.net.names[name]] - ZERO

    def hottest(self, state):
        """The hottest spot of each place that has a limit, °C."""
        t = state.t - ZERO
        strip = lambda points: float(np.max(t[points]))
        places = {
            "cells": strip(self.cells),
            "posts": strip([post for pair in self.posts for post in pair]),
            "negative-bar": strip(self.negative_bar),
            "negative-joint": max(strip(self.negative_bar[-4:]), t[self.posts[0][0]]),
            "positive-bar": strip(self.positive_bar),
            "positive-joint": strip(self.positive_bar[-(12 if self.build.rev == "a" else 10):]),
            "positive-cable": strip(self.positive_cable),
            "bms-switches": strip(list(self.spots)),
        }
        if self.build.rev == "a":
            places["main-fuse"] = max(self.at(state, "device, end at the bar"), self.at(state, "device, far end"))
            places["cutoff-disc"] = self.at(state, "disc")
        else:
            places["cutoff-link"] = self.at(state, "device")
        return places


@dataclasses.dataclass
class State:
    t: np.ndarray
    held: np.ndarray
    v1: np.ndarray
    v2: np.ndarray


# ---- instruments ------------------------------------------------------------------------------------------------


class Meter:
    """An instrument: a gain and an offset of its own, noise, a resolution."""

    def __init__(self, seed, gain=0.0, offset=0.0, noise=0.0, places=2):
        self.random = random.Random(seed)
        self.gain, self.offset, self.noise, self.places = gain, offset, noise, places

    def __call__(self, value):
        read = value * (1 + self.gain) + self.offset + self.random.gauss(0.0, self.noise)
        return f"{read:.{self.places}f}".replace("-0." + "0" * self.places, "0." + "0" * self.places)


def instruments(rev, test):
    """As the records list them: errors within their accuracy, digits as their resolution."""
    seed = f"{rev} {test}"
    return {
        "load-v": Meter(seed + " load-v", 2.5e-4, 0.004, 0.003),
        "load-i": Meter(seed + " load-i", -7e-4, 0.004, 0.006),
        "meter-v": Meter(seed + " meter-v", -1e-4, 0.003, 0.003),
        "shunt-i": Meter(seed + " shunt-i", 1.2e-3, 0.003, 0.006),
        "clamp-1": Meter(seed + " clamp-1", 4e-3, 0.1, 0.05, 1),
        "clamp-2": Meter(seed + " clamp-2", -3e-3, 0.1, 0.05, 1),
    }


def thermocouple(rev, test, channel, offset):
    return Meter(f"{rev} {test} {channel}", 0.0, offset, 0.04, 1)


def clock(t):
    return f"{t // 3600}:{t // 60 % 60:02d}:{t % 60:02d}"


# ---- tests ------------------------------------------------------------------------------------------------------


def capacity(build):
    """0.2 C down to 20 V, then a rest of two minutes; a sample every 20 s."""
    pack, read = Pack(build), instruments(build.rev, "capacity")
    case = thermocouple(build.rev, "capacity", "case", 0.1)
    state, t, current = pack.rest(1.0), 0, 0.0
    rows, over = ["Time,Voltage (V),Current (A),Case temperature (°C)"], None
    while over is None or t <= over + 120:
        current = 30.0 if t >= 60 and over is None else 0.0
        volts, _ = pack.voltage(state, current)
        rows.append(f"{clock(t)},{read['load-v'](volts)},{read['load-i'](current) if current else '0.00'},{case(pack.at(state, 'case'))}")
        if current and volts <= 20.0:
            over, current = t, 0.0
        state = pack.advance(state, 20.0, current)
        t += 20
    return rows


def charge(build):
    """30 A, then 29.2 V, down to 4 A or until the BMS opens at 3.65 V of a cell; charge written as positive."""
    pack, read = Pack(build), instruments(build.rev, "charge")
    state, t, over = pack.rest(0.004), 0, None
    rows = ["Time (s),Voltage (V),Current (A)"]

    def flow(state):
        """What the charger drives into the pack, A."""
        if pack.voltage(state, -30.0)[0] <= 29.2:
            return 30.0
        if pack.voltage(state, -1e-9)[0] >= 29.2:
            return 0.0
        return brentq(lambda i: pack.voltage(state, -i)[0] - 29.2, 1e-9, 30.0, xtol=1e-6)

    while over is None or t < over + 180:
        flows = 0.0
        if t >= 60 and over is None:
            flows = flow(state)
            if flows <= 4.0 or max(pack.voltage(state, -flows)[1]) >= 3.65 and build.rev == "b":
                over, flows = t, 0.0
        volts, _ = pack.voltage(state, -flows)
        rows.append(f"{t},{read['meter-v'](volts)},{read['shunt-i'](flows) if flows else '0.00'}")
        parts = 15 if volts > 28.0 else 3
        for _ in range(parts):
            state = pack.advance(state, 30.0 / parts, -(flow(state) if flows else 0.0))
        t += 30
    return rows


# The BMS of B opens at this temperature of the switches that touch no pad, and stays open until a charger is connected.
OPENS_AT = 78.0
# The thermocouples: on the bar halfway between its ends, under tape; beside the switches (B: those without a pad); in the
# air under the lid. Under tape a thermocouple loses this part of its rise over the air.
TAPE = 0.02


def full_load(build, current, test, room=ROOM):
    """Load on from 30 s to 950 s or until the BMS opens; twice a second around the step, else every 5 s."""
    pack, read = Pack(build), instruments(build.rev, test)
    channels = [thermocouple(build.rev, test, name, offset) for name, offset in zip(("bar", "BMS", "air"), build.sensors)]
    state, t, over = pack.rest(0.955, room), 0.0, None
    rows = ["elapsed s;U in V;I in A;T bar in °C;T BMS in °C;T air in °C"]
    trace = []
    while t < 996:
        load = current if 30 <= t < 950 and over is None else 0.0
        if t == int(t) and t % 5 == 0 or 25 <= t < 37:
            volts = 0.3 if over is not None else pack.voltage(state, load)[0]
            air = pack.at(state, "air")
            bar = state.t[pack.positive_bar[35]] - ZERO
            bms = pack.at(state, "switches, other half")
            heads = (bar - TAPE * (bar - air), bms - TAPE * (bms - air), air)
            row = [f"{t:g}", read["load-v"](volts), read["load-i"](load) if load else read["load-i"](0.0)]
            rows.append(";".join(row + [head(value) for head, value in zip(channels, heads)]).replace(".", ","))
            trace.append((t, load, volts, heads))
        step = 0.5 if 25 <= t < 37 else 1.0
        state = pack.advance(state, step, load, room)
        t += step
        if build.rev == "b" and over is None and pack.at(state, "switches, other half") >= OPENS_AT:
            over = t
    return rows, over, pack, state, trace


def branch(read, share, begins, step, sign, header, trace):
    """A clamp meter's log: a clock of its own, its own sampling, its own sign."""
    rows, t = [header], 0.0
    while t + begins < 970:
        time = t + begins
        # The loads drift against each other.
        flows = share * (1 + 0.004 * math.sin(time / 90)) if 30 <= time < 950 else 0.0
        rows.append(f"{t:g},{'-' if sign < 0 else ''}{read(flows)}")
        t += step
    return rows


def cold_charge(build):
    """Out of the freezer with the charger on; the BMS lets 10 A in once its sensor between cells 3 and 4 reads 3 °C."""
    pack, read = Pack(build), instruments(build.rev, "cold-charge")
    cells, air = (thermocouple(build.rev, "cold-charge", name, offset) for name, offset in (("cells", 0.2), ("room", -0.1)))
    state, charging = pack.rest(0.55, -6.4), False
    rows = ["Time,Voltage (V),Current (A),T cells (°C),T room (°C)"]
    for t in range(0, 9000, 20):
        room = ROOM + 0.2 * math.sin(t / 900)
        charging = charging or 0.5 * (pack.at(state, "cell3") + pack.at(state, "cell4")) >= 3.0
        flows = 10.0 if charging else 0.02
        volts, _ = pack.voltage(state, -flows)
        rows.append(f"{clock(t)},{read['meter-v'](volts)},{read['shunt-i'](flows)},{cells(pack.at(state, 'cell4'))},{air(room)}")
        state = pack.advance(state, 20.0, -flows, room)
    return rows


def logs():
    """Every log, by its path under example-inspections, with notes of what happened."""
    files, notes = {}, {}
    for build, rated in ((A, 151.5), (B, 202.0)):
        folder = f"harbour-24-150-rev-{build.rev}/logs/"
        files[folder + "capacity.csv"] = capacity(build)
        files[folder + "charge.csv"] = charge(build)
        for name, current in (("full-load", rated), ("full-load-as-a", 151.5)):
            if build.rev == "a" and name != "full-load":
                continue
            rows, over, pack, state, trace = full_load(build, current, name)
            files[folder + name + ".csv"] = rows
            notes[build.rev, name] = (over, pack, trace)
    folder, read = "harbour-24-150-rev-a/logs/", instruments("a", "full-load")
    trace = notes["a", "full-load"][2]
    files[folder + "branch-1.csv"] = branch(read["clamp-1"], 70.5, 12.0, 2.0, 1, "Time (s),Current (A)", trace)
    files[folder + "branch-2.csv"] = branch(read["clamp-2"], 81.0, 4.5, 3.0, -1, "seconds,DC current A", trace)
    files[folder + "cold-charge.csv"] = cold_charge(A)
    return files, notes


# ---- what the record's readings would be -------------------------------------------------------------------------


def readings():
    """What the instruments of the records would show of this network at 24 °C."""
    for build in (A, B):
        pack = Pack(build)
        state = pack.rest(0.6)
        net, r = pack.net, pack.net.ohms(state.t)
        share = net.shares(r)
        for name, (own, contacts) in zip(("BMS", "negative-joint", "foot", "positive-joint"), net.overlaps):
            # Probes on the bar where it enters the overlap and on the partner: the first contact's drop, half a piece more.
            drop = 0.5 * r[own[0]] + r[contacts[0]] * share[contacts[0]]
            print(build.rev, name, f"{drop * 1e5:.2f} mV at 100 A")
        first, last = net.names["negative terminal"], net.names["positive terminal"]
        whole = float(np.sum((share**2 * r)[pack.inside()])) + sum(pack.cell_ohms(state, 1.0)[0])
        print(build.rev, f"ohmic, terminal to terminal {whole * 1e3:.3f} mΩ; cells at 1 kHz, posts included:",
              [f"{(o + 30e-6) * 1e3:.3f}" for o in pack.cell_ohms(state, 1.0)[0]])


# ---- truth ------------------------------------------------------------------------------------------------------

LIMITS = {  # °C; the highest temperature of each place for which the currents below are given
    "cells": 60.0, "posts": 65.0, "negative-bar": 90.0, "negative-joint": 90.0, "positive-bar": 90.0,
    "positive-joint": 90.0, "main-fuse": 105.0, "cutoff-disc": 70.0, "cutoff-link": 85.0, "positive-cable": 105.0,
    "bms-switches": 110.0,
}


def discharge(build, current, ambient, dt=20.0):
    """Highest temperature of each place in one full discharge from rest at the ambient, and when each limit is passed, s."""
    pack = Pack(build)
    state = pack.rest(1.0, ambient)
    seconds = min(build.capacity) * 3600 / current
    worst, passed, t = {k: ambient for k in pack.hottest(state)}, {}, 0.0
    while t < seconds - 1e-9:
        step = min(2.0 if t < 120 else 5.0 if t < 600 else dt, seconds - t)
        state = pack.advance(state, step, current, ambient)
        before = dict(worst)
        hot = pack.hottest(state)
        for place, value in hot.items():
            worst[place] = max(worst[place], float(value))
            if place not in passed and value > LIMITS[place]:
                part = (LIMITS[place] - before[place]) / (value - before[place])
                passed[place] = t + step * part
        t += step
        if max(worst.values()) > 400:
            break
    return worst, passed


def permissible(build, ambient):
    """For each place the current at which it just reaches its limit in one full discharge, A."""
    runs, found = {}, {}

    def rise(current):
        current = round(current, 3)
        if current not in runs:
            runs[current] = discharge(build, current, ambient)[0]
        return runs[current]

    for current in (40, 60, 80, 100, 125, 150, 180, 215, 260, 320):
        if max(rise(float(current)).values()) > 300:
            break
    for place in runs[min(runs)]:
        known = sorted(runs)
        low = [c for c in known if runs[c][place] <= LIMITS[place]]
        high = [c for c in known if runs[c][place] > LIMITS[place]]
        if not low or not high:
            found[place] = f"above {max(low):.0f}" if low else f"below {min(high):.0f}"
            continue
        a, b = max(low), min(high)
        for _ in range(6):
            ta, tb = rise(a)[place], rise(b)[place]
            part = (LIMITS[place] - ta) / (tb - ta)
            c = round(math.sqrt(a * a + part * (b * b - a * a)), 3)
            if not a < c < b:
                break
            if rise(c)[place] <= LIMITS[place]:
                a = c
            else:
                b = c
            if abs(rise(c)[place] - LIMITS[place]) < 0.05:
                a = b = c
                break
        found[place] = 0.5 * (a + b)
    return found


def without_end(build, ambient):
    """The same in the steady state, with every cell held at half its charge, A; the cells' heat goes on."""
    pack = Pack(build)

    @functools.lru_cache(maxsize=None)
    def hottest(current):
        state = pack.rest(0.5, ambient)
        try:
            for _ in range(100):
                ohmic, r1, r2 = pack.cell_ohms(state, current)
                heat = current**2 * (ohmic + r1 + r2) + current * state.t[pack.cells] * 4e-5
                t = pack.net.step(state.t, math.inf, current, list(zip(pack.cells, heat)), {pack.room: ambient + ZERO})
                moved, state.t = np.max(np.abs(t - state.t)), t
                if moved < 1e-6:
                    return pack.hottest(state)
        except RuntimeError:
            pass
        return None

    def over(current, place):
        found = hottest(current)
        return 500.0 if found is None else min(found[place], 500.0) - LIMITS[place]

    found = {}
    for place in hottest(10.0):
        low, high = 10.0, 12.5
        while high < 400 and over(high, place) < 0:
            low, high = high, high * 1.25
        found[place] = brentq(over, low, high, args=(place,), xtol=0.02) if high < 400 else f"above {low:.0f}"
    return found


def number(value):
    return f'"{value}"' if isinstance(value, str) else f"{value:.1f}"


def truth():
    lines = [
        "# Truth of the invented examples, made by example-inspections/logs/simulate.py: what its network does, to compare",
        "# ranges with. Temperatures in °C, currents in A, times in s. The free quantities stand at the top of the script.",
        "# Limits are those for which the currents were worked out, not an opinion on what a place may have.",
        "",
        "[limits]",
        *[f"{place} = {limit:.1f}" for place, limit in LIMITS.items()],
    ]
    for build, rated in ((A, 150.0), (B, 200.0)):
        for ambient in (25.0, 40.0):
            lines += ["", f"# Revision {build.rev.upper()}, all at {ambient:.0f} °C at the start, leads as in the test."]
            head = f"{build.rev}.at-{ambient:.0f}"
            lines += [f"[{head}.one-discharge]  # current that brings the place to its limit in one full discharge"]
            lines += [f"{place} = {number(value)}" for place, value in permissible(build, ambient).items()]
            lines += ["", f"[{head}.without-end]  # the same in the steady state, the cells' heat going on"]
            lines += [f"{place} = {number(value)}" for place, value in without_end(build, ambient).items()]
            worst, passed = discharge(build, rated, ambient)
            lines += ["", f"[{head}.rated]  # highest temperatures in one full discharge at {rated:.0f} A"]
            lines += [f"{place} = {number(value) if value < 400 else number('above 400')}" for place, value in worst.items()]
            lines += ["", f"[{head}.rated-until]  # seconds at {rated:.0f} A until a limit is passed"]
            lines += [f"{place} = {value:.0f}" for place, value in sorted(passed.items(), key=lambda x: x[1])]
    return "\n".join(lines) + "\n"


def balance():
    """Heat made, stored and given off in a loaded pack over 900 s: the difference over what was made."""
    pack = Pack(A)
    state = pack.rest(0.95)
    made = away = 0.0
    start = state.t.copy()
    net = pack.net
    for _ in range(300):
        before = state
        state = pack.advance(before, 3.0, 150.0)
        ohmic, r1, r2 = pack.cell_ohms(before, 150.0)
        heat = 150.0**2 * ohmic + state.v1**2 / r1 + state.v2**2 / r2 + 150.0 * before.t[pack.cells] * 4e-5
        k, q, _ = net.system(state.t, 150.0, list(zip(pack.cells, heat)))
        made += 3.0 * float(np.sum(q))
        # What enters the room, from its row of the conductances.
        away += -3.0 * float(k[pack.room] @ state.t)
    inside = np.arange(net.size) != pack.room
    stored = float(np.sum((net.c * (state.t - start))[inside]))
    return (made - stored - away) / made, made, stored, away


def main():
    options = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    options.add_argument("--check", action="store_true", help="write nothing; say which logs differ from those shipped")
    options.add_argument("--readings", action="store_true", help="print what the record's readings would be")
    options.add_argument("--truth", action="store_true", help="renew tests/data/examples-truth.toml too (minutes)")
    options.add_argument("--balance", action="store_true", help="print the energy balance of the network, as JSON")
    arguments = options.parse_args()
    if arguments.balance:
        miss, made, stored, away = balance()
        print(f'{{"miss": {miss:.3e}, "made": {made:.1f}, "stored": {stored:.1f}, "away": {away:.1f}}}')
        return 0
    if arguments.readings:
        readings()
        return 0
    files, notes = logs()
    differ = []
    for name, rows in files.items():
        path, text = EXAMPLES / name, "\n".join(rows) + "\n"
        if arguments.check:
            if path.read_bytes() != text.encode():
                differ.append(name)
        else:
            path.write_bytes(text.encode())
    for (rev, test), (over, _, trace) in notes.items():
        ends = "BMS opens" if over else "load ends"
        hottest = [max(heads[i] for *_, heads in trace) for i in range(3)]
        at = over or 950
        volts = [volts for t, load, volts, _ in trace if t == 600]
        print(f"{rev} {test}: {ends} {at - 30:g} s after its start; hottest", " ".join(f"{x:.1f}" for x in hottest), "°C; U at 600 s", volts)
    if arguments.truth:
        TRUTH.write_text(truth(), encoding="utf-8")
    for name in differ:
        print(f"differs: {name}")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
