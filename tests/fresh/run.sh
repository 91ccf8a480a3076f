#!/usr/bin/env bash
# A reader with nothing but Python: an environment out of a bundle's lock and wheel, then every demo bundle run both ways.
#   tests/fresh/run.sh BENCHPROOF [FOLDER]    the command that builds the demo bundles; where to keep what is made
set -euo pipefail
cd "$(dirname "$0")/../.."
benchproof=$1
work=${2:-$(mktemp -d)}
[ $# -gt 1 ] || trap 'rm -rf "$work"' EXIT

"$benchproof" --workspace "$PWD" build
for bundle in build/preview/reports/*/bundle.zip; do
  name=$(basename "$(dirname "$bundle")")
  mkdir -p "$work/$name"
  python3.11 -m zipfile -e "$bundle" "$work/$name"
  (cd "$work/$name" && sha256sum -c --strict --quiet SHA256SUMS)
done

unset PYTHONPATH # from here on, the reader has nothing of ours but what came in a bundle
first=$(find "$work" -mindepth 1 -maxdepth 1 -name '2*' | sort | head -1)
python3.11 -m venv "$work/.venv"
bin=$work/.venv/bin
# In two steps, as the README in the bundle has it.
"$bin/pip" install --quiet --require-hashes -r "$first/requirements.lock"
"$bin/pip" install --quiet --no-deps "$first"/benchproof-*.whl
"$bin/pip" check

both_ways() {
  set -euo pipefail
  name=$(basename "$(dirname "$1")")
  kind=$(sed -n 's/^kind: *\([a-z]*\).*/\1/p' "$work/$name/runs/$name/campaign.yaml")
  (cd "$work/$name" && "$bin/papermill" --no-progress-bar --log-level ERROR "$kind.ipynb" out.ipynb -f "runs/$name/campaign.yaml" 2>/dev/null)
  "$bin/python" tests/fresh/compare.py "$work/$name" "$name"
  "$bin/benchproof" verify "$1"
}
export -f both_ways
export work bin
printf '%s\0' build/preview/reports/*/bundle.zip | xargs -0 -n 1 -P 2 bash -c 'both_ways "$0"'

# The installed copy packs itself to the wheel it came from.
"$bin/python" - "$first" <<'PY'
import pathlib, sys
from benchproof.report.wheel import own_wheel
packed = next(pathlib.Path(sys.argv[1]).glob("benchproof-*.whl"))
assert own_wheel().data == packed.read_bytes(), "the installed copy packs to another wheel"
print("same wheel, byte for byte")
PY
