#!/usr/bin/env bash
# Makes the pictures of the README, docs/modifiers.md and docs/fabrics.md (those end in .jpg once made smaller) from the demo setups; NOISE (per cent) sets how smooth. A still names the machine that made it, which no page's picture need (mogrify, of ImageMagick).
set -euo pipefail
cd "$(dirname "$0")/../.."
cargo build --release --locked
for setup in models/setups/*.toml; do
    name=$(basename "$setup" .toml)
    case $name in
        raking-swatch) size=600x600 ;;
        overhead-beauty | dish-beauty) size=480x600 ;;
        *) size=480x720 ;;
    esac
    target/release/swatchlight still "$setup" --out "docs/pictures/$name.png" --size "$size" --noise "${NOISE:-1.4}" --force
    mogrify -strip "docs/pictures/$name.png"
done
for name in paraboloid-120 octabox-140 dish-55-white fresnel-20; do
    target/release/swatchlight modifier "$name" --out "docs/pictures/modifier-$name.png" --force --quiet >/dev/null
done
for name in denim silk-satin linen-slub single-jersey velvet leather chiffon tartan; do
    target/release/swatchlight fabric "$name" --samples 64 --out "docs/pictures/fabric-$name.png" --force --quiet >/dev/null
done
target/release/swatchlight still models/setups/side-key-linen.toml --swatch chest --across "3 cm" --beside raking \
    --out docs/pictures/swatch-view.png --force --quiet >/dev/null
for name in denim silk-satin wool-suiting velvet single-jersey tartan chiffon sequins leather corduroy; do
    sed "s/^fabric = .*/fabric = \"$name\"/" models/setups/side-key-linen.toml >"models/setups/in-$name.toml"
    target/release/swatchlight still "models/setups/in-$name.toml" --out "docs/pictures/on-$name.png" --size 600x800 --samples 96 --force --quiet >/dev/null
    rm "models/setups/in-$name.toml"
done
for setup in docs/pictures/looks/*.toml; do
    name=$(basename "$setup" .toml)
    case $name in beauty-*) size=480x600 ;; *) size=400x600 ;; esac
    target/release/swatchlight still "$setup" --out "docs/pictures/look-$name.jpg" --size "$size" --noise "${NOISE:-1.4}" --force --quiet >/dev/null
    mogrify -strip "docs/pictures/look-$name.jpg"
done
