#!/usr/bin/env bash
# Builds collections of 100, 1 000 and 10 000 generated inspections with their logs, prints time and peak memory, then
# changes one record and builds again.
#
#   bash benches/collection.sh [--small] [NUMBER ...]
#
# Fails when cost grows faster than the number of inspections from the least to the largest (tolerance per inspection: 1.15
# in processor time and in wall time; memory below 250 MB), when the build after one change takes 2 % or more of the full
# time of 10 000 or more, or when it differs from a build from nothing in one byte. Everything is made in a temporary folder (5 GB at 10 000)
# and removed.
set -euo pipefail
cd "$(dirname "$0")/.."
numbers=("$@")
[ "${numbers[0]:-}" = --small ] && numbers=(100 1000)
[ "${#numbers[@]}" -gt 0 ] || numbers=(100 1000 10000)
bin=${UNDERLID:-$PWD/target/shipping/underlid}
[ -n "${UNDERLID:-}" ] || bash .ci/ship
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# measured NAME COMMAND...: wall seconds, processor seconds and peak memory in MB into $work/NAME; 1 is not a failure.
measured() {
    python3 - "$work/$1" "${@:2}" <<'PY'
import resource, subprocess, sys, time
start = time.perf_counter()
code = subprocess.run(sys.argv[2:], stdout=subprocess.DEVNULL).returncode
wall = time.perf_counter() - start
use = resource.getrusage(resource.RUSAGE_CHILDREN)
open(sys.argv[1], "w").write(f"{wall:.3f} {use.ru_utime + use.ru_stime:.3f} {use.ru_maxrss / 1024:.1f}\n")
sys.exit(0 if code in (0, 1) else code)
PY
}

printf '%10s %12s %10s %10s %10s %14s\n' packs build 'wall s' 'cpu s' 'peak MB' 'site MB'
for n in "${numbers[@]}"; do
    python3 tests/reference/collection_generate.py "$work/packs-$n" "$n" --logs
    # What the generator wrote must not reach the disk while the build is timed; and times of files younger than two
    # seconds are not trusted: a collection is older than that.
    sync
    sleep 3
    measured "full-$n" "$bin" collection "$work/packs-$n" --to "$work/site-$n"
    printf '%10s %12s %10s %10s %10s %14s\n' "$n" full $(cat "$work/full-$n") "$(du -sm "$work/site-$n" | cut -f1)"
done

# What was built then lies on the disk as well.
sync
n=${numbers[-1]}
one=$(find "$work/packs-$n" -name inspection.toml | sort | sed -n "$((n / 2))p")
sed -i 's/^condition = .*/condition = "changed"/; s/^maker = .*/maker = "Changed Works"/' "$one"
measured "again-$n" "$bin" collection "$work/packs-$n" --to "$work/site-$n"
printf '%10s %12s %10s %10s %10s\n' "$n" 'one change' $(cat "$work/again-$n")
measured "fresh-$n" "$bin" collection "$work/packs-$n" --to "$work/fresh"
diff -r --exclude=.underlid-collection-cache "$work/site-$n" "$work/fresh" >/dev/null ||
    { echo "the build after a change differs from one from nothing" >&2; exit 1; }
echo "the build after one change equals a build from nothing, byte for byte"

python3 - "$work" "${numbers[@]}" <<'PY'
import sys
work, numbers = sys.argv[1], [int(n) for n in sys.argv[2:]]
def read(name):
    return [float(x) for x in open(f"{work}/{name}").read().split()]
few, many = numbers[0], numbers[-1]
full_few, full_many, again = read(f"full-{few}"), read(f"full-{many}"), read(f"again-{many}")
wall, cpu = ((full_many[k] / many) / (full_few[k] / few) for k in (0, 1))
share = again[0] / full_many[0]
print(f"per inspection at {many} over that at {few}: wall {wall:.2f}, cpu {cpu:.2f}; after one change: {100 * share:.2f} % of the full time")
assert cpu < 1.15 and wall < 1.15, "cost grows faster than the number of inspections"
assert max(full_many[2], again[2]) < 250, "250 MB or more"
assert many < 10000 or share < 0.02, "the build after one change takes 2 % or more"
PY
