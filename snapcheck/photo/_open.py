"""Opening a picture file: whatever a phone sends, upright, as an array; nothing but pixels comes through."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, tzinfo
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image, ImageFile, ImageOps, UnidentifiedImageError

from snapcheck.datafiles import read_bytes
from snapcheck.errors import InputError, PhotoError
from snapcheck.words import tr

MAX_BYTES = 120_000_000
MAX_PIXELS = 64_000_000
MIN_SIDE = 200
_FORMATS = ("JPEG", "PNG", "WEBP", "HEIF", "MPO")
_EXIF_35MM, _EXIF_IFD, _EXIF_ORIENTATION = 0xA405, 0x8769, 0x0112
_EXIF_TAKEN, _EXIF_TAKEN_OFFSET = 0x9003, 0x9011
#: pictures with more pixels than this are decoded at half size: cubes are large enough then
_HALVE_ABOVE = 7_500_000


@dataclass(frozen=True)
class Picture:
    """A picture, upright.

    Attributes:
        pixels: (h, w, 3) uint8, blue green red.
        scale: factor from the file's upright pixels to these (0.5 when decoded at half size).
        focal_35mm: focal length for 36 mm wide film from the file, or None.
    """

    pixels: np.ndarray
    scale: float
    focal_35mm: float | None


def _bad(path: Path, message: str, way_out: str) -> PhotoError:
    return PhotoError(message, place=path, way_out=way_out)


def open_picture(path: Path) -> Picture:
    """Open a JPEG, PNG, WebP or HEIC file; EXIF orientation is applied, everything else in EXIF is dropped.

    Size and form are taken from the file's head before anything is decoded. Opening the largest picture that
    is read (64 megapixels) takes at most 1 GB more memory as WebP, 0.6 GB otherwise; one of 12 megapixels
    less than 0.2 GB. `tests/photo/test_memory.py` measures it.

    Raises:
        InputError: there is no such file, or it cannot be read.
        PhotoError: the file is no picture, is damaged, too small or too large.
    """
    path = Path(path)
    data = read_bytes(path, MAX_BYTES, tr("Check the name and the permission to read it."))
    return picture_of(data, path)


def picture_of(data: bytes, path: Path) -> Picture:
    """As `open_picture`, for a picture whose bytes are at hand; `path` is for messages alone.

    Raises:
        PhotoError: as `open_picture`.
    """
    image, form = _headed(data, path)
    scale = _scale(*image.size, path)
    focal = _focal(image)
    pixels = _decode(data, form, scale, image)
    if pixels is None:
        raise _bad(path, tr("the picture file is damaged or cut off."), _retake())
    return _showing(pixels, scale, focal, path)


def picture_of_array(pixels: np.ndarray, name: str, *, colours: str = "rgb") -> Picture:
    """As `open_picture`, for an upright picture that is an array already.

    Args:
        pixels: uint8, (h, w, 3), (h, w, 4) with alpha (laid on white), or (h, w) in greys. It is not changed.
        name: for messages.
        colours: order of the channels: ``rgb`` (as most libraries have it) or ``bgr`` (as OpenCV has it).

    Raises:
        InputError: it is no such array.
        PhotoError: it is too small or too large, or shows nothing.
    """
    array: Any = pixels
    if colours not in ("rgb", "bgr"):
        raise InputError(
            tr("'{name}' is no order of colours.", name=colours),
            way_out=tr("Accepted: {names}.", names="rgb, bgr"),
        )
    if array.dtype != np.uint8 or not (array.ndim == 2 or (array.ndim == 3 and array.shape[2] in (3, 4))):
        raise InputError(
            tr("the array is no picture (shape {shape}, {dtype}).", shape=array.shape, dtype=array.dtype),
            place=name,
            way_out=tr("Give height x width x 3 (colours), 4 (with alpha) or nothing (greys), as uint8."),
        )
    height, width = array.shape[:2]
    _not_too_many(width * height, Path(name))
    scale = _scale(width, height, Path(name))
    if scale < 1:
        array = cv2.resize(array, ((width + 1) // 2, (height + 1) // 2), interpolation=cv2.INTER_AREA)
    if array.ndim == 2:
        array = np.repeat(array[:, :, None], 3, axis=2)
    elif array.shape[2] == 4:
        alpha = array[:, :, 3:].astype(np.uint16)
        array = ((array[:, :, :3] * alpha + 255 * (255 - alpha) + 127) // 255).astype(np.uint8)
    array = array[:, :, ::-1] if colours == "rgb" else array
    return _showing(np.array(array, order="C"), scale, None, Path(name))


def _scale(width: int, height: int, path: Path) -> float:
    """By what a picture is made smaller; raises PhotoError where it is too small."""
    if min(width, height) < MIN_SIDE:
        raise _bad(
            path,
            tr("the picture is only {w} by {h} pixels.", w=width, h=height),
            tr("Send the original photo, not a thumbnail."),
        )
    return 0.5 if width * height > _HALVE_ABOVE else 1.0


def _showing(pixels: np.ndarray, scale: float, focal: float | None, path: Path) -> Picture:
    if float(pixels[::16, ::16].std()) < 2.0:
        raise _bad(
            path,
            tr("the picture shows nothing: one colour all over."),
            tr("Take the photo again, with the whole plate in view."),
        )
    return Picture(pixels, scale, focal)


def open_grey(data: bytes, shrink: int = 1) -> np.ndarray | None:
    """The upright grey picture (h, w) uint8 in a file's bytes, None where it cannot be had.

    Head first, as with `open_picture`; small, dark and plain pictures come as well.

    Args:
        shrink: 1, or 4 for a quarter of width and height.
    """
    try:
        image, form = _headed(data, Path())
    except PhotoError:
        return None
    try:
        if form in ("JPEG", "MPO"):
            flag = cv2.IMREAD_REDUCED_GRAYSCALE_4 if shrink == 4 else cv2.IMREAD_GRAYSCALE
            grey = cv2.imdecode(np.frombuffer(data, np.uint8), flag)
            if grey is not None:
                return np.asarray(grey)
        with _strictly():
            image.load()
            image = (_eight_bits(image) if image.mode.startswith(("I", "F")) else image).convert("L")
            return np.ascontiguousarray(ImageOps.exif_transpose(image.reduce(shrink)))
    except Exception:  # damaged data make decoders raise nearly anything
        return None


def taken_at(data: bytes, zone: tzinfo) -> datetime | None:
    """When a picture says that it was taken: DateTimeOriginal with its offset (Exif 2.32, tags 0x9003 and
    0x9011), in `zone` where it says none; None where it does not say. Nothing is decoded."""
    try:
        image, _ = _headed(data, Path())
        if "exif" not in image.info:  # Pillow would decode a PNG to look for it behind the picture
            return None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            told = image.getexif().get_ifd(_EXIF_IFD)
        at = datetime.strptime(str(told[_EXIF_TAKEN]).strip("\0 "), "%Y:%m:%d %H:%M:%S")
        offset = str(told.get(_EXIF_TAKEN_OFFSET, "")).strip("\0 ")
    except Exception:  # damaged EXIF makes its reader raise nearly anything
        return None
    try:
        return datetime.fromisoformat(f"{at.isoformat()}{offset}") if offset else at.replace(tzinfo=zone)
    except ValueError:
        return at.replace(tzinfo=zone)


def _retake() -> str:
    return tr("Take the photo again and send the original file.")


def _headed(data: bytes, path: Path) -> tuple[Image.Image, str]:
    """A picture of which no more than the head has been read, and its form. Raises PhotoError."""
    if len(data) > MAX_BYTES:
        raise _bad(path, tr("the file is larger than 120 MB."), tr("Send the photo in an ordinary size."))
    if not data:
        raise _bad(path, tr("the file is empty."), tr("Send the photo again."))
    if data[4:12] in (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftypmsf1", b"ftyphevc", b"ftypheim"):
        import pillow_heif

        pillow_heif.register_heif_opener()
    _not_too_many(webp_pixels(data), path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = Image.open(io.BytesIO(data))
    except Image.DecompressionBombError:
        raise _too_many(path, tr("far too many")) from None
    except UnidentifiedImageError:
        raise _bad(
            path, tr("this is no picture that can be read (JPEG, PNG, WebP and HEIC can)."), _retake()
        ) from None
    except Exception:  # damaged headers make the decoder raise nearly anything
        raise _bad(path, tr("the picture file is damaged."), _retake()) from None
    form = image.format or ""
    if form not in _FORMATS:
        raise _bad(
            path,
            tr("pictures of the form {form} are not read.", form=form),
            tr("Send a JPEG, PNG, WebP or HEIC file."),
        )
    _not_too_many(image.width * image.height, path)
    return image, form


def _not_too_many(pixels: int, path: Path) -> None:
    if pixels > MAX_PIXELS:
        raise _too_many(path, pixels // 1_000_000)


def _too_many(path: Path, megapixels: object) -> PhotoError:
    return _bad(
        path,
        tr("the picture has {n} megapixels; at most 64 are read.", n=megapixels),
        tr("Send the photo in an ordinary size."),
    )


def webp_pixels(data: bytes) -> int:
    """Pixels that a WebP file says it has, 0 for other files (RFC 9649, clauses 2.5 to 2.7).

    Pillow makes room for all of them as soon as it opens the file, so they are counted before.
    """
    if data[:4] != b"RIFF" or data[8:12] != b"WEBP" or len(data) < 30:
        return 0
    match data[12:16]:
        case b"VP8X":
            width, height = (1 + int.from_bytes(data[at : at + 3], "little") for at in (24, 27))
        case b"VP8L":
            bits = int.from_bytes(data[21:25], "little")
            width, height = 1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF)
        case b"VP8 ":
            width, height = (int.from_bytes(data[at : at + 2], "little") & 0x3FFF for at in (26, 28))
        case _:
            return 0
    return width * height


def _focal(image: Image.Image) -> float | None:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            value = float(image.getexif().get_ifd(_EXIF_IFD).get(_EXIF_35MM, 0))
    except Exception:  # damaged EXIF makes its reader raise nearly anything; a photo is good without
        return None
    return value if 10 <= value <= 200 else None


def _decode(data: bytes, form: str, scale: float, image: Image.Image) -> np.ndarray | None:
    """Pixels (h, w, 3), blue green red, None where the data are damaged."""
    if form in ("JPEG", "MPO") and data.rstrip(b"\0")[-2:] == b"\xff\xd9":
        flag = cv2.IMREAD_REDUCED_COLOR_2 if scale < 1 else cv2.IMREAD_COLOR
        try:
            pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flag)
        except cv2.error:
            return None
        if pixels is not None:
            return np.ascontiguousarray(pixels)
    try:
        with _strictly():
            return _by_pillow(image, scale)
    except Exception:  # damaged data make the decoder raise nearly anything
        return None


@contextmanager
def _strictly() -> Iterator[None]:
    """Within this, Pillow warns of nothing and refuses pictures that are cut off, though another library of
    the process has told it not to mind (WeasyPrint does when it is imported)."""
    lenient = ImageFile.LOAD_TRUNCATED_IMAGES
    try:
        ImageFile.LOAD_TRUNCATED_IMAGES = False
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = lenient


def _by_pillow(image: Image.Image, scale: float) -> np.ndarray:
    """Halved as soon as it is decoded: all that follows then takes a quarter of the memory."""
    full = image.size
    if scale < 1:
        image.draft("RGB", (image.width // 2, image.height // 2))
    image.load()
    if image.mode.startswith(("I", "F")):
        image = _eight_bits(image)
    if scale < 1 and max(image.size) > 0.75 * max(full):
        orientation = image.getexif().get(_EXIF_ORIENTATION)
        if image.mode in ("P", "1", "PA"):
            image = image.convert("RGBA" if image.mode == "PA" or "transparency" in image.info else "RGB")
        image = image.reduce(2)
        image.getexif()[_EXIF_ORIENTATION] = orientation or 1
    image = ImageOps.exif_transpose(image)
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        image = image.convert("RGBA")
        ground = Image.new("RGBA", image.size, (255, 255, 255, 255))
        ground.alpha_composite(image)
        image = ground
    return np.ascontiguousarray(np.asarray(image.convert("RGB"))[:, :, ::-1])


def _eight_bits(image: Image.Image) -> Image.Image:
    """A grey picture of 16 or 32 bits, its brightest pixel white; EXIF stays."""
    deep = np.asarray(image)
    grey = np.empty(deep.shape, np.uint8)
    gain = 255.0 / max(float(deep.max()), 1.0)
    for top in range(0, len(deep), 256):  # in strips: in one go it takes eight bytes a pixel
        grey[top : top + 256] = (deep[top : top + 256] * gain).clip(0, 255)
    plain = Image.fromarray(grey)
    orientation = image.getexif().get(_EXIF_ORIENTATION)
    if orientation:
        plain.getexif()[_EXIF_ORIENTATION] = orientation
    return plain
