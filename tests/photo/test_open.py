"""Opening picture files: formats, orientation, colour modes, damage."""

from __future__ import annotations

import io
import random
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
from PIL import Image

from snapcheck.errors import InputError, PhotoError, SnapcheckError
from snapcheck.photo import open_picture


def _scene(width: int = 320, height: int = 240) -> Image.Image:
    """A picture with a bright upper left and a dark lower right corner."""
    y, x = np.mgrid[0:height, 0:width]
    a = np.stack([255 - 255 * x / width, 255 - 255 * y / height, 128 + 0 * x], -1).astype(np.uint8)
    return Image.fromarray(a)


def _bytes(image: Image.Image, form: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.save(out, form, **options)
    return out.getvalue()


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_all_eight_orientations_come_out_upright(tmp_path: Path, orientation: int, form: str) -> None:
    # Exif 2.32 (CIPA DC-008), tag 0x0112: how the stored rows and columns lie in the upright picture
    upright = _scene()
    undo = {
        1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,  # noqa: E501
        5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE, 8: Image.Transpose.ROTATE_270,  # noqa: E501
    }[orientation]  # fmt: skip
    stored = upright if undo is None else upright.transpose(undo)
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / "a.bin"
    path.write_bytes(_bytes(stored, form, exif=exif, quality=95))
    got = open_picture(path).pixels
    assert got.shape == (240, 320, 3)
    want = np.asarray(upright)[:, :, ::-1].astype(int)
    assert np.abs(got.astype(int) - want).mean() < 4


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "LA", "CMYK", "1", "I;16", "F"])
def test_every_colour_mode(tmp_path: Path, mode: str) -> None:
    grey = np.asarray(_scene().convert("L"))
    if mode == "I;16":
        image = Image.fromarray(grey.astype(np.uint16) * 257)
    elif mode in ("I", "F"):
        image = Image.fromarray(grey.astype(np.int32 if mode == "I" else np.float32), mode)
    else:
        image = _scene().convert(mode)
    form = {"CMYK": "JPEG", "F": "TIFF"}.get(mode, "PNG")
    path = tmp_path / "a.bin"
    path.write_bytes(_bytes(image, form))
    if form == "TIFF":
        with pytest.raises(PhotoError, match="TIFF"):
            open_picture(path)
        return
    got = open_picture(path).pixels
    assert got.shape == (240, 320, 3) and got.dtype == np.uint8
    assert got[20, 20].mean() > got[220, 300].mean() + 60


def test_heic(tmp_path: Path) -> None:
    path = tmp_path / "a.heic"
    pillow_heif.from_pillow(_scene()).save(path, quality=80)
    got = open_picture(path).pixels
    assert np.abs(got.astype(int) - np.asarray(_scene())[:, :, ::-1].astype(int)).mean() < 6


def test_a_large_picture_is_halved(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(_bytes(_scene(4032, 3024), "JPEG", quality=50))
    picture = open_picture(path)
    assert picture.pixels.shape == (1512, 2016, 3) and picture.scale == 0.5


@pytest.mark.parametrize(
    ("content", "word"),
    [(b"", "empty"), (b"hello " * 100, "no picture"), (_bytes(_scene(), "JPEG")[:900], "damaged|cut off"),
     (_bytes(Image.new("RGB", (400, 400), (9, 9, 9)), "PNG"), "one colour"), (_bytes(_scene(90, 90), "PNG"), "90 by 90"),  # noqa: E501
     (_bytes(_scene(), "GIF"), "GIF")],
)  # fmt: skip
def test_bad_files_say_what_is_wrong(tmp_path: Path, content: bytes, word: str) -> None:
    path = tmp_path / "bad.jpg"
    path.write_bytes(content)
    with pytest.raises(PhotoError, match=word) as caught:
        open_picture(path)
    assert "bad.jpg" in str(caught.value) and caught.value.way_out


def test_a_bomb_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "bomb.png"
    path.write_bytes(_bytes(Image.new("1", (20000, 20000)), "PNG"))
    with pytest.raises(PhotoError, match=r"megapixels|no picture"):
        open_picture(path)


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be opened"):
        open_picture(tmp_path / "none.jpg")
    with pytest.raises(InputError, match="folder"):
        open_picture(tmp_path)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP", "HEIF"])
def test_mutated_files_never_crash(tmp_path: Path, form: str) -> None:
    rng = random.Random(form)
    if form == "HEIF":
        base = io.BytesIO()
        pillow_heif.from_pillow(_scene()).save(base, quality=50)
        data = base.getvalue()
    else:
        data = _bytes(_scene(), form)
    path = tmp_path / "m.bin"
    outcomes = {"ok": 0, "error": 0}
    for _ in range(520):
        b = bytearray(data)
        for _ in range(rng.choice([1, 2, 8, 40])):
            b[rng.randrange(len(b))] = rng.randrange(256)
        if rng.random() < 0.3:
            del b[rng.randrange(len(b)) :]
        path.write_bytes(bytes(b))
        try:
            picture = open_picture(path)
            assert picture.pixels.ndim == 3
            outcomes["ok"] += 1
        except SnapcheckError as error:
            assert str(error)
            outcomes["error"] += 1
    assert outcomes["error"] > 50
