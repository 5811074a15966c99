"""Mitsuba's side of one race of the speed bench (tests/bench/speed.rs).

    speed.py FOLDER

FOLDER holds `race.json` and our pictures, `ours` and `full`. Prints one line of JSON: processor seconds that each takes
for a standard error of 2 % at the median pixel of the full-sized picture. Errors are true ones, from
independent pictures, pooled over 4 x 4 pixels; they are taken to fall as one over the root of the samples.
"""

import json
import sys
import time
from pathlib import Path

import numpy as np

import mitsuba as mi

sys.dont_write_bytecode = True
from compare import choose_variant, load, scene_of

WANTED = 0.02
LUMINANCE = [0.2126, 0.7152, 0.0722]


def main():
    folder = Path(sys.argv[1])
    race = json.loads((folder / "race.json").read_text())
    variant = choose_variant(quick=False)
    parts = scene_of(folder, race["scene"], race["samples"])
    # Their own defaults and their better sampler.
    parts["integrator"] = {"type": "path", "max_depth": -1}
    parts["sensor"]["sampler"] = {"type": "multijitter", "sample_count": race["samples"]}
    built = mi.load_dict(parts)
    picture(built, race, 0)  # compiles
    start = time.process_time()
    pictures = np.array([picture(built, race, seed + 1) for seed in range(race["seeds"])])
    theirs_s = (time.process_time() - start) / race["seeds"]
    theirs = relative_error(pictures.mean(axis=0), pictures.var(axis=0, ddof=1))
    mean = float((pictures.mean(axis=0) @ LUMINANCE).mean())

    def of(name):
        loaded = load(folder, {"name": name, "pixels": race["pixels"], "seeds": race["seeds"]})
        # The files hold the variance of the mean over pictures.
        return relative_error(loaded["mean"], loaded["variance"] * race["seeds"]), loaded["mean"]

    ours, _ = of("ours")
    full, full_mean = of("full")

    def seconds(one_s, error):
        return race["pixels_ratio"] * one_s * (error / WANTED) ** 2

    print(
        json.dumps(
            {
                "variant": f"{mi.__version__}, {variant}",
                "ours_s": race["bounce_s"] + seconds(race["ours_s"], ours),
                "in_full_s": seconds(race["full_s"], full),
                "mitsuba_s": seconds(theirs_s, theirs),
                "mean_ratio": float((full_mean @ LUMINANCE).mean()) / mean,
            }
        )
    )


def picture(built, race, seed):
    return np.array(mi.render(built, seed=seed, spp=race["samples"]), dtype=np.float64)[:, :, :3]


def relative_error(mean, variance):
    """Of one picture's luminance, at the median pixel."""
    # Channels vary together: standard deviations add.
    deviation = np.sqrt(variance) @ LUMINANCE
    light = mean @ LUMINANCE
    height, width = light.shape
    fold = lambda v: v[: height // 4 * 4, : width // 4 * 4].reshape(height // 4, 4, width // 4, 4).mean(axis=(1, 3))
    lit = fold(light) > 0.0
    return float(np.median(np.sqrt(fold(deviation**2))[lit] / fold(light)[lit]))


if __name__ == "__main__":
    main()
