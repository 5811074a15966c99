#!/usr/bin/env bash
# Makes the pictures of docs/sheet.md, docs/sweeps.md and docs/shoot-list.md from the demo setups; SAMPLES sets how smooth.
# Needs poppler-utils and ImageMagick.
set -euo pipefail
cd "$(dirname "$0")/../.."
program=${SWATCHLIGHT:-target/release/swatchlight}
[ -x "$program" ] || cargo build --release --locked
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
setups=models/setups
samples=${SAMPLES:-32}
say() { "$program" "$@" --samples "$samples" --force --quiet >/dev/null; }
# Made smaller as pages are read on a screen, without what files say of who made them.
page() { convert "$1" -strip -colorspace sRGB -resize "$2" -quality 84 "docs/pictures/$3"; }

say sheet $setups/side-key-linen.toml --out "$work/sheet.pdf" --size 400x600 --date "4 May 2031"
pdftoppm -r 90 -l 2 -png "$work/sheet.pdf" "$work/leaf"
convert "$work"/leaf-*[12].png +append "$work/leaves.png"
page "$work/leaves.png" 1400x sheet.jpg

say sweep $setups/side-key-linen.toml --over "key.distance=1.1 m,1.3 m,1.6 m,1.9 m,2.2 m,2.5 m" --out "$work/sweep.png" --size 160x240
page "$work/sweep.png" 1200x sweep.jpg
say compare $setups/side-key-linen.toml $setups/overhead-beauty.toml --out "$work/compare.png" --size 240x360
page "$work/compare.png" 1200x compare.jpg

say batch models/lists/spring-day.toml --out "$work/day" --size 160x240 --no-cloth
page "$work/day/contact.png" 1400x contact-sheet.jpg
pdftoppm -r 80 -l 1 -png "$work/day/sheets.pdf" "$work/day-leaf"
convert "$work"/day-leaf-*1.png -strip -colors 32 docs/pictures/day-sheet.png
