#!/usr/bin/env bash
# Every demo bundle against the RO-Crate and Frictionless validators, in an environment of their own: they pin old libraries.
#   tests/validators/run.sh [PYTHON]    a Python that has them; without it an environment is made
set -euo pipefail
cd "$(dirname "$0")/../.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
python=${1:-}
if [ -z "$python" ]; then
  python3.11 -m venv "$work/.venv"
  "$work/.venv/bin/pip" install --quiet -r tests/validators/requirements.txt
  python=$work/.venv/bin/python
fi
for bundle in build/preview/reports/*/bundle.zip; do
  folder=$work/$(basename "$(dirname "$bundle")")
  mkdir -p "$folder"
  python3.11 -m zipfile -e "$bundle" "$folder"
  "$python" tests/validators/validate.py "$folder"
done
