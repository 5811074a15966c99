#!/usr/bin/env bash
# Makes the pictures of the window, on a virtual screen (Debian: xvfb xdotool imagemagick).
#   docs/pictures/window.sh [SECONDS to settle]
set -euo pipefail
cd "$(dirname "$0")/../.."
settle=${1:-90}
cargo build --release --locked
picture() { # NAME SIZE SETUP OPTIONS…
    local name=$1 size=$2 setup=$3
    shift 3
    Xvfb :91 -screen 0 "${size}x24" >/dev/null 2>&1 &
    local screen=$!
    sleep 1
    DISPLAY=:91 XDG_RUNTIME_DIR=/tmp target/release/swatchlight open "models/setups/$setup.toml" --size "$size" "$@" &
    local window=$!
    sleep "$settle"
    DISPLAY=:91 import -window root "docs/pictures/$name"
    kill $window
    wait $window || true
    kill $screen
    wait $screen || true
    echo "docs/pictures/$name"
}
picture window-paper.png 1280x800 side-key-linen
picture window-darkened.jpg 1920x1080 focused-key --darkened
picture window-twice.jpg 1920x1280 front-full-length --scale 2
