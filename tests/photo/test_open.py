"""Opening picture files: formats, orientation, colour modes, damage."""

from __future__ import annotations

import io
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image, ImageFile

from snapcheck.errors import InputError, PhotoError
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


#: Exif 2.32 (CIPA DC-008), tag 0x0112: from the upright picture to the rows and columns as they are stored
UNDO = {
    1: None,
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_all_eight_orientations_come_out_upright(tmp_path: Path, orientation: int, form: str) -> None:
    upright = _scene()
    undo = UNDO[orientation]
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


@pytest.mark.parametrize("channels", [1, 3, 4])
def test_sixteen_bits_a_channel(tmp_path: Path, channels: int) -> None:
    """PNG files of 16 bits a channel as OpenCV writes them: grey, colour, colour with transparency."""
    scene = np.asarray(_scene())[:, :, ::-1].astype(np.uint16) * 257
    deep = {1: scene[:, :, 2], 3: scene, 4: np.dstack([scene, np.full(scene.shape[:2], 65535, np.uint16)])}
    path = tmp_path / "a.png"
    assert cv2.imwrite(str(path), deep[channels])
    got = open_picture(path).pixels.astype(int)
    want = deep[channels][..., None] if channels == 1 else deep[channels][..., :3]
    assert got.shape == (240, 320, 3)
    assert np.abs(got - want / 257.0).mean() < 3


@pytest.mark.parametrize("orientation", range(1, 9))
def test_heic_from_a_camera_held_any_way(tmp_path: Path, orientation: int) -> None:
    """HEIF turns and mirrors by properties of its own (ISO/IEC 23008-12: irot, imir); EXIF says it again."""
    upright = _scene()
    undo = UNDO[orientation]
    stored = upright if undo is None else upright.transpose(undo)
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = tmp_path / "a.heic"
    file = pillow_heif.from_bytes("RGB", stored.size, stored.tobytes())
    file.info["exif"] = exif.tobytes()  # from this the encoder writes the properties
    file.save(path, quality=90, exif=exif.tobytes())
    assert orientation == 1 or b"irot" in path.read_bytes() or b"imir" in path.read_bytes()
    got = open_picture(path).pixels
    assert got.shape == (240, 320, 3)
    assert np.abs(got.astype(int) - np.asarray(upright)[:, :, ::-1].astype(int)).mean() < 6


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


def test_what_is_cut_off_is_refused_though_another_library_would_take_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", True)
    path = tmp_path / "bad.jpg"
    path.write_bytes(_bytes(_scene(), "JPEG")[:900])
    with pytest.raises(PhotoError, match=r"damaged|cut off"):
        open_picture(path)
    assert ImageFile.LOAD_TRUNCATED_IMAGES  # left as it was


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
