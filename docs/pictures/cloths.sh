#!/usr/bin/env bash
# Makes docs/pictures/cloth-NAME.jpg of the fabrics named, or of all: raking light on the left and soft in the middle, thread
# view above 10 cm, and on the figure at three-quarter on the right, sheers over a slip. SAMPLES and FIGURE_SAMPLES set how smooth. Needs ImageMagick.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=${SWATCHLIGHT:-target/release/swatchlight}
[ $# -gt 0 ] || set -- $(cd models/fabrics && ls *.toml | sed 's/\.toml$//')
made=$(mktemp -d)
trap 'rm -rf "$made" "${setup:-}"' EXIT
names=("$@")
for name in "${names[@]}"; do
    "$program" fabric "$name" --samples "${SAMPLES:-16}" --out "$made/page.png" --executor cpu --force --quiet >/dev/null
    # Where the page, 8 pixels to the millimetre, has its four pictures: wovens in a row, others two by two.
    side=70 spots="15 36 90 36 15 118 90 118"
    if grep -q '^\[woven\]' "models/fabrics/$name.toml"; then
        side=63 spots="15 36 83 36 151 36 219 36"
    fi
    n=0
    set -- $spots
    while [ $# -gt 0 ]; do
        n=$((n + 1))
        convert "$made/page.png" -crop "$((8 * side))x$((8 * side))+$((8 * $1))+$((8 * $2))" +repage -resize 230x230! "$made/$n.png"
        shift 2
    done
    setup=models/setups/.worn-$name
    worn="garment = \"shift\"\nfabric = \"$name\""
    if grep -q '^sheer = true' "models/fabrics/$name.toml"; then
        worn="garment = [\"slip-dress\", \"shift\"]\nfabric = [\"cotton-sateen\", \"$name\"]"
    fi
    sed "s/^garment = .*/$worn/; /^fabric = /d" models/setups/side-key-linen.toml >"$setup"
    "$program" still "$setup" --out "$made/worn.png" --size 345x460 --samples "${FIGURE_SAMPLES:-96}" --executor cpu --force --quiet >/dev/null
    rm "$setup"
    convert \( "$made/1.png" "$made/3.png" -append \) \( "$made/2.png" "$made/4.png" -append \) "$made/worn.png" +append \
        -quality 88 -strip "docs/pictures/cloth-$name.jpg"
done
