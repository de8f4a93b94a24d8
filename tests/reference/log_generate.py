"""Makes bench-test logs with faults in combination, and beside each the truth it was made from.

    python tests/reference/log_generate.py DIR [--number 1000] [--seed 12] [--only INDEX]

Log number k of a seed is always the same, however many are made; every tenth is a cold charge. In DIR it leaves `00017/` with one or more log files and
`truth.json`:

- `files`: the files of the test in order; `instruments`: what each file is of (`main`, `thermometer`)
- `record`: what a person would write about the test: kind, set current, cut-off voltage, ambient, power of a heater, and
  by how much a thermometer's clock is off
- `shape`: how the file is written; `faults`: what was done to it
- `truth`: what really flowed, from the simulated course and not from the rows: charge and energy of the test's discharge
  (pauses inside are part of the test) and of the charge, highest temperature of a cell, lowest while charging, resistance,
  highest current, the highest into cells below 0 °C (without what a heater takes), duration, and every stretch of current
- `cannot_be_known`: what no reader could tell from the files alone; a verdict that needs it must be withheld

The course is computed every second; the rows are samples of it with noise and a last digit. A verdict contradicts the truth
when it says that a claim above the true figure is met, or that a claim below it is missed. Nothing here knows the program
under test: numpy and openpyxl only. All packs are invented; curve shapes from memory of a lithium iron phosphate cell.
"""

import argparse
import datetime as dt
import gzip
import io
import json
import math
import random
import re
import zipfile
from pathlib import Path

import numpy as np

STATES = [("CHG", "DCHG", "REST"), ("C", "D", "R"), ("Charging", "Discharging", "Idle"), ("charge", "discharge", "pause"),
          ("1", "2", "0"), ("CC_Chg", "CC_DChg", "Rest")]
CODES = ["-127.00", "85.00", "999.9", "-273.1", "OPEN", "---", "NaN", "", "3276.7"]
UNITS = {"current": [("A", 1.0), ("A", 1.0), ("A", 1.0), ("mA", 1e3)], "voltage": [("V", 1.0), ("V", 1.0), ("mV", 1e3)],
         "time": [("s", 1.0), ("s", 1.0), ("s", 1.0), ("min", 1 / 60.0), ("h", 1 / 3600.0), ("ms", 1e3)]}
NAMES = {
    "time": ["Time", "Test Time", "Total Time", "Elapsed", "Zeit", "t", "Runtime"],
    "step time": ["Step Time", "StepTime", "Time in step"],
    "voltage": ["Voltage", "Pack Voltage", "U", "Volts", "Spannung", "Battery Voltage", "V_bat"],
    "current": ["Current", "I", "Amps", "Strom", "Load Current", "Battery Current", "I_bat"],
    "power": ["Power", "P", "Watts", "Leistung"],
    "cell temperature": ["T cell {}", "Temp {}", "Temperature A{}", "Cell Temperature {}", "Zelltemperatur {}"],
    "air temperature": ["Ambient", "T room", "Ambient Temperature", "Umgebung"],
    "instrument temperature": ["Internal Temperature", "MOS Temp", "Heatsink"],
    "state": ["State", "Mode", "Status", "MD"],
    "charge counter": ["Capacity", "Amp-hr", "Charge", "Ah"],
    "energy counter": ["Energy", "Watt-hr", "Wh"],
    "wall": ["Date Time", "Timestamp", "DPt Time", "Real Time", "Datum"],
}


def open_circuit(soc):
    """Volts of one cell by state of charge."""
    soc = np.clip(soc, 0.0, 1.0)
    return 2.75 + 0.50 * (1 - np.exp(-18 * soc)) + 0.06 * soc + 0.12 * np.exp(-(1 - soc) * 45)


class Course:
    """What really happened, second by second: `current` is positive in discharge."""

    def __init__(self, r: random.Random, cold: bool = False):
        self.series = r.choice([4, 8, 8, 16])
        self.capacity = round(r.uniform(20, 320), 1)
        self.resistance = self.series * r.uniform(0.35, 1.2) * 1e-3 * math.sqrt(100 / self.capacity)
        self.ambient = round(r.uniform(16, 27), 1)
        self.kind = r.choice(["capacity"] * 5 + ["charge"] * 2 + ["cycle", "rates", "full load", "pulse"])
        self.rate = r.choice([0.1, 0.2, 0.2, 0.33, 0.5])
        self.pauses = []
        self.heater = None
        phases = self.cold(r) if cold else self.phases(r)
        current = np.concatenate([np.full(int(s), a) if not isinstance(a, np.ndarray) else a for a, s, _ in phases])
        self.label = np.concatenate([np.full(len(a) if isinstance(a, np.ndarray) else int(s), n) for n, (a, s, _) in enumerate(phases)])
        self.roles = [role for _, _, role in phases]
        self.current = current
        soc = self.soc0 - np.cumsum(current) / 3600 / self.capacity
        rise = np.zeros(len(current))
        tau = r.uniform(1500, 5000)
        scale = r.uniform(3.0, 28.0) / float(np.abs(current).max()) ** 2
        level = 0.0
        for n in range(0, len(current), 10):
            level += 10.0 / tau * (scale * current[n] ** 2 - level)
            rise[n:n + 10] = level
        self.voltage = self.series * open_circuit(soc) - self.resistance * current
        self.temperature = self.ambient + rise
        if cold:
            # Chamber or heater warm the cells evenly through 0 °C.
            self.temperature = self.ambient * (1 - np.arange(len(current)) / self.crossing)
            heating = (self.current < 0) & (np.array(self.roles)[self.label] == "heat")
            if self.heater is not None:
                self.heater = round(float((-current * self.voltage)[heating].mean()))

    def cold(self, r):
        """A small charge offered to a cold pack: blocked while it is cold, or not; with a heater or without."""
        c, self.kind, self.soc0 = self.capacity, "cold charge", r.uniform(0.2, 0.5)
        self.ambient = round(r.uniform(-20, -6), 1)
        self.crossing = r.randint(1500, 3600)
        charge = r.uniform(0.05, 0.2) * c
        blocks = r.random() < 0.55
        heat = r.uniform(0.02, 0.08) * c if r.random() < 0.5 else 0.0
        self.heater = heat or None
        begins = self.crossing + r.randint(100, 500) if blocks else r.randint(300, int(0.8 * self.crossing))
        ends = max(begins, self.crossing) + r.randint(600, 1500)
        # Without blocking the heater goes on beside the charge until the cells are warm.
        cells = np.full(ends - begins, -charge)
        beside = np.where(np.arange(begins, ends) < self.crossing, heat, 0.0)
        self.into_cells = np.concatenate([np.zeros(begins), -cells, np.zeros(60)])
        return [(0.0, 60, "rest"), (-heat, begins - 60, "heat"), (cells - beside, ends - begins, "charge"), (0.0, 60, "rest")]

    def phases(self, r):
        c, rate = self.capacity, self.rate
        test = rate * c
        rest = lambda a=60, b=900: (0.0, r.randint(a, b), "rest")  # noqa: E731

        def full(amps, role="test"):
            seconds = 3600 * c * r.uniform(0.93, 1.0) / amps
            out, left = [], seconds
            if role == "test" and r.random() < 0.3:
                for _ in range(r.randint(1, 3)):
                    part = left * r.uniform(0.2, 0.6)
                    pause = r.choice([r.randint(20, 110), r.randint(150, 1800), r.randint(3600, 9 * 3600)])
                    out += [(amps, part, role), (0.0, pause, "pause")]
                    self.pauses.append(pause)
                    left -= part
            return out + [(amps, left, role)]

        def charge(amps, share):
            seconds = 3600 * c * share * 0.95 / amps
            tail = amps * np.exp(-np.arange(int(3600 * r.uniform(0.3, 0.8))) / 900.0)
            return [(-amps, seconds, "charge"), (-tail, len(tail), "charge")]

        self.soc0 = 1.0
        if self.kind == "capacity":
            return [rest(), *full(test), rest()]
        if self.kind == "charge":
            self.soc0 = 0.03
            return [rest(), *charge(r.uniform(0.15, 0.5) * c, 0.9), rest()]
        if self.kind == "cycle":
            self.soc0 = 0.05
            return [rest(), *charge(0.4 * c, 0.9), rest(600, 3600), *[(a, s * 0.9, p) for a, s, p in full(test)], rest()]
        if self.kind == "rates":
            other = r.choice([0.5, 1.0]) * c if rate < 0.5 else 0.2 * c
            first = [(other, 3600 * c * 0.85 / other, "other"), rest(900, 3600), *charge(0.5 * c, 0.8), rest(900, 3600)]
            return [rest(), *first, *[(a, s * 0.85, p) for a, s, p in full(test)], rest()]
        if self.kind == "full load":
            self.rate = r.uniform(0.5, 1.0)
            return [rest(60, 300), (self.rate * c, r.randint(900, 2400), "test"), rest(60, 600)]
        out = [rest(300, 600)]
        for _ in range(r.randint(3, 8)):
            out += [(self.rate * c, r.randint(30, 120), "test"), (0.0, r.randint(30, 110), "pause")]
        return out + [rest(60, 120)]

    def truth(self) -> dict:
        ah = lambda mask: float(np.abs(self.current[mask]).sum() / 3600)  # noqa: E731
        wh = lambda mask: float((np.abs(self.current) * self.voltage)[mask].sum() / 3600)  # noqa: E731
        role = np.array(self.roles)[self.label]
        test, charging = role == "test", role == "charge"
        stretches, start = [], 0
        sign = np.sign(np.where(np.abs(self.current) < 1e-6, 0, self.current)).astype(int)
        for n in range(1, len(sign) + 1):
            if n == len(sign) or sign[n] != sign[start] or (role[n] != role[start]):
                if sign[start]:
                    m = slice(start, n)
                    stretches.append({"kind": "discharge" if sign[start] > 0 else "charge", "of_the_test": bool(role[start] == "test"),
                                      "from_s": start, "to_s": n, "ah": round(ah(m), 5), "wh": round(wh(m), 4),
                                      "mean_a": round(float(np.abs(self.current[m]).mean()), 4)})
                start = n
        out = {"duration_s": len(self.current), "highest_current_a": round(float(np.abs(self.current).max()), 4),
               "resistance_ohm": self.resistance, "highest_cell_c": round(float(self.temperature.max()), 2), "stretches": stretches}
        if test.any():
            out |= {"discharge_ah": round(ah(test), 5), "discharge_wh": round(wh(test), 4), "pauses_s": self.pauses}
        if self.kind == "cold charge":
            out |= {"cold_current_a": round(float(self.into_cells[self.temperature < 0].max()), 5)}
        if charging.any():
            out |= {"charge_ah": round(ah(charging), 5), "charge_wh": round(wh(charging), 4),
                    "lowest_cell_while_charging_c": round(float(self.temperature[charging].min()), 2)}
        return out


class Rows:
    """Samples of a course in columns of text, before they are laid out."""

    def __init__(self, course: Course, r: random.Random, faults: list[str], unknown: list[str]):
        self.course, self.r, self.faults = course, r, faults
        length = len(course.current)
        every = max(1, length // r.randint(150, 700))
        pick = np.arange(0, length, every)
        self.time = pick.astype(float)
        noise = np.random.default_rng(r.randrange(2**32))
        self.current = course.current[pick] * (1 + noise.normal(0, 2e-4)) + noise.normal(0, 2e-4 * course.capacity, len(pick)) * (course.current[pick] != 0)
        self.voltage = course.voltage[pick] * (1 + noise.normal(0, 1e-4)) + noise.normal(0, 1e-3, len(pick))
        self.temperature = course.temperature[pick] + noise.normal(0, 0.05, len(pick))
        self.true_current = course.current[pick]
        self.ah = np.cumsum(course.current)[pick] / 3600
        self.wh = np.cumsum(course.current * course.voltage)[pick] / 3600
        self.step = course.label[pick]
        starts = np.array([np.flatnonzero(course.label == n)[0] for n in range(int(course.label.max()) + 1)])
        self.step_time = self.time - starts[self.step]
        self.start = dt.datetime(2026, r.randint(1, 12), r.randint(1, 28), r.randint(0, 23), r.randint(0, 59), r.randint(0, 59))
        self.elapsed = self.time.copy()
        self.keep = np.ones(len(pick), bool)
        self.sensor_text: dict[int, str] = {}
        self.detached_from = None
        self.unknown = unknown
        self.every = every
        if r.random() < 0.15:
            faults.append("offset at rest")
            self.current += r.choice([-1, 1]) * r.uniform(0.0005, 0.003) * course.capacity
        if r.random() < 0.2:
            faults.append("stale sample after each step")
            for n in np.flatnonzero(np.diff(self.step) != 0) + 1:
                if r.random() < 0.5:
                    self.voltage[n] = self.voltage[n - 1]
                else:
                    self.current[n] = self.current[n - 1]
        if r.random() < 0.25 and len(pick) > 60:
            a = r.randint(20, len(pick) - 30)
            b = min(len(pick) - 5, a + r.randint(5, max(6, len(pick) // 6)))
            self.keep[a:b] = False
            faults.append("gap")
        if r.random() < 0.2:
            faults.append("sensor codes")
            for _ in range(r.randint(1, 6)):
                self.sensor_text[r.randrange(len(pick))] = r.choice(CODES)
        elif r.random() < 0.1:
            faults.append("sensor detached")
            self.detached_from = r.randint(len(pick) // 3, len(pick) - 1)
            unknown.append("highest_cell_c")
        if r.random() < 0.08:
            n = r.randrange(len(pick))
            self.voltage[n] *= r.choice([0.1, 10, -1])
            faults.append("spike in voltage")
        if r.random() < 0.1:
            faults.append("rows repeated")


def number(value: float, digits: int, comma: bool) -> str:
    text = f"{value:.{digits}f}"
    return text.replace(".", ",") if comma else text


def layout(rows: Rows, r: random.Random, faults: list[str], unknown: list[str]) -> tuple[dict, list, list]:
    """Columns as (name, unit, texts): names, units, order and sign as some instrument writes them."""
    course = rows.course
    comma = r.random() < 0.2
    style = r.choice(["({})", "({})", "[{}]", "/{}", "_{}", "row", "none", "none"])
    shape = {"decimal_comma": comma, "units": style, "every_s": rows.every}
    cut = lambda values, digits: [number(v, digits, comma) for v in values]  # noqa: E731
    columns = []

    def add(role, unit, texts, name=None):
        columns.append((name or r.choice(NAMES[role]), unit, list(texts)))

    # Clocks. Without any wall clock an elapsed clock that starts anew hides how long the log was off.
    clocks = r.choice(["elapsed", "elapsed", "elapsed", "wall", "both", "both", "step and total", "date and time"])
    unit, scale = r.choice(UNITS["time"])
    restart = False
    if "gap" in faults and clocks in ("elapsed", "both", "step and total") and r.random() < 0.4:
        restart = True
        faults.append("elapsed clock starts anew after the gap")
        first = int(np.flatnonzero(~rows.keep)[-1]) + 1
        rows.elapsed = rows.elapsed.copy()
        rows.elapsed[first:] -= rows.elapsed[first]
        if clocks != "both":
            unknown.append("how long the log was off")
    elif clocks == "both" and r.random() < 0.1:
        faults.append("elapsed clock and wall clock disagree")
        rows.elapsed = rows.elapsed * r.choice([0.5, 2.0, 1.1])
        unknown.append("which clock is right")
    order = r.choice(["iso", "iso", "day first", "month first", "12 hours"])
    form = {"iso": "%Y-%m-%d %H:%M:%S", "day first": "%d.%m.%Y %H:%M:%S", "month first": "%m/%d/%Y %H:%M:%S",
            "12 hours": "%m/%d/%Y %I:%M:%S %p"}[order]
    if order == "day first" and r.random() < 0.5:
        form = "%d/%m/%Y %H:%M:%S"
    moments = [rows.start + dt.timedelta(seconds=float(t)) for t in rows.time]
    remote = course.kind == "cold charge" and clocks in ("wall", "both", "date and time") and r.random() < 0.5
    shape |= {"thermometer": remote, "clocks": clocks, "time_unit": unit, "date_order": order if clocks in ("wall", "both", "date and time") else None}
    if clocks == "step and total":
        columns.append((r.choice(NAMES["step time"]), unit, cut(rows.step_time * scale, 4 if unit in ("min", "h") else 1)))
    if clocks in ("elapsed", "both", "step and total"):
        if r.random() < 0.12 and unit == "s" and not restart:
            texts = [f"{int(t) // 3600:02d}:{int(t) // 60 % 60:02d}:{int(t) % 60:02d}" for t in rows.elapsed]
            add("time", "", texts)
            shape["time_unit"] = "h:m:s"
        else:
            add("time", unit, cut(rows.elapsed * scale, {"ms": 0, "s": 1, "min": 4, "h": 6}[unit]))
    if clocks in ("wall", "both"):
        add("wall", "", [m.strftime(form) for m in moments])
    if clocks == "date and time":
        date, clock = form.split(" ", 1)
        columns += [("Date", "", [m.strftime(date) for m in moments]), ("Time", "", [m.strftime(clock) for m in moments])]

    # Voltage, current and their kin. One branch of three: the average of a logger with its extremes beside it.
    sign = r.choice(["discharge positive", "discharge negative", "discharge negative", "unsigned with state", "unsigned"])
    if course.kind in ("capacity", "full load", "pulse") and sign == "unsigned":
        sign = "discharge positive"
    current = {"discharge positive": rows.current, "discharge negative": -rows.current}.get(sign, np.abs(rows.current))
    shape["sign"] = sign
    if sign == "unsigned" and course.kind in ("cycle", "rates"):
        unknown.append("which stretches discharge, except by the voltage")
    v_unit, v_scale = r.choice(UNITS["voltage"])
    i_unit, i_scale = r.choice(UNITS["current"])
    v_digits, i_digits = (0 if v_unit == "mV" else r.choice([2, 3])), (0 if i_unit == "mA" else r.choice([2, 3]))
    volts, amps = cut(rows.voltage * v_scale, v_digits), cut(current * i_scale, i_digits)
    electric = [("voltage", v_unit, volts), ("current", i_unit, amps)]
    if r.random() < 0.15:
        faults.append("average, least and greatest of each channel")
        spread = 0.004
        electric = []
        for role, u, texts, values, sc, digits in (("voltage", v_unit, volts, rows.voltage, v_scale, v_digits),
                                                  ("current", i_unit, amps, current, i_scale, i_digits)):
            name = r.choice(NAMES[role])
            electric.append((role, u, texts, f"{name} avg"))
            electric.append((role, u, cut(values * (1 - spread) * sc, digits), f"{name} min"))
            electric.append((role, u, cut(values * (1 + spread) * sc, digits), f"{name} max"))
    if r.random() < 0.2:
        faults.append("set points beside the readings")
        electric.insert(r.randint(0, len(electric)), ("current", i_unit, cut(np.abs(rows.true_current).round(0) * i_scale, i_digits), r.choice(["Set Current", "I set", "Current setpoint"])))
    if r.random() < 0.15:
        faults.append("supply side beside the battery")
        supply = np.full(len(rows.time), 12.0 + r.uniform(0, 36))
        electric.insert(0, ("voltage", v_unit, cut(supply * v_scale, v_digits), r.choice(["Input Voltage", "Supply Voltage", "PV Voltage"])))
        electric.append(("current", i_unit, cut(np.abs(rows.current) * rows.voltage / supply * 1.07 * i_scale, i_digits), r.choice(["Input Current", "PV Current"])))
    if r.random() < 0.25:
        faults.append("voltage of each cell")
        cells = [("voltage", v_unit, cut(rows.voltage / course.series * (1 + 1e-3 * math.sin(n)) * v_scale, 0 if v_unit == "mV" else 3), f"Cell {n + 1}" + r.choice([" Voltage", "", ""])) for n in range(course.series)]
        electric = cells + electric if r.random() < 0.5 else electric + cells
    if r.random() < 0.15:
        faults.append("an empty current column")
        electric.insert(r.randint(0, len(electric)), ("current", i_unit, [""] * len(rows.time), "Current 2"))
    for item in electric:
        add(item[0], item[1], item[2], item[3] if len(item) > 3 else None)
    checked = False
    if r.random() < 0.35:
        add("power", "W", cut(np.sign(current) * np.abs(rows.current) * rows.voltage if sign != "unsigned" else np.abs(rows.current * rows.voltage), 1))
        checked = True
    if r.random() < 0.45:
        faults.append("counters beside the readings")
        one_way = r.choice(["net", "by step", "two columns"])
        if one_way == "net":
            add("charge counter", "Ah", cut(rows.ah if r.random() < 0.5 else np.abs(rows.ah), 4))
        elif one_way == "by step":
            base = np.array([rows.ah[np.flatnonzero(rows.step == s)[0]] for s in rows.step])
            add("charge counter", "Ah", cut(np.abs(rows.ah - base), 4))
            base = np.array([rows.wh[np.flatnonzero(rows.step == s)[0]] for s in rows.step])
            add("energy counter", "Wh", cut(np.abs(rows.wh - base), 3))
        else:
            down = np.cumsum(np.maximum(np.diff(rows.ah, prepend=rows.ah[0]), 0))
            up = np.cumsum(np.maximum(-np.diff(rows.ah, prepend=rows.ah[0]), 0))
            add("charge counter", "Ah", cut(down, 4), "Discharge_Capacity")
            add("charge counter", "Ah", cut(up, 4), "Charge_Capacity")
        checked = True
    if style != "none" and r.random() < 0.06:
        wrong = r.choice(["current", "time"])
        told = {"current": {"A": "mA", "mA": "A"}.get(i_unit), "time": {"s": "min", "min": "s", "ms": "s", "h": "min"}.get(unit)}[wrong]
        names = [name for name in NAMES[wrong]]
        hit = [n for n, (name, u, _) in enumerate(columns) if u in ("A", "mA") and wrong == "current" or name in names and u == unit and wrong == "time"]
        if hit:
            faults.append(f"unit of the {wrong} in the header is wrong")
            unknown.append(f"unit of the {'clock' if wrong == 'time' else 'current'}")
            for n in hit:
                columns[n] = (columns[n][0], told, columns[n][2])
    if style == "none" and i_unit == "mA" and not checked:
        unknown.append("unit of the current")
    if style == "none" and clocks in ("elapsed", "step and total") and unit != "s" and not checked:
        unknown.append("unit of the clock")
    if sign == "unsigned with state":
        words = r.choice(STATES)
        kind = np.where(np.abs(rows.true_current) < 1e-6, 2, np.where(rows.true_current > 0, 1, 0))
        add("state", "", [words[k] for k in kind])

    # Temperatures: cell sensors fail, the others do not.
    if not remote and (r.random() < 0.7 or course.kind == "cold charge"):
        shape["temperatures"] = True
        fahrenheit = r.random() < 0.05
        pattern = r.choice(NAMES["cell temperature"])
        names = [pattern.format(n + 1) for n in range(r.choice([1, 1, 2, 3]))]
        for n, name in enumerate(names):
            values = rows.temperature - 0.4 * n
            if n == 0 and rows.detached_from is not None:
                values = np.where(np.arange(len(values)) >= rows.detached_from, course.ambient, values)
            texts = cut(values * 1.8 + 32 if fahrenheit else values, 1)
            if n == 0:
                for index, code in rows.sensor_text.items():
                    texts[index] = code.replace(".", ",") if comma else code
            columns.append((name, "°F" if fahrenheit else "°C", texts))
        if r.random() < 0.4:
            columns.insert(r.randint(1, len(columns)), (r.choice(NAMES["air temperature"]), "°F" if fahrenheit else "°C", cut(np.full(len(rows.time), course.ambient * 1.8 + 32 if fahrenheit else course.ambient), 1)))
        if r.random() < 0.2:
            columns.append((r.choice(NAMES["instrument temperature"]), "°F" if fahrenheit else "°C", cut((rows.temperature + 9) * 1.8 + 32 if fahrenheit else rows.temperature + 9, 1)))
    if r.random() < 0.3:
        columns.insert(0, (r.choice(["No.", "Rec#", "Index", "Data_Point"]), "", [str(n + 1) for n in range(len(rows.time))]))
    if r.random() < 0.2:
        columns.insert(r.randint(1, len(columns)), (r.choice(["Cycle", "Cyc#"]), "", ["1"] * len(rows.time)))
    if r.random() < 0.2:
        columns.append(("Step", "", [str(int(s) + 1) for s in rows.step]))
    return shape, columns, [m for m in moments]


def text_of(columns, keep, shape, r: random.Random, faults) -> str:
    """The file as text: separator, header with units, preamble, footer."""
    separator = r.choice([";", "\t"]) if shape["decimal_comma"] else r.choice([",", ",", ";", "\t", "|"])
    shape["separator"] = separator
    style, names = shape["units"], []
    for name, unit, _ in columns:
        names.append(header_of(name, unit, style))
    lines = []
    if r.random() < 0.3:
        faults.append("preamble")
        lines += ["Bench log (invented)", f"Program{separator}invented test", "", f"Channel{separator}1"][: r.randint(1, 4)]
    header = len(lines)
    lines.append(separator.join(names))
    if style == "row":
        lines.append(separator.join(f"[{u}]" if u else "" for _, u, _ in columns))
    body = []
    for n in np.flatnonzero(keep):
        body.append(separator.join(texts[n] for _, _, texts in columns))
        if "rows repeated" in faults and r.random() < 0.01:
            body.append(body[-1])
    if r.random() < 0.06 and len(body) > 50:
        faults.append("header repeated between the rows")
        body.insert(r.randint(10, len(body) - 10), lines[header])
    if r.random() < 0.06:
        faults.append("last line cut off")
        body[-1] = body[-1][: max(3, len(body[-1]) // 2)]
    if r.random() < 0.1:
        faults.append("footer")
        body += ["", f"Total rows: {len(body)}"]
    return "\n".join(lines + body) + "\n"


def long_text(columns, keep, comma) -> str:
    """One row per quantity and time."""
    separator = ";" if comma else ","
    lines = [separator.join(["time_s" if columns[0][1] == "s" else f"{columns[0][0]} ({columns[0][1]})" if columns[0][1] else columns[0][0], "quantity", "value", "unit"])]
    for n in np.flatnonzero(keep):
        lines += [separator.join([columns[0][2][n], name, texts[n], unit]) for name, unit, texts in columns[1:]]
    return "\n".join(lines) + "\n"


def save(folder: Path, name: str, text: str, shape: dict, r: random.Random) -> str:
    way = r.choice(["utf-8"] * 8 + ["bom", "utf-16", "latin-1", "gz", "xlsx", "crlf"])
    shape["container"] = way
    path = folder / f"{name}.csv"
    if way == "xlsx":
        from openpyxl import Workbook

        book = Workbook()
        if r.random() < 0.5:
            book.active.title = "Info"
            book.active.append(["Bench log (invented)"])
            sheet = book.create_sheet("Data")
        else:
            sheet = book.active
        comma = shape["decimal_comma"]
        for line in text.splitlines():
            cells = []
            for cell in line.split(shape["separator"]):
                try:
                    cells.append(float(cell.replace(",", ".") if comma else cell))
                except ValueError:
                    cells.append(cell)
            sheet.append(cells)
        path, made = folder / f"{name}.xlsx", io.BytesIO()
        book.save(made)
        with zipfile.ZipFile(made) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
            for entry in old.infolist():  # the same bytes every time: no moment of writing inside
                data = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", b"2026-01-01T00:00:00Z", old.read(entry))
                new.writestr(zipfile.ZipInfo(entry.filename, (2026, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    elif way == "gz":
        path = folder / f"{name}.csv.gz"
        buffer = io.BytesIO()
        with gzip.GzipFile(fileobj=buffer, mode="wb", mtime=0) as packed:
            packed.write(text.encode())
        path.write_bytes(buffer.getvalue())
    else:
        data = {"bom": lambda: b"\xef\xbb\xbf" + text.encode(), "utf-16": lambda: text.encode("utf-16"),
                "latin-1": lambda: text.encode("latin-1", errors="replace"), "crlf": lambda: text.replace("\n", "\r\n").encode()}
        path.write_bytes(data.get(way, text.encode)())
    return path.name


def cutoff_of(course: Course, kind: str) -> float | None:
    """The voltage at which the load was set to stop: just below the last under load."""
    if kind != "capacity":
        return None
    last = np.flatnonzero(np.array(course.roles)[course.label] == "test")[-1]
    return round(float(course.voltage[last]) * 0.998, 3)


def header_of(name: str, unit: str, style: str) -> str:
    """A header with its unit as this instrument writes it."""
    if style in ("row", "none") or not unit:
        return name
    return f"{name} {style.format(unit)}" if style[0] in "([" else f"{name}{style.format(unit)}"


def one(folder: Path, seed: int, index: int) -> None:
    r = random.Random(f"{seed}/{index}")
    faults, unknown = [], []
    course = Course(r, cold=index % 10 == 9)
    if course.pauses and course.kind != "pulse":
        faults.append("pauses")
    rows = Rows(course, r, faults, unknown)
    shape, columns, moments = layout(rows, r, faults, unknown)
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.iterdir():
        old.unlink()
    files, instruments = [], []
    wall = shape["date_order"] is not None
    cuts = [0, len(rows.time)]
    if r.random() < 0.12 and len(rows.time) > 100:
        faults.append("split files")
        cuts = [0, *sorted(r.sample(range(40, len(rows.time) - 40), r.choice([1, 1, 2]))), len(rows.time)]
        if not wall and r.random() < 0.5:
            faults.append("each file starts its clock anew")
            unknown.append("how long the log was off")
            where = next(n for n, c in enumerate(columns) if c[0] in NAMES["time"])
            name, unit, texts = columns[where]
            try:
                values = [float(t.replace(",", ".")) for t in texts]
                digits = len(texts[0].replace(",", ".").partition(".")[2])
                for a in cuts[1:-1]:
                    base = values[a]
                    values[a:] = [v - base for v in values[a:]]
                columns[where] = (name, unit, [number(v, digits, shape["decimal_comma"]) for v in values])
            except ValueError:
                faults.pop()
                unknown.pop()
    as_long = len(cuts) == 2 and columns[0][0] in NAMES["time"] and shape["units"] not in ("none", "row") and r.random() < 0.15
    shape["table"] = "long" if as_long else "wide"
    for part, (a, b) in enumerate(zip(cuts, cuts[1:])):
        keep = rows.keep.copy()
        keep[:a] = False
        keep[b:] = False
        if not keep.any():
            continue
        if as_long:
            shape["separator"] = ";" if shape["decimal_comma"] else ","
            text = long_text(columns, keep, shape["decimal_comma"])
        else:
            state = r.getstate() if part == 0 else state  # every part is written the same way
            r.setstate(state)
            text = text_of(columns, keep, shape, r, faults)
        files.append(save(folder, f"test-{part + 1}" if len(cuts) > 2 else "test", text, shape, r))
        instruments.append("main")
    offset = None
    if shape["thermometer"] or wall and r.random() < 0.2 and len(cuts) == 2:
        faults.append("a second instrument on its own clock")
        late = r.uniform(-120, 240)
        fast = 0
        if r.random() < 0.3:
            faults.append("the second instrument's clock is off, and an offset is recorded")
            fast, offset = r.choice([-3600, 3600, r.randint(-900, 900)]), max(0, int(late))
        lines = ["Timestamp,T cell (°C),Ambient (°C)"]
        for second in range(max(0, int(late)), len(course.current), 30):
            moment = rows.start + dt.timedelta(seconds=second + fast)
            code = second // 30 in rows.sensor_text
            lines.append(f"{moment:%Y-%m-%d %H:%M:%S},{-127.0 if code else course.temperature[second]:.1f},{course.ambient:.1f}")
        (folder / "thermometer.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
        files.append("thermometer.csv")
        instruments.append("thermometer")
    kind = {"cycle": "capacity", "rates": "capacity", "pulse": "full load"}.get(course.kind, course.kind)
    test_current = float(np.abs(course.current[np.array(course.roles)[course.label] == ("charge" if kind in ("charge", "cold charge") else "test")]).max())
    out = {
        "index": index, "seed": seed, "invented": True, "files": files, "instruments": instruments,
        "record": {"kind": kind, "current_a": round(test_current, 3), "series": course.series, "claimed_capacity_ah": course.capacity,
                   "cutoff_v": cutoff_of(course, kind), "ambient_c": course.ambient, "heater_w": course.heater, "thermometer_offset_s": offset,
                   "date": f"{rows.start:%Y-%m-%d}"},
        "course": course.kind, "shape": shape, "faults": sorted(set(faults)), "cannot_be_known": sorted(set(unknown)),
        "rows": int(rows.keep.sum()), "truth": course.truth(),
    }
    (folder / "truth.json").write_text(json.dumps(out, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def main() -> None:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("folder", type=Path)
    arguments.add_argument("--number", type=int, default=1000)
    arguments.add_argument("--seed", type=int, default=12)
    arguments.add_argument("--only", type=int)
    given = arguments.parse_args()
    for index in [given.only] if given.only is not None else range(given.number):
        one(given.folder / f"{index:05d}", given.seed, index)


if __name__ == "__main__":
    main()
