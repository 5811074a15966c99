#!/usr/bin/env bash
# Makes the pictures of the README from the demo setups.
set -euo pipefail
cd "$(dirname "$0")/../.."
cargo build --release --locked
for setup in models/setups/*.toml; do
    name=$(basename "$setup" .toml)
    target/release/swatchlight still "$setup" --out "docs/pictures/$name.png" --size "${SIZE:-480x720}" --noise "${NOISE:-1.2}" --force
done
