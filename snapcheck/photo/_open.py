"""Opening a picture file: whatever a phone sends, upright, as an array; nothing but pixels comes through."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError

from snapcheck.errors import InputError, PhotoError
from snapcheck.words import tr

MAX_BYTES = 120_000_000
MAX_PIXELS = 64_000_000
MIN_SIDE = 200
_FORMATS = ("JPEG", "PNG", "WEBP", "HEIF", "MPO")
_EXIF_35MM, _EXIF_IFD = 0xA405, 0x8769
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

    Raises:
        InputError: there is no such file, or it cannot be read.
        PhotoError: the file is no picture, is damaged, too small or too large.
    """
    path = Path(path)
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise InputError(tr("this is a folder, not a picture."), place=path)
        if size > MAX_BYTES:
            raise _bad(path, tr("the file is larger than 120 MB."), tr("Send the photo in an ordinary size."))
        data = path.read_bytes()
    except OSError as error:
        raise InputError(
            tr("cannot be opened ({why}).", why=error.strerror or str(error)),
            place=path,
            way_out=tr("Check the name and the permission to read it."),
        ) from None
    return picture_of(data, path)


def picture_of(data: bytes, path: Path) -> Picture:
    """As `open_picture`, for a picture whose bytes are at hand; `path` is for messages alone.

    Raises:
        PhotoError: as `open_picture`.
    """
    if not data:
        raise _bad(path, tr("the file is empty."), tr("Send the photo again."))
    if data[4:12] in (b"ftypheic", b"ftypheix", b"ftypmif1", b"ftypmsf1", b"ftyphevc", b"ftypheim"):
        import pillow_heif

        pillow_heif.register_heif_opener()
    retake = tr("Take the photo again and send the original file.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = Image.open(io.BytesIO(data))
            form, (width, height) = image.format or "", image.size
            exif = image.getexif()
            focal = _focal(exif)
    except (UnidentifiedImageError, Image.DecompressionBombError):
        raise _bad(
            path, tr("this is no picture that can be read (JPEG, PNG, WebP and HEIC can)."), retake
        ) from None
    except Exception:  # damaged headers make the decoder raise nearly anything
        raise _bad(path, tr("the picture file is damaged."), retake) from None
    if form not in _FORMATS:
        raise _bad(
            path,
            tr("pictures of the form {form} are not read.", form=form),
            tr("Send a JPEG, PNG, WebP or HEIC file."),
        )
    if width * height > MAX_PIXELS:
        raise _bad(
            path,
            tr("the picture has {n} megapixels; at most 64 are read.", n=width * height // 1_000_000),
            tr("Send the photo in an ordinary size."),
        )
    if min(width, height) < MIN_SIDE:
        raise _bad(
            path,
            tr("the picture is only {w} by {h} pixels.", w=width, h=height),
            tr("Send the original photo, not a thumbnail."),
        )
    scale = 0.5 if width * height > _HALVE_ABOVE else 1.0
    pixels = _decode(data, form, scale, image)
    if pixels is None:
        raise _bad(path, tr("the picture file is damaged or cut off."), retake)
    if float(pixels[::16, ::16].std()) < 2.0:
        raise _bad(
            path,
            tr("the picture shows nothing: one colour all over."),
            tr("Take the photo again, with the whole plate in view."),
        )
    return Picture(pixels, scale, focal)


def _focal(exif: Image.Exif) -> float | None:
    try:
        value = float(exif.get_ifd(_EXIF_IFD).get(_EXIF_35MM, 0))
    except (TypeError, ValueError, KeyError, ZeroDivisionError):
        return None
    return value if 10 <= value <= 200 else None


def _decode(data: bytes, form: str, scale: float, image: Image.Image) -> np.ndarray | None:
    if form in ("JPEG", "MPO") and data.rstrip(b"\0")[-2:] == b"\xff\xd9":
        flag = cv2.IMREAD_REDUCED_COLOR_2 if scale < 1 else cv2.IMREAD_COLOR
        try:
            pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flag)
        except cv2.error:
            return None
        if pixels is not None:
            return np.ascontiguousarray(pixels)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if scale < 1:
                image.draft("RGB", (image.width // 2, image.height // 2))
            upright = ImageOps.exif_transpose(image)
            if upright.mode in ("RGBA", "LA", "PA") or "transparency" in upright.info:
                rgba = upright.convert("RGBA")
                ground = Image.new("RGBA", rgba.size, (255, 255, 255, 255))
                upright = Image.alpha_composite(ground, rgba)
            elif upright.mode.startswith(("I", "F")):
                deep = np.asarray(upright, np.float64)
                top = max(float(deep.max()), 1.0)
                upright = Image.fromarray((deep * (255.0 / top)).clip(0, 255).astype(np.uint8))
            rgb = np.asarray(upright.convert("RGB"))
    except Exception:  # damaged data make the decoder raise nearly anything
        return None
    bgr = np.ascontiguousarray(rgb[:, :, ::-1])
    return (
        cv2.resize(bgr, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        if scale < 1 and max(bgr.shape[:2]) > 0.75 * max(image.size) and image.format not in ("JPEG", "MPO")
        else bgr
    )
