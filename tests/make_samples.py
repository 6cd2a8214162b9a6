"""Render the sample photos, with the truth beside them: ``python tests/make_samples.py [--into DIR]``.

The same call gives the same pixels before coding; the bytes of the files also depend on the versions of the image
libraries.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any, Final, Literal

import numpy as np
from render.encode import encode_jpeg
from render.photo import render_scene
from render.scene import Truth
from render.story import BOARDS, DAY, SPOTS, STAND_BACK, STRIP_NUMBER, StoryPhoto, photos
from render.story_scenes import CAMERA, scene_of

from finishlab.colorimetry.spaces import linear_to_srgb, srgb_to_linear
from finishlab.demo import EVENING, FOLDER
from finishlab.photos.profiles import matrix_profile, named_encoding

__all__ = ["main", "make_photo", "make_samples", "true_of_photo"]

TRUTH: Final = "truth.json"
README: Final = "README.md"
MAKE: Final = "Rendered"
"""EXIF maker of every sample photo."""
RENDERED: Final = "Rendered scene, not a photograph"
_JPEG_QUALITY: Final = 88
_HEIC_QUALITY: Final = 60


def rendered_exif(model: str, taken: str) -> bytes:
    """Return the EXIF block of a rendered photo.

    Parameters
    ----------
    model
        Name of the rendered camera.
    taken
        Invented time, ``"2024:05:11 10:05:00"``.
    """
    from PIL import ExifTags, Image

    exif = Image.Exif()
    exif[ExifTags.Base.Make] = MAKE
    exif[ExifTags.Base.Model] = model
    exif[ExifTags.Base.ImageDescription] = RENDERED
    exif[ExifTags.Base.Orientation] = 1
    exif[ExifTags.IFD.Exif] = {
        int(ExifTags.Base.DateTimeOriginal): taken,
        int(ExifTags.Base.UserComment): b"ASCII\0\0\0" + RENDERED.encode("ascii"),
    }
    return exif.tobytes()


def in_colours(pixels: np.ndarray, colours: Literal["sRGB", "Display P3"]) -> np.ndarray:
    """Return sRGB pixels, shape (H, W, 3) uint8, coded in another colour space."""
    if colours == "sRGB":
        return pixels
    matrix = np.linalg.inv(named_encoding(colours).to_srgb).astype(np.float32)
    linear = np.asarray(srgb_to_linear(pixels / np.float32(255.0)), dtype=np.float32) @ matrix.T
    # Display P3 has sRGB's transfer function
    return np.asarray(np.rint(linear_to_srgb(np.clip(linear, 0.0, 1.0)) * 255.0), dtype=np.uint8)


def photo_bytes(
    pixels: np.ndarray, kind: Literal["jpeg", "heic"], colours: Literal["sRGB", "Display P3"], exif: bytes
) -> bytes:
    """Return the file of a rendered photo.

    Parameters
    ----------
    pixels
        sRGB, shape (H, W, 3), uint8.
    kind
        Format of the file.
    colours
        Colour space the file is coded in; its profile is embedded.
    exif
        From `rendered_exif`.
    """
    coded, profile = in_colours(pixels, colours), matrix_profile(colours)
    if kind == "jpeg":
        return encode_jpeg(coded, _JPEG_QUALITY, "4:2:0", icc=profile, exif=exif)
    from pillow_heif import from_bytes

    picture = from_bytes(mode="RGB", size=(coded.shape[1], coded.shape[0]), data=np.ascontiguousarray(coded).tobytes())
    picture.info["exif"], picture.info["icc_profile"], picture.info["icc_profile_type"] = exif, profile, "prof"
    out = BytesIO()
    picture.save(out, quality=_HEIC_QUALITY)
    return out.getvalue()


def make_photo(photo: StoryPhoto) -> tuple[bytes, Truth]:
    """Render one photo of the story; return its file and the truth about it."""
    rendered = render_scene(scene_of(photo))
    taken = f"{DAY.replace('-', ':')} {photo.time}:00"
    kind: Literal["jpeg", "heic"] = "heic" if photo.file.endswith(".heic") else "jpeg"
    return photo_bytes(rendered.pixels, kind, photo.colours, rendered_exif(CAMERA, taken)), rendered.truth


def true_of_photo(photo: StoryPhoto, truth: Truth) -> dict[str, Any]:
    """Return what is true of a photo, in JSON's types."""

    def lab(values: tuple[float, float, float] | None) -> list[float] | None:
        return None if values is None else [round(v, 4) for v in values]

    pair, ideal = truth.delta_e00, truth.ideal_delta_e00
    return {
        "file": photo.file,
        "rendered": True,
        "about": photo.about,
        "light": EVENING if photo.evening else "daylight",
        "file_colours": photo.colours,
        "board_lab": lab(truth.board_lab),
        "floor_lab": lab(truth.floor_lab),
        "delta_e00": None if pair is None else round(pair, 4),
        "ideal_camera": {
            "board_lab": lab(truth.ideal_board_lab),
            "floor_lab": lab(truth.ideal_floor_lab),
            "delta_e00": None if ideal is None else round(ideal, 4),
        },
        "scene": truth.settings,
    }


def make_samples(into: Path) -> int:
    """Write all sample photos, their truth and their note into a folder; return their size in bytes."""
    into.mkdir(parents=True, exist_ok=True)
    entries, size = [], 0
    for photo in photos():
        data, truth = make_photo(photo)
        (into / photo.file).write_bytes(data)
        entries.append(true_of_photo(photo, truth))
        size += len(data)
        sys.stderr.write(f"{photo.file}  {len(data) / 1000:.0f} kB  ({photo.about})\n")
    document = {
        "format": "finishlab/sample-truth/1",
        "rendered": True,
        "note": f"{RENDERED}: every photo here was computed, and so these are its true colours.",
        "colour_space": "CIELAB D65 2deg",
        "strip": STRIP_NUMBER,
        "camera": CAMERA,
        "photos": entries,
    }
    (into / TRUTH).write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    (into / README).write_text(_note(), encoding="utf-8")
    return size


def _note() -> str:
    rows = [f"| `{STAND_BACK.file}` | the strip alone, to learn its print from | {STAND_BACK.about} |"]
    rows += [f"| `{s.photo.file}` | floor, {s.where} | {s.photo.about} |" for s in SPOTS]
    rows += [
        f"| `{b.photo.file}` | {b.number}: {b.stain or 'no stain'}{f', {b.coats} coat(s)' if b.coats else ''}; "
        f"{b.topcoat or 'no topcoat'} | {b.photo.about} |"
        for b in BOARDS
    ]
    things: tuple[Any, ...] = (*SPOTS, *BOARDS)
    rows += [f"| `{t.evening.file}` | {t.number} again | {t.evening.about} |" for t in things if t.evening is not None]
    table = "\n".join(rows)
    return f"""# Sample photos: rendered, not taken

These pictures were **computed** by the scene renderer in `tests/render/`; no camera took them, and the floor, the
boards and the stains do not exist. Each file says so in its EXIF data too (maker "Rendered").

The invented story: a hall with a vinyl floor printed in a smoked-larch look, and a stair to be clad in cherry, which
is redder than the floor. Two water stains are tried, a walnut brown and a honey, one and two coats of each, under a
matt hardwax oil or a matt water varnish, and both mixed two to one. All photos show one printed strip, number
{STRIP_NUMBER}.

`truth.json` holds, for every photo, the true CIELAB (D65, 2 degrees) of board and floor, their true CIEDE2000, what an
ideal camera would read, and how the scene was set.

| photo | of | what a user meets in it |
|---|---|---|
{table}

Made by `python tests/make_samples.py`. The woods are derived by formula from measured spectra, see
`tests/render/data/README.md`.
"""


def main(arguments: Sequence[str] | None = None) -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(prog="python tests/make_samples.py", description=__doc__)
    parser.add_argument("--into", type=Path, default=Path(FOLDER), help="folder to write to (default: %(default)s)")
    size = make_samples(parser.parse_args(arguments).into)
    sys.stderr.write(f"{size / 1e6:.1f} MB in all\n")


if __name__ == "__main__":
    main()
