"""Judges our pictures (`cargo bench --bench side_by_side`) against Mitsuba 3's of the same scenes.

    compare.py FOLDER [--small|--full]

Every picture is the mean of independent ones (own seeds), on both sides, so that each pixel has a mean
and the variance of that mean. Of the differences z = (a - b) / sqrt(var a + var b), where nothing but
noise may differ:
  - the greatest |z| of the picture must be one that chance gives more often than once in a thousand
    pictures (Sidak's correction for the number of pixels);
  - their mean must be 0 and their standard deviation 1, as far as the number of pixels can tell;
and, so that a bias cannot hide under noise, the whole picture and its blocks of 8 x 8 pixels must agree
in the mean to the stated share. The method is that of Mitsuba's own test_renders.py.

Pictures marked `different` have one parameter wrong by 2 %: they must be told apart, or the test is worth
nothing. Pictures marked `near` differ by more than noise, and are held to block means alone:
  - `room-cached` takes light from cells found beforehand (src/render/bounce.rs); it is also held to our own
    picture in full paths;
  - `coat`: the light that crosses a rough interface several times is lost in Mitsuba's roughplastic and kept
    in ours, so that a white base stays white. Its reflectance is set here so that both look the same seen
    squarely; what remains is the loss toward grazing: for alpha = 0.03, 0.02 % a crossing at 45 degrees and
    0.5 % at 75 (both formulae worked out in numbers). The lobe itself is tested without a base, by `gloss`:
    there our Smith term is height-correlated and Mitsuba's is not, a share of L(o) L(i) / (1 + L(o) + L(i)):
    for alpha = 0.15, 0.04 % where both angles are 63 degrees, and in that picture nothing is seen at more.

Exit code 1 when one picture is not as expected; `FOLDER/failed` then holds picture, reference and error.
"""

import argparse
import json
import math
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

import mitsuba as mi

# A picture fails by chance once in this many runs, at the most, for each test.
ONE_IN = 1000.0
# Differences of this share of a pixel's light are those of f32 arithmetic, not of light.
ROUNDING = 2e-5
SAME = {"whole": 0.003, "blocks": 0.003}
NEAR = {"whole": 0.005, "blocks": 0.01}
BLOCK = 8
# Standard error of the median block, at the most.
MOST_NOISE = 0.004
# The spread of a pixel is itself estimated, from two dozen pictures of skewed samples.
SPREAD_OF_SPREAD = 0.03


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("--small", action="store_true", help="quick, the default")
    parser.add_argument("--full", action="store_true")
    args = parser.parse_args()
    variant = choose_variant(not args.full)
    print(f"Mitsuba {mi.__version__}, {variant}")
    described = json.loads((args.folder / "scenes.json").read_text())
    seeds, samples = (32, 256) if args.full else (24, 48)
    references = {}
    for scene in described["scenes"]:
        start = time.time()
        name = scene["name"]
        references[name] = render(args.folder, scene["scene"], seeds, samples)
        print(f"{name}: {time.time() - start:.1f} s", flush=True)
    verdicts = []
    for picture in described["pictures"]:
        verdicts.append(judge(args.folder, picture, references[picture["reference"]]))
    table(verdicts)
    wrong = [v["name"] for v in verdicts if not v["as_expected"]]
    if wrong:
        print(f"not as expected: {', '.join(wrong)}; see {args.folder / 'failed'}")
        return 1
    return 0


def choose_variant(quick):
    """The vectorised variant where it pays and there is an LLVM that can (older ones abort the process,
    so another one tries first), else the plain one: same light."""
    trial = "import mitsuba as mi; mi.set_variant('llvm_ad_rgb'); mi.render(mi.load_dict(mi.cornell_box()), spp=1).numpy()"
    vectorised = not quick and subprocess.run([sys.executable, "-c", trial], capture_output=True).returncode == 0
    mi.set_variant("llvm_ad_rgb" if vectorised else "scalar_rgb")
    return mi.variant()


# --- Their side ------------------------------------------------------------------------------------


def render(folder, scene, seeds, samples):
    """Mean picture and variance of the mean, from independent seeds."""
    built = mi.load_dict(scene_of(folder, scene, samples))
    mean, squares = 0.0, 0.0
    for count in range(1, seeds + 1):
        picture = np.array(mi.render(built, seed=count, spp=samples), dtype=np.float64)[:, :, :3]
        off = picture - mean
        mean = mean + off / count
        squares = squares + off * (picture - mean)
    return {"mean": mean, "variance": squares / (seeds - 1) / seeds, "seeds": seeds}


def scene_of(folder, scene, samples):
    parts = {
        "type": "scene",
        # Roulette leaves the mean as it is; a later start only saves noise.
        "integrator": {"type": "path", "max_depth": -1, "rr_depth": 12},
        "sensor": sensor_of(scene["camera"], samples),
    }
    for i, emitter in enumerate(scene["emitters"]):
        parts[f"emitter{i}"] = emitter_of(emitter)
    for i, each in enumerate(scene["objects"]):
        parts[f"object{i}"] = {
            "type": "ply",
            "filename": str(folder / each["file"]),
            "bsdf": surface_of(folder, each["surface"]),
        }
    return parts


def sensor_of(camera, samples):
    centre = np.array(camera["centre_m"])
    lens = {
        "type": "perspective",
        "fov": math.degrees(2.0 * math.atan(0.5 * camera["width_over_distance"])),
        "fov_axis": "x",
        "near_clip": 0.01,
        "far_clip": 1000.0,
        "to_world": mi.ScalarTransform4f().look_at(
            origin=centre.tolist(),
            target=(centre + np.array(camera["forward"])).tolist(),
            up=camera["up"],
        ),
        "film": {
            "type": "hdrfilm",
            "width": camera["pixels"][0],
            "height": camera["pixels"][1],
            "rfilter": {"type": "box"},
            "pixel_format": "rgb",
            "component_format": "float32",
        },
        "sampler": {"type": "independent", "sample_count": samples},
    }
    across, up = camera["shift_over_size"]
    if across or up:
        lens["principal_point_offset_x"] = across
        lens["principal_point_offset_y"] = -up
    if camera["lens_radius_m"] > 0.0:
        lens["type"] = "thinlens"
        lens["aperture_radius"] = camera["lens_radius_m"]
        lens["focus_distance"] = camera["focus_distance_m"]
    return lens


def emitter_of(emitter):
    """Faces are black to light that arrives, as ours are."""
    half_x, half_y = emitter["half_m"]
    place = np.eye(4)
    place[:3, 0] = np.array(emitter["x"]) * half_x
    place[:3, 1] = np.array(emitter["y"]) * half_y
    place[:3, 2] = np.array(emitter["z"]) * (half_x if emitter["shape"] == "sphere" else 1.0)
    place[:3, 3] = emitter["centre_m"]
    if emitter["shape"] == "cylinder":
        # Theirs runs from 0 to 1 along z, ours from -1 to 1 along x.
        along, radius = np.array(emitter["x"]) * half_x, half_y
        place[:3, 0], place[:3, 1] = np.array(emitter["y"]) * radius, np.array(emitter["z"]) * radius
        place[:3, 2] = 2.0 * along
        place[:3, 3] -= along
    return {
        "type": emitter["shape"],
        "to_world": mi.ScalarTransform4f(place),
        "bsdf": {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}},
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": emitter["radiance"]}},
    }


def surface_of(folder, surface):
    colour = {"type": "rgb", "value": surface["base"]}
    if "coat" in surface:
        bsdf = {
            "type": "roughplastic",
            "distribution": "ggx",
            "alpha": surface["coat"]["alpha"],
            "int_ior": surface["coat"]["eta"],
            "ext_ior": 1.0,
            "nonlinear": True,
            "diffuse_reflectance": {"type": "rgb", "value": base_under_coat(surface)},
        }
    else:
        bsdf = {"type": "diffuse", "reflectance": colour}
    if "normals" in surface:
        bsdf = relief_of(folder, surface["normals"], bsdf)
    return {"type": "twosided", "bsdf": bsdf}


def base_under_coat(surface):
    """The reflectance that gives their base, after the light between base and coat, what ours has."""
    coat = surface["coat"]

    def seen(reflectance):
        bsdf = mi.load_dict(
            {
                "type": "roughplastic",
                "distribution": "ggx",
                "alpha": coat["alpha"],
                "int_ior": coat["eta"],
                "ext_ior": 1.0,
                "nonlinear": True,
                "specular_reflectance": {"type": "rgb", "value": 0.0},
                "diffuse_reflectance": {"type": "rgb", "value": reflectance},
            }
        )
        si = mi.SurfaceInteraction3f()
        si.wi = mi.Vector3f(0, 0, 1)
        return float(np.array(bsdf.eval(mi.BSDFContext(), si, mi.Vector3f(0, 0, 1))).flat[0])

    # seen(r) is in proportion to r / (1 - r feedback).
    low, high = 0.2, 0.8
    share = seen(low) / seen(high) * high / low
    feedback = (1.0 - share) / (high - share * low)
    wanted = [r / (1.0 - r * coat["feedback"]) for r in surface["base"]]
    return [w / (1.0 + w * feedback) for w in wanted]


def relief_of(folder, normals, bsdf):
    """Rows from v = 0 up and texels read at their middles, as with us."""
    values = np.fromfile(folder / normals["file"], dtype="<f4")
    values = values.reshape(normals["height"], normals["width"], 3)
    return {
        "type": "normalmap",
        "normalmap": {
            "type": "bitmap",
            "bitmap": mi.Bitmap(np.ascontiguousarray(0.5 * values + 0.5, dtype=np.float32)),
            "raw": True,
            "filter_type": "bilinear",
            "wrap_mode": "repeat",
        },
        # We have neither of these.
        "flip_invalid_normals": False,
        "use_shadowing_function": False,
        "bsdf": bsdf,
    }


# --- The tests -------------------------------------------------------------------------------------


def judge(folder, picture, reference):
    ours = load(folder, picture)
    near = picture["expect"] == "near"
    tests = block_tests(ours, reference, NEAR if near else SAME)
    if "exact" in picture:
        exact = load(folder, {**picture, "name": picture["exact"]})
        same = block_tests(ours, exact, NEAR)
        tests["against exact"] = (same["blocks"][0], same["blocks"][1] and same["whole"][1])
    if not near:
        tests.update(z_tests(ours, reference))
    passed = all(good for _, good in tests.values())
    as_expected = passed != (picture["expect"] == "different")
    if not as_expected:
        leave_pictures(folder / "failed", picture["name"], ours, reference)
    return {
        "name": picture["name"],
        "expect": picture["expect"],
        "tests": tests,
        "as_expected": as_expected,
    }


def load(folder, picture):
    width, height = picture["pixels"]

    def read(what):
        values = np.fromfile(folder / f"{picture['name']}.{what}.f32", dtype="<f4")
        return values.reshape(height, width, 3).astype(np.float64)

    return {"mean": read("mean"), "variance": read("variance"), "seeds": picture["seeds"]}


def z_tests(ours, theirs):
    """Each test's figure, and whether it passes."""
    z, count = z_scores(ours, theirs)
    # A pixel's channels share their paths: means have as many independent values as there are pixels.
    greatest = np.abs(z).max()
    chance = 1.0 - (1.0 - two_sided(greatest)) ** z.size
    allowed = quantile_of(ONE_IN) / math.sqrt(count)
    off_centre = float(np.abs(z.mean(axis=0)).max())
    spread = float(np.abs(z.std(axis=0) - 1.0).max())
    return {
        "max |z|": (greatest, chance > 1.0 / ONE_IN),
        "mean z": (off_centre, off_centre <= allowed),
        "|sd z - 1|": (spread, spread <= allowed / math.sqrt(2.0) + SPREAD_OF_SPREAD),
    }


def z_scores(ours, theirs):
    """Differences as standard normal deviates, `(pixel, channel)`, where there is light on either side."""
    va, vb = ours["variance"], theirs["variance"]
    scale = np.maximum(np.abs(ours["mean"]), np.abs(theirs["mean"]))
    rounding = (ROUNDING * scale) ** 2
    variance = va + vb + rounding
    lit = (scale > 0.0).any(axis=2)
    t = ((ours["mean"] - theirs["mean"]) / np.sqrt(np.maximum(variance, 1e-300)))[lit]
    # Welch 1947: degrees of freedom where two variances are estimated.
    dof = (variance**2 / np.maximum(va**2 / (ours["seeds"] - 1) + vb**2 / (theirs["seeds"] - 1), 1e-300))[lit]
    # Student's t to a normal deviate: Wallace 1959, eq. 4.1.
    z = np.sign(t) * (8.0 * dof + 1.0) / (8.0 * dof + 3.0) * np.sqrt(dof * np.log1p(t * t / dof))
    return z, int(lit.sum())


def block_tests(ours, theirs, allowed):
    """Means over the whole picture and over its blocks, as shares of the light there (a tenth of the
    picture's mean at the least), beyond four standard errors of noise; and whether noise is low enough for
    that to mean something."""
    a, b = ours["mean"], theirs["mean"]
    variance = ours["variance"] + theirs["variance"]
    whole = abs(a.mean() / b.mean() - 1.0)
    # The three channels of a pixel share their paths.
    whole_noise = math.sqrt(variance.mean() / variance[:, :, 0].size) / b.mean()
    light = np.maximum(blocks_of(b), 0.1 * b.mean())
    off = np.abs(blocks_of(a) - blocks_of(b)) / light
    noise = np.sqrt(blocks_of(variance)) / BLOCK / light
    typical = float(np.median(noise))
    return {
        "whole": (whole, whole <= allowed["whole"] and 3.0 * whole_noise <= allowed["whole"]),
        "blocks": (float(off.max()), bool((off - 4.0 * noise <= allowed["blocks"]).all())),
        "noise": (typical, typical <= MOST_NOISE),
    }


def blocks_of(picture):
    height, width, channels = picture.shape
    return picture.reshape(height // BLOCK, BLOCK, width // BLOCK, BLOCK, channels).mean(axis=(1, 3))


def two_sided(z):
    return math.erfc(z / math.sqrt(2.0))


def quantile_of(one_in):
    """|z| that chance exceeds once in so many times."""
    low, high = 0.0, 10.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if two_sided(middle) > 1.0 / one_in else (low, middle)
    return low


def leave_pictures(folder, name, ours, theirs):
    folder.mkdir(exist_ok=True)
    error = ours["mean"] - theirs["mean"]
    for what, values in [("picture", ours["mean"]), ("reference", theirs["mean"]), ("error", error)]:
        mi.Bitmap(values.astype(np.float32)).write(str(folder / f"{name}.{what}.exr"))
    exposure = 0.5 / max(theirs["mean"].mean(), 1e-30)
    for what, values in [("picture", ours["mean"]), ("reference", theirs["mean"]), ("error", 10.0 * np.abs(error))]:
        mi.util.write_bitmap(str(folder / f"{name}.{what}.png"), (values * exposure).astype(np.float32))


def table(verdicts):
    columns = ["whole", "blocks", "noise", "max |z|", "mean z", "|sd z - 1|", "against exact"]
    print(f"{'picture':<16}{'expected':<11}" + "".join(f"{c:>15}" for c in columns) + "  ")
    for v in verdicts:
        cells = []
        for column in columns:
            if column not in v["tests"]:
                cells.append(f"{'-':>15}")
                continue
            figure, good = v["tests"][column]
            text = f"{figure:.4f}" if column in ("max |z|", "mean z", "|sd z - 1|") else f"{100.0 * figure:.3f} %"
            cells.append(f"{text + ('' if good else ' !'):>15}")
        print(f"{v['name']:<16}{v['expect']:<11}" + "".join(cells) + ("  ok" if v["as_expected"] else "  FAILED"))


if __name__ == "__main__":
    sys.exit(main())
