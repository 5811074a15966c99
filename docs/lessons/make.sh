#!/usr/bin/env bash
# Makes the lessons: fills their pages with the tool's numbers, and renders their pictures.
#   docs/lessons/make.sh [--samples N] [--pages | --pictures] [--program PATH]
# Both are made unless one is named. The program is built first, unless one is given.
set -euo pipefail
cd "$(dirname "$0")/../.."
samples=192 pages=yes pictures=yes program=
while [ $# -gt 0 ]; do
    case $1 in
        --samples) samples=$2; shift 2 ;;
        --pages) pictures=no; shift ;;
        --pictures) pages=no; shift ;;
        --program) program=$2; shift 2 ;;
        *) echo "docs/lessons/make.sh: unknown: $1" >&2; exit 2 ;;
    esac
done
if [ -z "$program" ]; then
    cargo build --release --locked
    program=target/release/swatchlight
fi
[ $pages = no ] || "$program" lessons docs/lessons
[ $pictures = no ] || {
    mkdir -p docs/lessons/pictures
    for setup in models/setups/lessons/*.toml; do
        name=$(basename "$setup" .toml)
        "$program" still "$setup" --out "docs/lessons/pictures/$name.jpg" --size 428x640 --samples "$samples" --force --quiet >/dev/null
        echo "docs/lessons/pictures/$name.jpg"
    done
}
