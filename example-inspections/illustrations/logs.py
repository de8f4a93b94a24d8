"""Makes the invented logs of the example inspections: deterministic, from a made-up discharge curve. Nothing is measured."""
import math
import pathlib

root = pathlib.Path(__file__).resolve().parent.parent


def cell(soc):
    """A made-up open-circuit curve with a plateau and a knee."""
    return 3.285 + 0.04 * (soc - 0.5) + 0.12 * math.exp((soc - 1) * 60) - 0.85 * math.exp(-soc * 28)


def capacity(path, holds, current, resistance, cutoff):
    rows = ["Time,Voltage (V),Current (A),Case temperature (°C)"]
    taken, t = 0.0, 0
    while True:
        load = 0.0 if t < 60 else current
        soc = max(0.0, 1 - taken / (holds * 3600))
        ripple = 0.002 * math.sin(t * 0.7)
        volts = 8 * cell(soc) - load * resistance + ripple
        rows.append(f"{t // 3600}:{t // 60 % 60:02d}:{t % 60:02d},{volts:.3f},{load + (0.01 * math.sin(t) if load else 0):.2f},{24 + 3 * (1 - math.exp(-t / 5000)):.1f}")
        if volts <= cutoff:
            break
        taken += load * 20
        t += 20
    for extra in range(1, 7):
        t += 20
        rows.append(f"{t // 3600}:{t // 60 % 60:02d}:{t % 60:02d},{8 * (cell(0.01) + 0.02 * extra):.3f},0.00,27.0")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def full_load(path, current, opens_at, resistance, bar_rise, bms_rise):
    rows = ["elapsed s;U in V;I in A;T bar in °C;T BMS in °C"]
    for t in range(0, 1000, 5):
        on = 30 <= t < (opens_at if opens_at else 950)
        load = current if on else 0.0
        dead = opens_at and t >= opens_at
        volts = 0.3 if dead else 8 * cell(0.95 - 0.00002 * t * current / 50) - load * resistance
        warm = max(0, min(t, opens_at or 950) - 30)
        bar = 24 + bar_rise * (1 - math.exp(-warm / 260))
        bms = 24 + bms_rise * (1 - math.exp(-warm / 420))
        row = f"{t};{volts:.3f};{load + 0.05 * math.sin(t):.2f};{bar:.1f};{bms:.1f}"
        rows.append(row.replace(".", ","))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


for name, holds, rated, opens_at, resistance, bar_rise, bms_rise in [
    ("harbour-24-150-rev-a", 152.6, 151.5, None, 0.0042, 21, 31),
    ("harbour-24-150-rev-b", 143.8, 202.0, 570, 0.0046, 88, 74),
]:
    logs = root / name / "logs"
    logs.mkdir(exist_ok=True)
    capacity(logs / "capacity.csv", holds, 30.0, resistance, 20.0)
    full_load(logs / "full-load.csv", rated, opens_at, resistance, bar_rise, bms_rise)
