#!/usr/bin/env bash
# Renders small scenes here and with Mitsuba 3, and compares them (compare.py says how).
#
#   tests/mitsuba/run.sh [--small|--full]
#
# Needs Python with mitsuba and numpy (both on PyPI): SWATCHLIGHT_PYTHON, or python3.
set -euo pipefail
cd "$(dirname "$0")/../.."

python=${SWATCHLIGHT_PYTHON:-python3}
size=${1:---small}
folder=$PWD/${CARGO_TARGET_DIR:-target}/side-by-side-pictures
[[ ${CARGO_TARGET_DIR:-} = /* ]] && folder=$CARGO_TARGET_DIR/side-by-side-pictures

"$python" -c 'import mitsuba, numpy' || {
    echo "no Mitsuba for $python: run '$python -m pip install mitsuba numpy', or set SWATCHLIGHT_PYTHON" >&2
    exit 2
}
rm -rf "$folder"
cargo bench --locked --bench side_by_side -- "$folder" "$size"
exec "$python" tests/mitsuba/compare.py "$folder" "$size"
