"""Draw what pictures.md shows, from the demo folder, with parts that are invented here too.

    python docs/gallery.py [FOLDER FOR THE PICTURES]

A lid with a thin rim and a boss, a pot foot with ribs, a name plate with cut letters: all made of numbers below.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from tint.appearance import Setting, predict
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import draw_proof, part_picture, samples
from tint.proofs.comparison import compare
from tint.proofs.comparison_drawn import draw_comparison
from tint.proofs.facts import Read, trial_of
from tint.proofs.part import Part, part_of
from tint.proofs.photo import Photo, read_height_map
from tint.proofs.picture import paint
from tint.proofs.portrait import volume_cm3
from tint.recipes import Rules, solve
from tint.swatches import read_folder
from tint.target import target_from_blend

Array = NDArray[np.float64]

_NARROW = 1080  # px
HERE = Path(__file__).resolve().parent
LID_MIX = Blend("clear", {"white": 0.12, "green": 0.05, "ochre": 0.06})
FOOT_MIX = Blend("clear", {"black": 0.02, "ochre": 0.25, "white": 0.1})
DIFFUSER_MIX = Blend("milky", {"white": 0.05, "yellow": 0.02})


def revolved(profile: Array, *, sections: int) -> Array:
    """Triangles, shape (n, 3, 3) [mm], of a body turned about z from its outline, shape (m, 2): radius and height."""
    import trimesh

    mesh: Any = trimesh.creation.revolve(profile, sections=sections)
    return np.asarray(mesh.triangles, dtype=float)


def _arc(centre: tuple[float, float], radius: float, start: float, stop: float, count: int = 12) -> Array:
    """Points of an arc, shape (count, 2); degrees from the radius towards the height."""
    angle = np.radians(np.linspace(start, stop, count))
    return np.asarray(centre) + radius * np.stack((np.cos(angle), np.sin(angle)), axis=-1)


def lid(sections: int = 240) -> Part:
    """A lid, 80 mm wide: wall 2.6 mm, rim 1 mm, a boss 18 mm wide with a fillet, a ring below that centres it."""
    outline = [
        [[0.0, 0.0], [30.0, 0.0], [30.0, -5.0], [32.0, -5.0], [32.0, 0.0], [40.0, 1.6]],
        _arc((39.6, 2.1), 0.5, -60.0, 100.0, 8),
        [[34.0, 2.6]],
        _arc((12.0, 5.6), 3.0, 270.0, 180.0),
        _arc((7.0, 12.0), 2.0, 0.0, 90.0),
        [[0.0, 14.0]],
    ]
    profile = np.concatenate([np.asarray(piece, dtype=float) for piece in outline])
    return part_of(revolved(profile, sections=sections), name="lid.stl")


def foot(sections: int = 240) -> Part:
    """A pot foot, 36 mm wide, with five steps and a hollow below."""
    steps = [_arc((18.0 - 2.2 * n, 1.0 + 1.6 * n), 0.8, -60.0, 90.0, 8) for n in range(5)]
    outline = [[[6.0, 3.0], [6.0, 0.0]], *steps, [[0.0, 8.2], [0.0, 3.0]]]
    profile = np.concatenate([np.asarray(piece, dtype=float) for piece in outline])
    return part_of(revolved(np.concatenate((profile[-1:], profile[:-1])), sections=sections), name="pot_foot.stl")


def plate() -> bytes:
    """A height map, 0.02 mm a level: a rounded plate 3 mm thick with letters cut 1.2 mm deep."""
    image = Image.new("L", (900, 420), 0)
    draw = ImageDraw.Draw(image)
    draw.rounded_rectangle((20, 20, 880, 400), radius=60, fill=150)
    draw.text((450, 210), "lichen", fill=90, anchor="mm", font=ImageFont.load_default(260))
    out = io.BytesIO()
    image.save(out, format="PNG")
    return out.getvalue()


def photograph() -> Photo:
    """What a camera might have made of the lid: drawn, too warm, on a bench of stripes."""
    rows, columns = np.mgrid[0:800, 0:1200] / 800.0
    grain = np.sin(90.0 * rows + 3.0 * np.sin(4.0 * columns))[..., None]
    bench = np.array([150.0, 112.0, 80.0]) + grain * np.array([18.0, 14.0, 10.0])
    far = np.hypot(columns - 0.75, rows - 0.5)
    lid_ = np.array([96.0, 122.0, 70.0]) - 60.0 * np.hypot(columns - 0.6, rows - 0.35)[..., None]
    cover = np.clip((0.36 - far) * 400.0, 0.0, 1.0)[..., None]
    return Photo(np.rint(cover * lid_ + (1.0 - cover) * bench).clip(0, 255).astype(np.uint8), "lid-trial.jpg")


def cast_of(palette: Palette, setting: Setting) -> Read:
    """A casting a little off: what was poured had 8 % more ochre."""
    off = Blend("clear", {**LID_MIX.loadings, "ochre": 1.08 * LID_MIX.loadings["ochre"]})
    return Read(spectrum=predict(palette, off, setting=setting).reflectance, named="trials.csv:lid")


def pictures(
    palette: Palette, scratch: Path, *, pixels: int = part_picture.PIXELS, sections: int = 240
) -> dict[str, bytes]:
    """Every picture of the gallery, by file name."""
    setting = Setting(thickness_mm=2.6)
    wall = Setting(thickness_mm=3.0)
    wanted = target_from_blend(palette, LID_MIX, setting=setting, tolerance=1.0)
    answer = solve(palette, wanted, setting=setting, rules=Rules(leave_out=("green",), most_recipes=3))
    target = target_from_blend(palette, answer.recipes[0].blend, setting=setting)  # like it by day, of other pigments
    trial = trial_of(palette, LID_MIX, setting=setting, photo=photograph(), read=cast_of(palette, setting))
    compared = compare(
        palette,
        [LID_MIX, *(each.blend for each in answer.recipes)],
        setting=setting,
        target=wanted,
        title="Lid, lichen",
    )
    (scratch / "plate.png").write_bytes(plate())
    flat = read_height_map(scratch / "plate.png", mm_per_level=0.02, mm_per_pixel=0.08)
    shown = {"plate": part_picture.Shown(view=flat, named="Name plate", volume_cm3=volume_cm3(flat), finer=1)}
    for name, part, side in (("lid", lid(sections), "top"), ("foot", foot(sections), "corner")):
        shown[name] = part_picture.part_shown(part, pixels=pixels, side=side)
    lamp = Setting(thickness_mm=3.0, over="white")
    drawn = {
        "part-lid": part_picture.part_picture(
            palette, LID_MIX, setting=setting, shown=shown["lid"], thin_mm=1.2, title="Lid, lichen"
        ),
        "part-foot": part_picture.part_picture(
            palette, FOOT_MIX, setting=wall, shown=shown["foot"], title="Pot foot, bark"
        ),
        "part-plate": part_picture.part_picture(
            palette, LID_MIX, setting=wall, shown=shown["plate"], title="Name plate, lichen"
        ),
        "wedge": samples.wedge_picture(palette, DIFFUSER_MIX, setting=wall, title="Lamp diffuser"),
        "lights": samples.lights_picture(palette, LID_MIX, setting=setting, target=target, title="Lid, lichen"),
        "behind": samples.lit_picture(palette, DIFFUSER_MIX, setting=lamp, title="Lamp diffuser"),
        "limits": samples.limits_picture(palette, LID_MIX, setting=setting, tolerance=2.0, title="Lid, lichen"),
    }
    card = draw_proof(palette, LID_MIX, setting=setting, title="Lid, lichen", trial=trial)
    others = {"trial.png": card, "comparison.png": draw_comparison(compared)}
    return {f"{name}.png": paint(picture) for name, picture in drawn.items()} | others


def smaller(png: bytes, width: int = 800) -> bytes:
    """A picture scaled down, tagged as before; one that is made for a phone is left as it is."""
    with Image.open(io.BytesIO(png)) as image:
        if image.width <= _NARROW:
            return png
        profile = image.info["icc_profile"]
        scaled = image.resize((width, round(image.height * width / image.width)), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    scaled.save(out, format="PNG", icc_profile=profile, optimize=True)
    return out.getvalue()


def main(to: Path) -> None:
    """Draw and write them all."""
    to.mkdir(exist_ok=True)
    palette = fit_palette(read_folder(HERE.parent / "swatches_demo"), optics="many-flux")
    for name, png in pictures(palette, to).items():
        (to / name).write_bytes(smaller(png))
    (to / "plate.png").unlink()


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "gallery")
