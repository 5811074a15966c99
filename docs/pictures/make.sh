#!/usr/bin/env bash
# Makes the pictures of the README and docs/modifiers.md from the demo setups; NOISE (per cent) sets how smooth.
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
done
for name in paraboloid-120 octabox-140 dish-55-white fresnel-20; do
    target/release/swatchlight modifier "$name" --out "docs/pictures/modifier-$name.png" --force --quiet >/dev/null
done
