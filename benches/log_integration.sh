#!/usr/bin/env bash
# Reads and integrates one log of ten million rows with this library, with polars and with DuckDB, in one run.
#
#   bash benches/log_integration.sh [rows] [rounds]
#
# The log (about 250 MB) is made in a temporary folder outside the repository and removed afterwards. The three take
# turns and the best of five rounds counts for each, because the first also warms the file cache and other work on the
# machine disturbs any of them. Processor seconds are printed too: they suffer less from such work. Fails when this
# library is slower than the faster of the two, takes 64 MB or more, or when any two disagree by more than 1e-9.
set -euo pipefail
cd "$(dirname "$0")/.."
rows="${1:-10000000}"
rounds="${2:-5}"
python=.cache/tools/venv/bin/python
[ -x "$python" ] || { echo "$python is missing: run tests/run, which sets it up" >&2; exit 1; }
folder="$(mktemp -d)"
trap 'rm -rf "$folder"' EXIT
log="$folder/log.csv"

"$python" - "$log" "$rows" <<'PY'
import sys
import numpy as np
import polars as pl
path, rows = sys.argv[1], int(sys.argv[2])
n = np.arange(rows)
generator = np.random.default_rng(1)
current = np.where(n < 100, 0.0, 30.0 + np.round(generator.normal(0, 0.05, rows), 3))
voltage = 26.6 - 4.0 * n / rows - 0.01 * current + np.round(generator.normal(0, 0.002, rows), 4)
pl.DataFrame(
    {"Time (s)": np.round(n * 0.1, 1), "Voltage (V)": np.round(voltage, 4), "Current (A)": np.round(current, 3)}
).write_csv(path)
PY
ls -l "$log" | awk '{printf "log: %d rows, %.0f MB\n", '"$rows"', $5 / 1e6}'

cat > "$folder/measure.py" <<'PY'
import resource, time

def measured(name, run, path):
    start, before = time.perf_counter(), time.process_time()
    charge, energy, rows = run(path)
    seconds, busy = time.perf_counter() - start, time.process_time() - before
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{name + ':':9} {charge / 3600:.9f} Ah, {energy / 3600:.9f} Wh, {rows} samples, {seconds:.3f} s, peak {peak:.1f} MB, {busy:.2f} processor s")
PY
cat > "$folder/run_polars.py" <<'PY'
import sys
import polars as pl
from measure import measured

def run(path):
    log = pl.read_csv(path, new_columns=["t", "v", "i"])
    step = pl.col("t") - pl.col("t").shift(1)
    def trapezoid(of):
        return (step * (of + of.shift(1)) * 0.5).sum()
    return log.select(q=trapezoid(pl.col("i")), e=trapezoid(pl.col("i") * pl.col("v")), n=pl.len()).row(0)

measured("polars", run, sys.argv[1])
PY
# A window without an order goes through the rows as they stand in the file, without sorting them.
cat > "$folder/run_duckdb.py" <<'PY'
import sys
import duckdb
from measure import measured

QUERY = """
select sum((t - t0) * (i + i0) * 0.5), sum((t - t0) * (i * v + i0 * v0) * 0.5), count(*)
from (
    select t, v, i, lag(t) over () as t0, lag(v) over () as v0, lag(i) over () as i0
    from read_csv(?, header = true, names = ['t', 'v', 'i'])
)
"""

def run(path):
    return duckdb.execute(QUERY, [path]).fetchone()

measured("DuckDB", run, sys.argv[1])
PY

cargo bench -q -j 2 --bench log_integration --no-run 2>/dev/null
for _ in $(seq "$rounds"); do
  cargo bench -q -j 2 --bench log_integration -- "$log" | tee -a "$folder/underlid"
  "$python" "$folder/run_polars.py" "$log" | tee -a "$folder/polars"
  "$python" "$folder/run_duckdb.py" "$log" | tee -a "$folder/duckdb"
done

"$python" - "$folder" <<'PY'
import re, sys
def read(name):
    with open(f"{sys.argv[1]}/{name}") as lines:
        return [[float(x) for x in re.findall(r"[\d.]+", line)] for line in lines if "samples" in line]
runs = {name: read(name) for name in ("underlid", "polars", "duckdb")}
best, busy = ({name: min(run[place] for run in rows) for name, rows in runs.items()} for place in (3, 5))
peak = {name: max(run[4] for run in rows) for name, rows in runs.items()}
ours = runs["underlid"][0]
off = max(abs(ours[k] / runs[name][0][k] - 1) for name in ("polars", "duckdb") for k in (0, 1))
for name in runs:
    part = best[name] / best["polars"]
    print(f"{name:9} best {best[name]:.3f} s, {busy[name]:.2f} processor s, peak {peak[name]:.1f} MB, {part:.2f} of polars' time")
print(f"largest difference {off:.1e}")
assert best["underlid"] <= min(best["polars"], best["duckdb"]), "slower"
assert peak["underlid"] < 64, "64 MB or more"
assert off < 1e-9, "they disagree"
PY
