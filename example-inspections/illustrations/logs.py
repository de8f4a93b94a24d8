"""Makes the invented logs of the example inspections: deterministic, from a made-up discharge curve. Nothing is measured."""
import math
import pathlib

root = pathlib.Path(__file__).resolve().parent.parent
ROOM = 24.0


def cell(soc):
    """A made-up open-circuit curve with a plateau and a knee."""
    return 3.285 + 0.04 * (soc - 0.5) + 0.12 * math.exp((soc - 1) * 60) - 0.85 * math.exp(-soc * 28)


def write(path, rows):
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def clock(t):
    return f"{t // 3600}:{t // 60 % 60:02d}:{t % 60:02d}"


def capacity(path, holds, current, resistance, cutoff):
    rows = ["Time,Voltage (V),Current (A),Case temperature (°C)"]
    taken, t = 0.0, 0
    while True:
        load = 0.0 if t < 60 else current
        soc = max(0.0, 1 - taken / (holds * 3600))
        ripple = 0.002 * math.sin(t * 0.7)
        volts = 8 * cell(soc) - load * resistance + ripple
        rows.append(f"{clock(t)},{volts:.3f},{load + (0.01 * math.sin(t) if load else 0):.2f},{ROOM + 3 * (1 - math.exp(-t / 5000)):.1f}")
        if volts <= cutoff:
            break
        taken += load * 20
        t += 20
    for extra in range(1, 7):
        t += 20
        rows.append(f"{clock(t)},{8 * (cell(0.01) + 0.02 * extra):.3f},0.00,27.0")
    write(path, rows)


def charge(path, holds, current, resistance, limit, breaks_off_at):
    """Constant current, then constant voltage; written with the charge as positive."""
    slow = 0.08  # what the last per cent of charge add to the resistance
    rows = ["Time (s),Voltage (V),Current (A)"]
    inside, t = 0.004 * holds * 3600, 0
    while True:
        soc = inside / (holds * 3600)
        rest = 8 * (cell(soc) + 0.17 * math.exp((soc - 1) * 45))
        whole = resistance + slow * math.exp((soc - 1) * 60)
        flows = 0.0 if t < 60 else min(current, max(0.0, (limit - rest) / whole))
        ends = t >= 60 and flows <= 4.0 or breaks_off_at and soc >= breaks_off_at
        if ends:
            break
        rows.append(f"{t},{rest + flows * whole:.2f},{flows + (0.01 * math.sin(t) if flows else 0):.2f}")
        # A little of what goes in is lost.
        inside += 0.996 * flows * 30
        t += 30
    for _ in range(6):
        rows.append(f"{t},{rest - 0.1:.2f},0.00")
        t += 30
    write(path, rows)


def full_load(path, current, opens_at, resistance, bar_end, bms_end, air_end):
    rows = ["elapsed s;U in V;I in A;T bar in °C;T BMS in °C;T air in °C"]
    last = opens_at or 950
    # Every half second around the moment at which the load comes on, to see the resistance.
    times = sorted({t * 5.0 for t in range(200)} | {25 + 0.5 * t for t in range(24)})
    for t in times:
        load = current if 30 <= t < last else 0.0
        dead = opens_at and t >= opens_at
        # Part of the resistance comes in with the slow processes in the cells.
        slow = resistance * (0.9 + 0.1 * (1 - math.exp(-max(0.0, t - 30) / 8)))
        volts = 0.3 if dead else 8 * cell(0.95 - 0.00002 * t * current / 50) - load * slow
        warm = max(0, min(t, last) - 30)
        temperatures = [
            ROOM + (end - ROOM) * (1 - math.exp(-warm / tau))
            for end, tau in [(bar_end, 260), (bms_end, 420), (air_end, 330)]
        ]
        row = f"{t:g};{volts:.3f};{load + 0.05 * math.sin(t):.2f};" + ";".join(f"{x:.1f}" for x in temperatures)
        rows.append(row.replace(".", ","))
    write(path, rows)


def branch(path, current, begins, step, sign, on, off, header):
    """A clamp meter's log: a clock of its own, its own sampling, its own sign."""
    rows = [header]
    t = 0.0
    while t + begins < off + 20:
        time = t + begins
        flows = current * (1 + 0.004 * math.sin(time / 90)) if on <= time < off else 0.1
        rows.append(f"{t:g},{sign * flows:.1f}")
        t += step
    write(path, rows)


def cold(path):
    """Out of the freezer with the charger on: nothing flows until the cells are warm; charge written as positive."""
    rows = ["Time,Voltage (V),Current (A),T cells (°C),T room (°C)"]
    for t in range(0, 9000, 20):
        cells = ROOM - (ROOM + 6.4) * math.exp(-t / 27000)
        flows = 10.0 if cells >= 1.2 else 0.02
        volts = 26.31 + (0.13 if flows > 1 else 0) + flows * 0.0045 + 0.002 * math.sin(t * 0.3)
        rows.append(f"{clock(t)},{volts:.2f},{flows:.2f},{cells:.1f},{ROOM + 0.2 * math.sin(t / 900):.1f}")
    write(path, rows)


for name, holds, rated, opens_at, resistance, ends, breaks_off_at in [
    ("harbour-24-150-rev-a", 152.6, 151.5, None, 0.0042, (64, 55, 43), None),
    ("harbour-24-150-rev-b", 143.8, 202.0, 570, 0.0046, (112, 98, 49), 0.93),
]:
    logs = root / name / "logs"
    logs.mkdir(exist_ok=True)
    capacity(logs / "capacity.csv", holds, 30.0, resistance, 20.0)
    charge(logs / "charge.csv", holds, 30.0, resistance, 29.2, breaks_off_at)
    full_load(logs / "full-load.csv", rated, opens_at, resistance, *ends)

# Revision B under the load that revision A was tested with: what warms by the square of the current warms less.
full_load(root / "harbour-24-150-rev-b" / "logs" / "full-load-as-a.csv", 151.5, None, 0.0046, 74, 66, 38)

logs = root / "harbour-24-150-rev-a" / "logs"
branch(logs / "branch-1.csv", 70.6, 12.0, 2.0, 1, 30, 950, "Time (s),Current (A)")
branch(logs / "branch-2.csv", 81.1, 4.5, 3.0, -1, 30, 950, "seconds,DC current A")
cold(logs / "cold-charge.csv")
