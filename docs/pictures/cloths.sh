#!/usr/bin/env bash
# Makes docs/pictures/cloth-NAME.jpg of the fabrics named, or of all: raking light on the left and soft in the middle, thread
# view above 10 cm, and on the figure at three-quarter on the right. SAMPLES and FIGURE_SAMPLES set how smooth. Needs ImageMagick.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=${SWATCHLIGHT:-target/release/swatchlight}
[ $# -gt 0 ] || set -- $(cd models/fabrics && ls *.toml | sed 's/\.toml$//')
made=$(mktemp -d)
trap 'rm -rf "$made" models/setups/.worn-*.toml' EXIT
for name in "$@"; do
    "$program" fabric "$name" --samples "${SAMPLES:-16}" --out "$made/page.png" --executor cpu --force --quiet >/dev/null
    # Where the page has its four pictures, in thousandths of its width and height.
    read -r w h < <(identify -format '%w %h\n' "$made/page.png")
    n=0
    for y in 172 563; do
        for x in 51 304; do
            n=$((n + 1))
            convert "$made/page.png" -crop "$((w * 234 / 1000))x$((h * 331 / 1000))+$((w * x / 1000))+$((h * y / 1000))" \
                +repage -resize 230x230! "$made/$n.png"
        done
    done
    setup=models/setups/.worn-$name.toml
    sed "s/^fabric = .*/fabric = \"$name\"/" models/setups/side-key-linen.toml >"$setup"
    "$program" still "$setup" --out "$made/worn.png" --size 345x460 --samples "${FIGURE_SAMPLES:-96}" --executor cpu --force --quiet >/dev/null
    rm "$setup"
    convert \( "$made/1.png" "$made/3.png" -append \) \( "$made/2.png" "$made/4.png" -append \) "$made/worn.png" +append \
        -quality 88 -strip "docs/pictures/cloth-$name.jpg"
done
