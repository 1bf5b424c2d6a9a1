#!/usr/bin/env bash
# Changes the files that decide, one small change at a time, and counts how many the tests of the centre catch.
#
#   tests/mutants.sh [SEED] [COUNT]      (today 1 and 300; 300 take hours on two cores)
#
# The sample is drawn with the seed from all mutants of these files, so the same seed draws the same ones while the files
# stay, and another seed draws a fresh sample. Needs cargo-mutants (crates.io; installed into target/tools). What it found
# lies in target/mutants.out: caught.txt, missed.txt (kill those that matter), timeout.txt, unviable.txt (don't compile).
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."

seed=${1:-1}
count=${2:-300}
tools=target/tools
out=target
floors=(claymark-model claymark-clay claymark-drum claymark-notice claymark-room)
# Drum, run-out, refill, failures, dosing, stock, units.
files=('daemon/drum/src/**/*.rs' 'daemon/clay/src/refill.rs' 'daemon/clay/src/refill/*.rs' 'daemon/clay/src/feed.rs'
       'daemon/clay/src/levers.rs' 'daemon/clay/src/sharing.rs' 'daemon/clay/src/balance.rs' 'daemon/clay/src/stock.rs'
       'daemon/clay/src/stock/*.rs' 'daemon/room/src/failures.rs' 'daemon/room/src/failures/*.rs' 'daemon/model/src/units.rs')

[ -x "$tools/bin/cargo-mutants" ] || cargo install cargo-mutants --locked --quiet --root "$tools"
export PATH="$PWD/$tools/bin:$PATH"

chosen=()
for file in "${files[@]}"; do chosen+=(--file "$file"); done
packages=()
for floor in "${floors[@]}"; do packages+=(--test-package "$floor"); done

sample=$(mktemp --suffix .toml)
trap 'rm -f "$sample"' EXIT
# cargo-mutants knows no sample: it is told the names. It obeys none about "delete field", so these are all made in the files
# that were drawn, and counted apart.
cargo mutants --list --workspace "${chosen[@]}" | python3 -c '
import json, random, re, sys
seed, count = sys.argv[1:]
names = sorted(name for name in set(sys.stdin.read().splitlines()) if ": delete field " not in name)
drawn = sorted(random.Random(int(seed)).sample(names, min(int(count), len(names))))
print(f"{len(drawn)} of {len(names)} mutants, seed {seed}", file=sys.stderr)
# Rust regular expressions take what Python escapes, but for a space and the quotes.
plain = [re.sub(r"\\([ \"#&~])", r"\1", re.escape(name)) for name in drawn]
print("examine_globs =", json.dumps(sorted({name.split(":")[0] for name in drawn})))
print("examine_re =", json.dumps([f"^{name}$" for name in plain], ensure_ascii=False))
' "$seed" "$count" >"$sample"

# It ends with 2 where mutants were missed: that is what is counted.
cargo mutants --config "$sample" --workspace "${packages[@]}" --output "$out" --no-shuffle -j1 --timeout 300 || [ $? -eq 2 ] || [ $? -eq 3 ]

python3 - "$out/mutants.out" <<'PYTHON'
import pathlib, sys
found = {kind: (pathlib.Path(sys.argv[1]) / f"{kind}.txt").read_text().splitlines()
         for kind in ("caught", "missed", "timeout", "unviable")}
print("\n".join(found["missed"]))
for what, apart in (("drawn", False), ("deleted fields besides", True)):
    count = lambda kind: sum((": delete field " in name) == apart for name in found[kind])
    caught = count("caught") + count("timeout")
    viable = caught + count("missed")
    print(f"{what}: {caught} of {viable} caught, {100 * caught / max(viable, 1):.1f} %; {count('unviable')} don't compile")
PYTHON
