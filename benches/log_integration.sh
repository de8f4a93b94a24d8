#!/usr/bin/env bash
# Reads and integrates logs of ten million rows with this library, with polars and with DuckDB, in one run: one of plain
# numbers, and one with timestamps and a temperature, of which the highest is wanted as well.
#
#   bash benches/log_integration.sh [rows] [rounds]
#
# The logs (about 250 and 500 MB) are made in a temporary folder outside the repository and removed afterwards. The three
# take turns, and the median of five rounds counts for each; processor seconds and the load of the machine are printed
# too. Fails when this library is slower than the faster of the two, takes 64 MB or more, or when any two disagree by more
# than 1e-9.
set -euo pipefail
cd "$(dirname "$0")/.."
rows="${1:-10000000}"
rounds="${2:-5}"
python=.cache/tools/venv/bin/python
[ -x "$python" ] || { echo "$python is missing: run tests/run, which sets it up" >&2; exit 1; }
folder="$(mktemp -d)"
trap 'rm -rf "$folder"' EXIT

"$python" - "$folder" "$rows" <<'PY'
import sys
from datetime import datetime
import numpy as np
import polars as pl
folder, rows = sys.argv[1], int(sys.argv[2])
n = np.arange(rows)
generator = np.random.default_rng(1)
current = np.where(n < 100, 0.0, 30.0 + np.round(generator.normal(0, 0.05, rows), 3))
voltage = 26.6 - 4.0 * n / rows - 0.01 * current + np.round(generator.normal(0, 0.002, rows), 4)
values = {"Voltage (V)": np.round(voltage, 4), "Current (A)": np.round(current, 3)}
pl.DataFrame({"Time (s)": np.round(n * 0.1, 1)} | values).write_csv(f"{folder}/numbers.csv")
warm = np.round(24.0 + 12.0 * np.sqrt(n / rows) + generator.normal(0, 0.02, rows), 2)
stamps = pl.Series(n * 100).cast(pl.Duration("ms")) + datetime(2026, 9, 18, 12)
log = pl.DataFrame({"Timestamp": stamps} | values | {"T cell (degC)": warm})
log.write_csv(f"{folder}/stamps.csv", datetime_format="%Y-%m-%d %H:%M:%S%.3f")
PY
for log in numbers stamps; do
  ls -l "$folder/$log.csv" | awk '{printf "'"$log"': %d rows, %.0f MB\n", '"$rows"', $5 / 1e6}'
done

cat > "$folder/measure.py" <<'PY'
import resource, time

def measured(name, run, path):
    start, before = time.perf_counter(), time.process_time()
    charge, energy, rows, highest = run(path)
    seconds, busy = time.perf_counter() - start, time.process_time() - before
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{name + ':':9} {charge / 3600:.9f} Ah, {energy / 3600:.9f} Wh, {rows} samples, {seconds:.3f} s, peak {peak:.1f} MB, {busy:.2f} processor s, highest {highest or 0:.3f} degC")
PY
cat > "$folder/run_polars.py" <<'PY'
import sys
import polars as pl
from measure import measured

def run(path):
    dated = "stamps" in path
    names = ["t", "v", "i"] + ["c"] * dated
    log = pl.read_csv(path, new_columns=names, try_parse_dates=dated)
    step = pl.col("t") - pl.col("t").shift(1)
    if dated:
        step = step.dt.total_microseconds() / 1e6
    def trapezoid(of):
        return (step * (of + of.shift(1)) * 0.5).sum()
    highest = pl.col("c").max() if dated else pl.lit(0.0)
    return log.select(q=trapezoid(pl.col("i")), e=trapezoid(pl.col("i") * pl.col("v")), n=pl.len(), c=highest).row(0)

measured("polars", run, sys.argv[1])
PY
# A window without an order goes through the rows as they stand in the file, without sorting them.
cat > "$folder/run_duckdb.py" <<'PY'
import sys
import duckdb
from measure import measured

QUERY = """
select sum((t - t0) * (i + i0) * 0.5), sum((t - t0) * (i * v + i0 * v0) * 0.5), count(*), max(c)
from (
    select t, v, i, c, lag(t) over () as t0, lag(v) over () as v0, lag(i) over () as i0
    from (select {time} as t, v, i, {highest} as c from read_csv(?, header = true, names = {names}))
)
"""

def run(path):
    dated = "stamps" in path
    query = QUERY.format(
        time="epoch_us(t) / 1e6" if dated else "t",
        highest="c" if dated else "0",
        names="['t', 'v', 'i', 'c']" if dated else "['t', 'v', 'i']",
    )
    return duckdb.execute(query, [path]).fetchone()

measured("DuckDB", run, sys.argv[1])
PY

cargo bench -q -j 2 --bench log_integration --no-run 2>/dev/null
for _ in $(seq "$rounds"); do
  for log in numbers stamps; do
    echo "$log, load $(cut -d' ' -f1 /proc/loadavg)"
    cargo bench -q -j 2 --bench log_integration -- "$folder/$log.csv" | tee -a "$folder/$log-underlid"
    "$python" "$folder/run_polars.py" "$folder/$log.csv" | tee -a "$folder/$log-polars"
    "$python" "$folder/run_duckdb.py" "$folder/$log.csv" | tee -a "$folder/$log-duckdb"
  done
done

"$python" - "$folder" <<'PY'
import re, statistics, sys
wrong = []
for log in ("numbers", "stamps"):
    def read(name):
        with open(f"{sys.argv[1]}/{log}-{name}") as lines:
            return [[float(x) for x in re.findall(r"[\d.]+", line)] for line in lines if "samples" in line]
    runs = {name: read(name) for name in ("underlid", "polars", "duckdb")}
    median, busy = ({name: statistics.median(run[place] for run in rows) for name, rows in runs.items()} for place in (3, 5))
    peak = {name: max(run[4] for run in rows) for name, rows in runs.items()}
    ours = runs["underlid"][0]
    off = max(abs(ours[k] / runs[name][0][k] - 1) for name in ("polars", "duckdb") for k in (0, 1))
    for name in runs:
        part = median[name] / median["polars"]
        print(f"{log:8} {name:9} median {median[name]:.3f} s, {busy[name]:.2f} processor s, peak {peak[name]:.1f} MB, {part:.2f} of polars' time")
    print(f"{log:8} largest difference {off:.1e}")
    wrong += [f"{log}: slower"] * (median["underlid"] > min(median["polars"], median["duckdb"]))
    wrong += [f"{log}: 64 MB or more"] * (peak["underlid"] >= 64)
    wrong += [f"{log}: they disagree"] * (off >= 1e-9 or any(ours[6] != rows[0][6] for rows in runs.values()))
assert not wrong, wrong
PY
