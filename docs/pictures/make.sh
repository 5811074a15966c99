#!/usr/bin/env bash
# Makes the pictures of the README from the demo setups; NOISE (per cent) sets how smooth.
set -euo pipefail
cd "$(dirname "$0")/../.."
cargo build --release --locked
for setup in models/setups/*.toml; do
    name=$(basename "$setup" .toml)
    case $name in
        raking-swatch) size=600x600 ;;
        overhead-beauty) size=480x600 ;;
        *) size=480x720 ;;
    esac
    target/release/swatchlight still "$setup" --out "docs/pictures/$name.png" --size "$size" --noise "${NOISE:-1.4}" --force
done
