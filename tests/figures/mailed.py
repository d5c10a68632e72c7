"""Photographs without a chart: how far a colour read off one misses, and whether the stated width holds.

    python tests/figures/mailed.py [--count 300] [--seed 7400] [--learn]

Castings whose spectra are known (bench.py) are seen by cameras that tint knows nothing of, in rooms of which nobody
tells the light: daylights, a filament lamp, tubes and LEDs alike often. A camera finds its white balance as the mean of
what it sees, a ground that fills half of the picture and 4 to 30 further surfaces, and follows it by 70 to 100 %; it
exposes between the mean and the brightest of them, by a third of a stop and more either way; it bends contrast and
purity, and light falls unevenly. With --learn the script prints what stands in `tint.photographs.mailed`, from two
cameras; without, it judges by two others.
"""

from __future__ import annotations

import argparse

import bench
import camera
import numpy as np
from camera import Shot
from numpy.typing import NDArray

from tint.colorimetry import Viewing, difference, srgb_to_lab, viewing
from tint.photographs.mailed import chartless_colour, chips_of
from tint.photographs.picture import BOTTOM, TOP

Array = NDArray[np.float64]

LIGHTS = ("D65", "D55", "D50", "D75", "A", "LED-B1", "LED-B3", "LED-V1", "FL2", "FL11")
LEARNT, JUDGED = ("phone", "first"), ("wide", "second")


def pictured(spectra: Array, others: Array, sensor: str, rng: np.random.Generator) -> tuple[Array, float]:
    """Levels of castings in one picture, shape (n, 3), 0 to 255; and how far its white balance is off [degrees]."""
    sees = camera.sensitivities(sensor) * camera.light_power(str(rng.choice(LIGHTS)))[:, None]
    sees = sees / (camera.sensitivities(sensor) * camera.light_power("D65")[:, None]).sum(axis=0)
    slope = (camera.WAVELENGTHS - 550.0) / 150.0
    ground = (rng.uniform(0.15, 0.85) * np.exp(0.08 * rng.standard_normal() * slope)) @ sees
    things = others[rng.integers(len(others), size=int(rng.integers(4, 31)))] @ sees
    mean = 0.5 * ground + 0.5 * rng.dirichlet(np.full(len(things), 1.5)) @ things
    balance = mean ** -rng.uniform(0.7, 1.0)
    balance /= balance[1]
    brightest = max(float(things[:, 1].max()), float(ground[1]))
    exposure = np.sqrt(0.22 / float((mean * balance).mean()) * 0.85 / brightest) * 2.0 ** (0.35 * rng.standard_normal())
    falls = 2.0 ** (0.25 * rng.standard_normal(len(spectra)))
    light = exposure * balance * (falls[:, None] * (spectra @ sees) + rng.uniform(0.0, 0.03) * mean)
    linear = np.clip(light, 0.0, 1.0) @ camera._makers_matrix(Shot(camera=sensor))
    grey = linear @ np.array([0.2126, 0.7152, 0.0722])
    linear = grey[:, None] + rng.uniform(1.0, 1.25) * (linear - grey[:, None])
    coded = camera._coded(linear, Shot(contrast=rng.uniform(0.0, 0.6)))
    neutral = sees.sum(axis=0) / mean
    angle = np.arccos(np.clip(neutral.sum() / (np.sqrt(3.0) * np.linalg.norm(neutral)), -1.0, 1.0))
    return np.rint(255.0 * coded), float(np.degrees(angle))


def learn(true: Array, seen: Array, levels: Array) -> None:
    """Print what scatters: lightness, chroma, hue, and a cast on what is grey."""
    held = ((levels > BOTTOM) & (levels < TOP)).all(axis=-1)
    chroma, was = np.hypot(*seen[..., 1:].T).T, np.hypot(*true[..., 1:].T).T
    light = seen[..., 0] - true[..., 0]
    for low, high in ((0, 30), (30, 50), (50, 70), (70, 100)):
        of = (true[..., 0] >= low) & (true[..., 0] < high) & held
        print(f"L* {low} to {high}: {of.sum()} seen, {light[of].mean():+.1f} ± {light[of].std():.1f}")
    turned = np.degrees(np.angle((seen[..., 1] + 1j * seen[..., 2]) / (true[..., 1] + 1j * true[..., 2])))
    for low, high in ((0, 15), (15, 30), (30, 50), (50, 130)):
        of = (was >= low) & (was < high) & held
        log = np.log(chroma[of] / was[of])
        cast = (seen - true)[of][:, 1:]
        print(
            f"C*ab {low} to {high}: {of.sum()} seen, chroma x{np.exp(log.mean()):.2f} ± {log.std():.2f}, "
            f"hue {turned[of].mean():+.1f} ± {turned[of].std():.1f}, "
            f"a*, b* ± {cast[:, 0].std():.1f}, {cast[:, 1].std():.1f}"
        )


def judge(true: Array, levels: Array, view: Viewing) -> None:
    """Print misses, stated widths, how often they hold, and what is left where the nearest chip is chosen."""
    rows = []
    for shown in levels:
        for colour, spot in zip(true, shown, strict=True):
            found = chartless_colour(spot / 255.0, view)
            chips = np.array([chip.lab for chip in chips_of(found, view)])
            rows.append(
                (found.clipped, difference(colour, found.lab), found.error, difference(colour, chips).min())
            )  # fmt: skip
    table = np.array(rows, dtype=float)
    for name, of in (("within the range", table[:, 0] == 0), ("clipped", table[:, 0] == 1)):
        miss, stated, left = table[of, 1:].T
        print(
            f"{name:18s} {len(miss):6d} spots; missed by {miss.mean():.1f} on average, "
            f"{np.quantile(miss, 0.95):.1f} at 95 %; stated {np.median(stated):.1f} "
            f"({np.quantile(stated, 0.05):.1f} to {np.quantile(stated, 0.95):.1f}), "
            f"holds for {100 * np.mean(miss <= stated):.1f} %; the nearest chip misses by {left.mean():.1f}, "
            f"{np.quantile(left, 0.95):.1f} at 95 %"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=300, help="pictures")
    parser.add_argument("--seed", type=int, default=7400)
    parser.add_argument("--learn", action="store_true", help="from the cameras of which the constants were learnt")
    args = parser.parse_args()
    rng = np.random.default_rng(args.seed)
    spectra = np.array([each.white for kind in bench.KINDS for each in bench.held_out(kind, 8, args.seed)])
    others = np.concatenate([*(camera.chart_spectra(name) for name in camera.CHARTS), spectra])
    sensors = LEARNT if args.learn else JUDGED
    shots = [pictured(spectra, others, sensors[at % 2], rng) for at in range(args.count)]
    levels, angles = np.array([shot[0] for shot in shots]), np.array([shot[1] for shot in shots])
    print(f"white balance off by {np.median(angles):.1f} degrees, {np.quantile(angles, 0.95):.1f} at 95 %")
    view, true = viewing(camera.WAVELENGTHS, light="D65", observer=10), camera.true_lab(spectra)
    if args.learn:
        seen = srgb_to_lab(levels / 255.0, view)
        learn(np.broadcast_to(true, seen.shape), seen, levels)
    judge(true, levels, view)


if __name__ == "__main__":
    main()
