"""Works out what each log of the corpus holds, with pandas and scipy from columns that a person picked out.

    python tests/reference/log_truth.py [--logs .cache/logs] [--only ID] [--write]

tests/data/log-corpus.toml says for every log which lines, columns, units and sign are right (`[log.read]`); this script
integrates those and compares with the figures under `[log.truth]` in the same file, so that the truth can be made again
without a line of the program under test. `--write` renews the figures instead.

Definitions, the same for every log:
- charge and energy by the trapezoid rule (scipy.integrate.trapezoid), charging and discharging part of the current apart;
  no interval is integrated over where the clock runs back or where `max_gap_s` of the list is exceeded;
- a reading is at rest when its current is at most `rest_a` (default: 0.5 % of the highest);
- a discharge is a stretch of discharging readings; rests of up to 120 s inside belong to it, a charging reading ends it;
- where the log has the time within its step, the moment at which a step begins is worked out from it, and the current of
  the step before reaches up to there: a cycler writes its first row some time after the change;
- `tolerance` is the sum of what cannot be known better from these rows: half the width of each interval in which the
  current jumps (by more than 5 % of the highest) times the jump, and half a digit of the current over the time it flows; at
  least 0.2 %;
- counters: the sum of what each counter of the log rose (resets followed), in Ah and Wh.
"""

import argparse
import math
import re
import sys
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.integrate import trapezoid

sys.path.insert(0, str(Path(__file__).parent))
from log_corpus import LIST, ROOT, bare_name, corpus  # noqa: E402

SCALE = {
    "s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "day": 86400.0,
    "A": 1.0, "mA": 1e-3, "10 mA": 1e-2, "V": 1.0, "mV": 1e-3, "W": 1.0,
    "Ah": 1.0, "mAh": 1e-3, "C": 1 / 3600.0, "Wh": 1.0, "mWh": 1e-3, "J": 1 / 3600.0,
    "degC": 1.0, "0.1 degC": 0.1,
}


def table(path: Path, read: dict) -> pd.DataFrame:
    """The rows of the log; columns keep their names, or are numbered from 1 without a header."""
    header = 0 if read.get("header", True) else None
    if path.suffix == ".xlsx":
        data = pd.read_excel(path, sheet_name=read["sheet"], header=header, skiprows=read.get("skip", 0))
    else:
        lines = path.read_bytes().decode("utf-8", errors="replace").splitlines()[read.get("skip", 0):]
        if read.get("footer"):
            lines = lines[:-read["footer"]]
        cut = [line.split(read.get("separator", ",")) for line in lines if line.strip()]
        if header is None:
            width = max(map(len, cut))
            data = pd.DataFrame([row + [""] * (width - len(row)) for row in cut], columns=range(1, width + 1))
        else:
            names, width = [], max(map(len, cut))
            for number, name in enumerate(cut[0] + [""] * (width - len(cut[0])), start=1):
                name = name.strip()
                names.append(name if name and name not in names else f"{name} #{number}")
            data = pd.DataFrame([row + [""] * (width - len(row)) for row in cut[1:]], columns=names)
    for column, values in read.get("keep", {}).items():
        key = int(column) if column.isdigit() else column
        data = data[data[key].astype(str).str.strip().isin(values)]
    if read.get("need"):
        column = read["need"]
        data = data[data[column].astype(str).str.strip() != ""]
    return data.reset_index(drop=True)


def numbers(data: pd.DataFrame, pick: dict) -> np.ndarray:
    values = data[pick["column"]]
    if values.dtype == object or str(values.dtype).startswith("str"):
        values = pd.to_numeric(values.astype(str).str.strip(), errors="coerce")
    return values.to_numpy(float) * SCALE[pick["unit"]]


def clock(data: pd.DataFrame, pick: dict) -> np.ndarray:
    if "every_s" in pick:
        return np.arange(len(data)) * float(pick["every_s"])
    if pick.get("form") == "d h:m:s":
        cut = data[pick["column"]].str.extract(r"(\d+)d\s+(\d+):(\d+):([\d.]+)").astype(float)
        return (((cut[0] * 24 + cut[1]) * 60 + cut[2]) * 60 + cut[3]).to_numpy()
    if "form" in pick:
        moments = pd.to_datetime(data[pick["column"]].astype(str).str.strip(), format=pick["form"])
        return (moments - moments.iloc[0]).dt.total_seconds().to_numpy()
    return numbers(data, pick)


def with_step_starts(step: np.ndarray, time: np.ndarray, *others: np.ndarray) -> list[np.ndarray]:
    """Adds, at each change of step, the last values of the old and the first of the new at the moment of the change."""
    order = []
    for index in range(len(time)):
        if index and step[index] < step[index - 1]:
            moment = min(max(time[index] - step[index], time[index - 1]), time[index])
            order += [(moment, index - 1), (moment, index)]
        order.append((time[index], index))
    pick = np.array([index for _, index in order])
    return [np.array([moment for moment, _ in order])] + [values[pick] for values in others]


def digit(data: pd.DataFrame, pick: dict) -> float:
    """The last digit of a column, in its base unit: 0.01 A for a current written with two decimals. 0 where it is not to be
    seen: powers of ten, or whole numbers alone (a program that leaves off zeros)."""
    texts = data[pick["column"]].astype(str).str.strip()
    decimals = texts.str.extract(r"[.](\d+)")[0].dropna().str.len()
    if texts.str.contains("[eE]").any() or not len(decimals):
        return 0.0
    return 10.0 ** -int(decimals.max()) * SCALE[pick["unit"]]


def discharges(time: np.ndarray, current: np.ndarray, rest: float) -> list[tuple[int, int]]:
    """First and last reading of every discharge; `current` is positive in discharge."""
    found, start, last = [], None, None
    for index, value in enumerate(current):
        if value > rest:
            if start is not None and time[index] - time[last] > 120.0 and index - last > 1:
                found.append((start, last))
                start = None
            start = index if start is None else start
            last = index
        elif value < -rest and start is not None:
            found.append((start, last))
            start = None
    return found + ([(start, last)] if start is not None else [])


def significant(value: float, digits: int = 6) -> float:
    return float(f"{value:.{digits}g}")


def truth(path: Path, log: dict) -> dict:
    read = log["read"]
    data = table(path, read)
    out = {"rows": len(data)}
    time = clock(data, read["time"]) if "time" in read else None
    if time is not None:
        if read.get("drop_backward"):
            ahead = np.ones(len(time), bool)
            highest = -math.inf
            for index, value in enumerate(time):
                ahead[index] = value >= highest
                highest = max(highest, value)
            data, time = data[ahead].reset_index(drop=True), time[ahead]
            out["rows_dropped"] = int((~ahead).sum())
        out["duration_s"] = significant(float(np.nanmax(time) - np.nanmin(time)), 7)
    for pick in read.get("temperature", []):
        values = numbers(data, pick)
        key = {"cell": "highest_temperature_c", "air": "highest_air_c", "instrument": "highest_instrument_c"}[pick["role"]]
        if np.isfinite(values).any():
            out[key] = round(max(out.get(key, -math.inf), float(np.nanmax(values))), 3)
    if "current" in read:
        current = numbers(data, read["current"])
        sign = read["sign"]
        if sign == "charge positive":
            current = -current
        elif isinstance(sign, dict):
            state = data[sign["column"]].astype(str).str.strip()
            current = np.abs(current) * np.where(state.isin(sign["discharge"]), 1.0, np.where(state.isin(sign["charge"]), -1.0, 0.0))
        elif sign != "discharge positive":
            raise ValueError(f"{log['id']}: sign {sign!r}")
        voltage = numbers(data, read["voltage"]) if "voltage" in read else np.full(len(current), np.nan)
        good = np.isfinite(time) & np.isfinite(current)
        time, current, voltage = time[good], current[good], voltage[good]
        if "step_time" in read:
            time, current, voltage = with_step_starts(numbers(data, read["step_time"])[good], time, current, voltage)
        width = np.diff(time)
        width = np.where((width < 0) | (width > read.get("max_gap_s", math.inf)), 0.0, width)
        axis = np.concatenate([[0.0], np.cumsum(width)])
        rest = read.get("rest_a", 0.005 * float(np.max(np.abs(current))) if len(current) else 0.0)

        half_digit = digit(data, read["current"]) / 2.0
        jump = 0.05 * float(np.max(np.abs(current))) if len(current) else 0.0

        def put(name: str, values: np.ndarray, x: np.ndarray, weight: np.ndarray | None = None) -> None:
            weight = np.ones(len(values)) if weight is None else np.nan_to_num(weight)
            whole = float(trapezoid(values * weight, x)) / 3600.0
            if not math.isfinite(whole) or whole == 0.0:
                return
            step, change = np.diff(x), np.abs(np.diff(values))
            height = np.maximum(weight[1:], weight[:-1])
            unsure = float((np.where(change > jump, change, 0.0) * step * height).sum()) / 7200.0
            unsure += half_digit * float((step * height)[values[1:] > 0.0].sum()) / 3600.0
            out[name] = significant(whole)
            out.setdefault("tolerance", {})[name] = significant(max(0.002 * abs(whole), unsure), 2)

        down, up = np.where(current > rest, current, 0.0), np.where(current < -rest, -current, 0.0)
        stretches = discharges(time, current, rest)
        for name, part in (("highest_discharge_a", down), ("highest_charge_a", up)):
            if part.any():
                out[name] = significant(float(part.max()))
        out["discharges"] = len(stretches)
        put("discharge_ah", down, axis)
        put("discharge_wh", down, axis, voltage)
        put("charge_ah", up, axis)
        put("charge_wh", up, axis, voltage)
        if len(stretches) > 1:
            charges = [float(trapezoid(down[a:b + 1], axis[a:b + 1])) for a, b in stretches]
            a, b = stretches[int(np.argmax(charges))]
            part = slice(max(a - 1, 0), b + 2)
            put("largest_discharge_ah", down[part], axis[part])
            put("largest_discharge_wh", down[part], axis[part], voltage[part])
            out["largest_discharge_from_s"] = significant(float(time[a] - time[0]), 7)
            out["largest_discharge_to_s"] = significant(float(time[b] - time[0]), 7)
    for pick in read.get("counter", []):
        values = numbers(data, pick)
        values = np.abs(values[np.isfinite(values)])
        before, after = values[:-1], values[1:]
        rises = np.where(after >= before, after - before, np.where(after < 0.5 * before, after, 0.0))
        out[f"counter_{pick['of']}"] = significant(float(rises.sum()))
    return out


def lines(figures: dict) -> list[str]:
    out = ["[log.truth]"]
    for key, value in figures.items():
        if isinstance(value, dict):
            out.append(f"{key} = {{ " + ", ".join(f"{k} = {v}" for k, v in value.items()) + " }")
        else:
            out.append(f"{key} = {value}")
    return out


def write(everything: dict[str, dict]) -> None:
    """Replaces each [log.truth] table of the list; all else stays as it is."""
    parts = re.split(r"(?m)^(?=\[\[log\]\]$)", LIST.read_text(encoding="utf-8"))
    for index, part in enumerate(parts[1:], start=1):
        name = re.search(r'(?m)^id = "([^"]+)"$', part).group(1)
        if name in everything:
            head = re.split(r"(?m)^\[log\.truth\]$", part)[0].rstrip("\n")
            parts[index] = head + "\n" + "\n".join(lines(everything[name])) + "\n\n"
    LIST.write_text("".join(parts).rstrip("\n") + "\n", encoding="utf-8")


def main() -> int:
    arguments = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    arguments.add_argument("--logs", type=Path, default=ROOT / ".cache/logs")
    arguments.add_argument("--only")
    arguments.add_argument("--write", action="store_true")
    given = arguments.parse_args()
    everything, differ = {}, 0
    for log in corpus()["log"]:
        if given.only and log["id"] != given.only:
            continue
        everything[log["id"]] = made = truth(given.logs / bare_name(log), log)
        if not given.write and made != log.get("truth"):
            differ += 1
            print(f"{log['id']}: made {made}, listed {log.get('truth')}")
    if given.write:
        write(everything)
    print(f"{len(everything) - differ} passed, {differ} failed")
    return 1 if differ else 0


if __name__ == "__main__":
    sys.exit(main())
