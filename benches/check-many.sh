#!/usr/bin/env bash
# Checks 1 000 generated inspections (both examples with changed numbers) with the full book in one call and prints the
# wall time; then one example alone, and hashing against sha256sum. Everything is made in a temporary folder.
set -euo pipefail
cd "$(dirname "$0")/.."
cargo build --release --locked --quiet
bin=$PWD/target/release/underlid
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
for i in $(seq 1 500); do
  for r in a b; do
    mkdir -p "$work/all/$r-$i"
    sed -e "s/25.02 x 3.01 mm/$((10 + i % 30)).02 x 3.01 mm/" -e "s/20.04 x 1.52 mm/$((10 + i % 30)).04 x 1.52 mm/" \
        -e "s/continuous_current = \"[0-9]* A\"/continuous_current = \"$((50 + i)) A\"/" \
        "example-inspections/harbour-24-150-rev-$r/inspection.toml" > "$work/all/$r-$i/inspection.toml"
  done
done
now() { date +%s%N; }
"$bin" check --brief --all-below "$work/all" > "$work/out" || true
start=$(now)
"$bin" check --brief --all-below "$work/all" > "$work/out" || true
end=$(now)
echo "check of $(wc -l < "$work/out") inspections: $(( (end - start) / 1000000 )) ms on $(nproc) cores"
best=999999
for _ in 1 2 3 4 5 6 7 8 9 10; do
  start=$(now); "$bin" check example-inspections/harbour-24-150-rev-b > /dev/null || true; end=$(now)
  t=$(( (end - start) / 1000 )); [ "$t" -lt "$best" ] && best=$t
done
echo "check of one example: $best µs (best of ten)"
mkdir -p "$work/seal/photos"
cp example-inspections/harbour-24-150-rev-b/inspection.toml "$work/seal/"
head -c 1073741824 /dev/urandom > "$work/seal/photos/big.bin"
( cd "$work/seal" && sha256sum photos/big.bin inspection.toml > /dev/null )
start=$(now); ( cd "$work/seal" && sha256sum photos/big.bin inspection.toml > /dev/null ); middle=$(now)
"$bin" seal "$work/seal" > /dev/null; end=$(now)
echo "hashing 1 GiB: sha256sum $(( (middle - start) / 1000000 )) ms, underlid seal $(( (end - middle) / 1000000 )) ms"
