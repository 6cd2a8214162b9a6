"""The only opener and writer of image files: from a file to a `LinearImage`, upright and in its own colours; and back.

What is written carries the picture and its profile and nothing of the source's metadata, so a shared page does not tell
where a house stands.
"""

from __future__ import annotations

import io
import zlib
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Final

import numpy as np
from PIL import Image, ImageCms, PngImagePlugin

from finishlab.board import PhotoRecord
from finishlab.colorimetry.spaces import srgb8_of_linear
from finishlab.errors import PhotoError
from finishlab.files import write_atomically
from finishlab.imaging.pixels import LinearImage, PhotoInfo
from finishlab.photos import profiles
from finishlab.photos.files import (
    DECODING_ERRORS,
    RAW_WHITE,
    PhotoFile,
    chroma_blocks,
    decode_jpeg,
    decode_raw,
    load_file,
    png_chunks,
    quiet,
    raw_encoding,
)
from finishlab.photos.header import Header, chroma_step, file_doubts, open_header
from finishlab.photos.profiles import ColourEncoding, UnsuitedProfileError, matrix_profile
from finishlab.quality import Doubt, doubt

_ALIKE: Final = 2 / 255
"""How far a grey photo's channels may be apart, over the largest code: what JPEG does to a grey."""
_STRIPE_BYTES: Final = 96_000
"""Pillow's pixels are copied out in stripes that stay in the processor's cache: twice as fast as all at once."""
_SUFFIXES: Final = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif", "WEBP": ".webp", "HEIC": ".heic", "RAW": ".raw"}
_MODES: Final = {
    "1",
    "L",
    "LA",
    "L;16",
    "I;16",
    "I;16L",
    "I;16B",
    "P",
    "PA",
    "RGB",
    "RGBX",
    "RGBA",
    "RGBa",
    "RGB;16",
    "RGBA;16",
    "YCbCr",
}


def photo_facts(path: Path) -> PhotoRecord:
    """Return what a photo's file and header say, without decoding it.

    Its suffix fits the content, whatever the file is called.

    Raises
    ------
    PhotoError
        As `read_photo`, except for what only decoding can show.
    """
    file = load_file(Path(path))
    header = open_header(file)
    width, height = header.full_size
    camera, suffix = header.camera or None, _SUFFIXES["RAW" if header.raw else file.format]
    return PhotoRecord(file.sha256, file.name, width, height, _moment(header.taken), None, camera, suffix)


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text) if text else None
    except ValueError:  # with an offset no clock has
        return None


def read_photo(path: Path, *, long_side: int | None = None) -> LinearImage:
    """Read a photo, upright and with its way to linear light.

    Parameters
    ----------
    path
        A JPEG, PNG, TIFF, WebP or HEIC file, or with the extra ``raw`` a camera raw file. It is read once and never
        changed.
    long_side
        When given, a JPEG is decoded at the smallest of 1/1, 1/2, 1/4 and 1/8 of its size whose long side is still at
        least this many pixels, a raw file at half its size likewise; other formats are decoded at full size.

    Returns
    -------
    LinearImage
        8 or 16 bit codes as the file has them; of a raw file 16 bit linear light. A profile built on look-up tables is
        converted to sRGB at 8 bits.

    Raises
    ------
    PhotoError
        If the file is missing, no photo, damaged, cut off, too large, CMYK, transparent, or of a kind that is not read.
    """
    header = open_header(load_file(Path(path)))
    _check_kind(header)
    step = chroma_step(header.image)
    marks = file_doubts(header.file, header.full_size, step)
    if header.by_opencv and header.file.format == "PNG":
        # A deep PNG can have hundreds of megabytes: it is not to be held packed twice while it is decoded.
        header = replace(header, image=None, file=replace(header.file, data=_bare_png(header.file)))
    codes, white = _decode(header, long_side)
    grey = codes.ndim == 2
    encoding, doubts = _encoding(header, grey=grey)
    if grey:
        codes = np.repeat(codes[:, :, None], 3, axis=2)
    grey = grey or _colourless(codes)
    chroma = None
    if header.file.format == "JPEG" and not header.raw and not grey and isinstance(encoding, ColourEncoding):
        chroma = chroma_blocks(header.file.data, codes.shape[1::-1], header.orientation)
    if not isinstance(encoding, ColourEncoding):
        codes, white = _by_littlecms(codes, white, encoding), 255
        encoding = profiles.named_encoding("sRGB", f"{profiles.profile_name(header.icc)} (converted to sRGB, 8 bits)")
    info = _info(header, encoding.name, (*doubts, *([doubt("greyscale")] if grey else []), *marks), step)
    orientation = header.orientation
    del header  # and with it Pillow's own copy of the pixels
    if orientation != 1:
        from finishlab.imaging.opencv import turn_upright

        codes = turn_upright(codes, orientation)
    codes.flags.writeable = False
    table = encoding.table(256 if codes.dtype == np.uint8 else 65536, white)
    return LinearImage(codes, table, encoding.to_srgb, info, chroma)


def _colourless(codes: np.ndarray) -> bool:
    """Return whether a photo stored in colour has none: its channels agree at a few thousand places."""
    few = codes[:: max(1, codes.shape[0] // 64), :: max(1, codes.shape[1] // 64)].astype(np.int32)
    apart = few.max(axis=2) - few.min(axis=2)
    return bool(apart.max() <= _ALIKE * np.iinfo(codes.dtype).max)


def _info(header: Header, profile: str, doubts: tuple[Doubt, ...], step: float) -> PhotoInfo:
    if not header.camera:
        doubts = (*doubts, doubt("no-camera"))
    said = header.file.photo_id, header.camera, header.taken, profile, header.full_size
    return PhotoInfo(*said, doubts, header.raw, step)


def _check_kind(header: Header) -> None:
    file = header.file
    if header.mode == "CMYK":
        raise file.unreadable(
            "cmyk",
            "is a CMYK picture, made for a printing press and not by a camera",
            "Give the photo as the camera saved it.",
        )
    if header.mode not in _MODES or header.bits not in (1, 2, 4, 8, 10, 12, 16):
        raise file.unsupported(f"a picture of an unusual kind ({header.mode}, {header.bits} bits)")


# -- pixels -----------------------------------------------------------------------------------------------------------


def _decode(header: Header, long_side: int | None) -> tuple[np.ndarray, int]:
    """Return codes, shape (H, W, 3), or (H, W) for a greyscale photo, not yet upright, and the code of white."""
    with quiet(stderr=header.file.format == "TIFF"):
        if header.raw:
            return decode_raw(header.file, header.image, long_side), RAW_WHITE
        if header.file.format == "HEIC":
            return _decode_heic(header)
        if header.by_opencv:
            return _decode_opencv(header)
        if header.file.format == "JPEG" and header.mode in ("RGB", "L"):
            return decode_jpeg(header.file, header.stored_size, grey=header.mode == "L", long_side=long_side), 255
        return _decode_pillow(header), 255


def _decode_heic(header: Header) -> tuple[np.ndarray, int]:
    try:
        pixels = np.asarray(header.image)
    except DECODING_ERRORS as error:
        raise header.file.damaged() from error
    if pixels.dtype == np.uint8:
        return _without_alpha(pixels, 255, header.file), 255
    # Ten and twelve bits are stored at the top of sixteen, so full brightness is a little below 65535.
    white = ((1 << header.bits) - 1) << (16 - header.bits)
    return _without_alpha(pixels, white, header.file), white


def _decode_opencv(header: Header) -> tuple[np.ndarray, int]:
    from finishlab.imaging.opencv import decode_16bit

    file = header.file
    pixels = decode_16bit(file.data)
    if pixels is None:
        raise file.damaged()
    white = (1 << header.bits) - 1
    if pixels.shape[:2] != header.stored_size[::-1] or pixels.dtype != np.dtype(f"uint{header.bits}"):
        raise file.unsupported("a picture of an unusual kind")
    return _without_alpha(pixels, white, file), white


def _bare_png(file: PhotoFile) -> bytes:
    """Return a PNG with nothing but its picture, checked: its decoder prints remarks about the rest to stderr."""
    data = file.data
    out: list[bytes | memoryview] = [data[:8]]
    for kind, chunk in png_chunks(data):
        if kind in (b"IHDR", b"PLTE", b"tRNS", b"IDAT", b"IEND"):
            if zlib.crc32(chunk[4:-4]) != int.from_bytes(chunk[-4:], "big"):
                raise file.damaged()
            out.append(chunk)
    return b"".join(out)


def _decode_pillow(header: Header) -> np.ndarray:
    image, file = header.image, header.file
    try:
        image.load()
        if image.mode == "1":
            image = image.convert("L")
        elif "transparency" in image.info or image.mode in ("P", "PA", "RGBa"):
            image = image.convert("RGBA")
        elif image.mode in ("YCbCr", "RGBX"):
            image = image.convert("RGB")
        return _without_alpha(_pixels(image), 255, file)
    except PhotoError:
        raise
    except DECODING_ERRORS as error:
        if "truncated" in str(error):
            raise file.truncated() from error
        raise file.damaged() from error


def _pixels(image: Image.Image) -> np.ndarray:
    """Copy an 8 bit image out of Pillow, shape (H, W) or (H, W, bands)."""
    width, height = image.size
    bands = len(image.getbands())
    out = np.empty((height, width, bands) if bands > 1 else (height, width), dtype=np.uint8)
    rows = max(1, _STRIPE_BYTES // (width * bands))
    for top in range(0, height, rows):
        bottom = min(height, top + rows)
        stripe = image.crop((0, top, width, bottom)).tobytes()
        out[top:bottom] = np.frombuffer(stripe, dtype=np.uint8).reshape(out[top:bottom].shape)
    return out


def _without_alpha(pixels: np.ndarray, opaque: int, file: PhotoFile) -> np.ndarray:
    """Drop an opaque alpha channel, refuse a transparent one; grey stays (H, W)."""
    if pixels.ndim == 2 or pixels.shape[2] == 3:
        return pixels
    if int(pixels[:, :, -1].min()) < opaque:
        raise file.unreadable(
            "photo-transparent",
            "is partly transparent, so it is not a photo as the camera took it",
            "Give the original photo.",
        )
    return np.ascontiguousarray(pixels[:, :, :3]) if pixels.shape[2] == 4 else np.ascontiguousarray(pixels[:, :, 0])


# -- colours ----------------------------------------------------------------------------------------------------------


def _encoding(header: Header, *, grey: bool) -> tuple[ColourEncoding | ImageCms.ImageCmsTransform, tuple[Doubt, ...]]:
    """Return what the file says of its colours, or LittleCMS's way if only it can read the profile; and the doubts."""
    if header.raw:
        return raw_encoding(), ()
    try:
        if header.cicp is not None and (header.file.format == "PNG" or not header.icc):
            return profiles.encoding_from_cicp(*header.cicp), ()
    except UnsuitedProfileError as error:
        raise header.file.unreadable(
            "photo-colours",
            f"cannot be read: {error}",
            "Save it as an ordinary photo (sRGB or Display P3), not as HDR.",
        ) from error
    if header.icc:
        try:
            return profiles.encoding_from_icc(header.icc, grey=grey), ()
        except UnsuitedProfileError:
            transform = _transform(header.icc)
            if transform is not None:
                return transform, ()
    return _encoding_by_hints(header)


def _encoding_by_hints(header: Header) -> tuple[ColourEncoding, tuple[Doubt, ...]]:
    """Return what PNG chunks or EXIF say, or sRGB with a doubt."""
    if header.exif_space == "Adobe RGB":
        return profiles.named_encoding("Adobe RGB", "Adobe RGB (by EXIF)"), ()
    if header.exif_space == "sRGB" or "srgb" in header.info:
        return profiles.named_encoding("sRGB"), ()
    gamma = header.info.get("gamma")
    if header.file.format == "PNG" and gamma:
        try:
            return profiles.encoding_from_gamma(float(gamma), _chromaticities(header)), ()
        except (UnsuitedProfileError, ValueError, ZeroDivisionError, np.linalg.LinAlgError):
            pass
    return profiles.named_encoding("sRGB", "sRGB (assumed)"), (doubt("no-profile"),)


def _chromaticities(header: Header) -> profiles.Primaries | None:
    values = header.info.get("chromaticity")
    if not values:
        return None
    white, red, green, blue = ((values[i], values[i + 1]) for i in (0, 2, 4, 6))
    return profiles.Primaries(red, green, blue, white)


def _transform(icc: bytes) -> ImageCms.ImageCmsTransform | None:
    """Return LittleCMS's way from a profile to sRGB, relative colorimetric; None when it has none."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(icc))
        target = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
        return ImageCms.ImageCmsTransform(source, target, "RGB", "RGB", ImageCms.Intent.RELATIVE_COLORIMETRIC)
    except (OSError, ValueError, TypeError, ImageCms.PyCMSError):
        return None


def _by_littlecms(codes: np.ndarray, white: int, transform: ImageCms.ImageCmsTransform) -> np.ndarray:
    """Convert to 8 bit sRGB."""
    if codes.dtype == np.uint16:
        codes = ((codes.astype(np.uint32) * 255 + white // 2) // white).astype(np.uint8)
    return _pixels(transform.apply(Image.fromarray(codes)))


_STRIPE_PIXELS: Final = 500_000
"""A photo is converted in stripes: a float copy of a whole one would take hundreds of megabytes."""


def srgb_pixels(image: LinearImage) -> np.ndarray:
    """Return a photo's decoded pixels in sRGB, shape (H, W, 3), uint8; colours outside sRGB are clipped."""
    height, width = image.encoded.shape[:2]
    out = np.empty((height, width, 3), dtype=np.uint8)
    matrix = image.to_srgb.T.astype(np.float32)
    rows = max(1, _STRIPE_PIXELS // width)
    for top in range(0, height, rows):
        out[top : top + rows] = srgb8_of_linear(image.decode[image.encoded[top : top + rows]] @ matrix)
    return out


def _picture(pixels: np.ndarray) -> Image.Image:
    if pixels.dtype != np.uint8 or pixels.ndim != 3 or pixels.shape[2] != 3:
        raise ValueError("a picture is an (H, W, 3) array of 8 bit codes")
    return Image.fromarray(np.ascontiguousarray(pixels))


def write_jpeg(pixels: np.ndarray, *, quality: int) -> bytes:
    """Return a JPEG of sRGB pixels, without EXIF.

    Parameters
    ----------
    pixels
        Shape (H, W, 3), uint8, RGB.
    quality
        1 to 95, libjpeg's scale; colour is kept at full resolution from 90 up.
    """
    out = io.BytesIO()
    subsampling = "4:4:4" if quality >= 90 else "4:2:0"
    profile = matrix_profile("sRGB")
    _picture(pixels).save(out, "JPEG", quality=quality, subsampling=subsampling, optimize=True, icc_profile=profile)
    return out.getvalue()


def write_png(path: Path, pixels: np.ndarray) -> None:
    """Write a PNG of sRGB pixels, shape (H, W, 3), uint8, whole or not at all.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    out = io.BytesIO()
    # The mark tells a later call that this picture is one of ours, which may be replaced, and no photo.
    mark = PngImagePlugin.PngInfo()
    mark.add_text("Software", "finishlab")
    _picture(pixels).save(out, "PNG", icc_profile=matrix_profile("sRGB"), pnginfo=mark)
    write_atomically(path, out.getvalue())


def thumbnail(path: Path, long_side: int, *, quality: int = 85) -> bytes:
    """Return a small JPEG of a photo for a page: upright, in sRGB, without metadata.

    Raises
    ------
    PhotoError
        As `read_photo`.
    """
    from finishlab.imaging.opencv import shrink

    photo = read_photo(path, long_side=long_side)
    small = shrink(photo.encoded, max(photo.size) / long_side)
    return write_jpeg(srgb_pixels(replace(photo, encoded=small)), quality=quality)
