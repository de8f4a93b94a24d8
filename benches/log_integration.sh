#!/usr/bin/env bash
# Reads and integrates one log of ten million rows with this library and with polars, in one run.
#
#   bash benches/log_integration.sh [rows]
#
# The log (about 250 MB) is made in a temporary folder outside the repository and removed afterwards. Each side runs
# three times and the best counts, because the first run of either also warms the file cache. Fails when this
# library is slower, takes 64 MB or more, or when the two disagree by more than 1e-9.
set -euo pipefail
cd "$(dirname "$0")/.."
rows="${1:-10000000}"
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

cargo bench -q -j 2 --bench log_integration --no-run 2>/dev/null
for _ in 1 2 3; do
  cargo bench -q -j 2 --bench log_integration -- "$log" | tee -a "$folder/ours"
  "$python" - "$log" <<'PY' | tee -a "$folder/theirs"
import resource, sys, time
import polars as pl
start = time.perf_counter()
names = ["t", "v", "i"]
log = pl.read_csv(sys.argv[1], new_columns=names)
step = (pl.col("t") - pl.col("t").shift(1))
def trapezoid(of):
    return (step * (of + of.shift(1)) * 0.5).sum()
charge, energy = log.select(q=trapezoid(pl.col("i")), e=trapezoid(pl.col("i") * pl.col("v"))).row(0)
seconds = time.perf_counter() - start
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(f"polars:   {charge / 3600:.9f} Ah, {energy / 3600:.9f} Wh, {log.height} samples, {seconds:.3f} s, peak {peak:.1f} MB")
PY
done

"$python" - "$folder/ours" "$folder/theirs" <<'PY'
import re, sys
def read(path):
    rows = [re.findall(r"[\d.]+", line) for line in open(path) if "samples" in line]
    return [[float(x) for x in row] for row in rows]
ours, theirs = read(sys.argv[1]), read(sys.argv[2])
best, other = min(r[3] for r in ours), min(r[3] for r in theirs)
peak = max(r[4] for r in ours)
off = max(abs(ours[0][k] / theirs[0][k] - 1) for k in (0, 1))
print(f"best of three: underlid {best:.3f} s, polars {other:.3f} s; peak {peak:.1f} MB; largest difference {off:.1e}")
assert best <= other, "slower than polars"
assert peak < 64, "64 MB or more"
assert off < 1e-9, "the two disagree"
PY
