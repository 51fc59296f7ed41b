"""Opens damaged picture files, and reads some of them; run by test_bad_bytes.py in a process of its own.

    python mutated_files.py FOLDER FORM COUNT READ SEED

Prints one JSON line: how many opened, how many were refused, how many of the READ ones were read, the
longest (seconds) and the memory taken at most (MB) beyond that of the first, undamaged file. The number of
the file in hand is written to FOLDER/now, for whoever wants it after a crash. A file that takes 20 s ends the
process.
"""

from __future__ import annotations

import faulthandler
import io
import json
import random
import resource
import sys
import time
import zlib
from pathlib import Path

import cv2
import pillow_heif
from PIL import Image

from snapcheck.errors import PhotoError
from snapcheck.kit import bundled_kit
from snapcheck.photo import open_picture, read_photo

PHOTO = Path(__file__).parents[2] / "fixtures" / "photos" / "first-light-good.jpg"
HANGS_S = 20


def encoded(form: str, width: int) -> bytes:
    """A demo photo in this form, with EXIF that a phone would write."""
    pixels = cv2.imread(str(PHOTO))
    k = width / pixels.shape[1]
    image = Image.fromarray(cv2.resize(pixels, None, fx=k, fy=k, interpolation=cv2.INTER_AREA)[:, :, ::-1])
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0xA405] = 26
    out = io.BytesIO()
    if form == "HEIF":
        pillow_heif.from_pillow(image).save(out, quality=60)
    else:
        image.save(out, form, exif=exif, quality=85, progressive=form == "JPEG" and width % 2 == 0)
    return out.getvalue()


def mutated(data: bytes, rng: random.Random) -> bytes:
    """The file with one or more things wrong: bytes, lengths, pieces lost, doubled or exchanged."""
    b = bytearray(data)
    for _ in range(rng.choice([1, 1, 2, 5])):
        at = rng.randrange(len(b)) if rng.random() < 0.5 else rng.randrange(min(len(b), 700))  # headers too
        size = rng.choice([1, 2, 4, 16, 200])
        match rng.randrange(7):
            case 0:
                b[at : at + size] = rng.randbytes(size)
            case 1:
                b[at] ^= 1 << rng.randrange(8)
            case 2:
                del b[at : at + size]
            case 3:
                b[at:at] = rng.choice([rng.randbytes(size), bytes(size), b"\xff" * size, b[at : at + size]])
            case 4:  # a length or a count that is far too large
                b[at : at + 4] = rng.choice([b"\xff\xff\xff\xff", b"\x7f\xff\xff\xff", b"\0\0\0\0"])
            case 5:
                other = rng.randrange(len(b))
                b[at : at + size], b[other : other + size] = b[other : other + size], b[at : at + size]
            case _:
                del b[rng.randrange(len(b)) :]
        if not b:
            break
    return with_sums(bytes(b)) if b[:4] == b"\x89PNG" and rng.random() < 0.7 else bytes(b)


def with_sums(png: bytes) -> bytes:
    """The file with right check sums, so that what it says is believed (PNG, ISO/IEC 15948, clause 5)."""
    b, at = bytearray(png), 8
    while at + 12 <= len(b):
        end = at + 8 + int.from_bytes(b[at : at + 4], "big")
        if end + 4 > len(b):
            break
        b[end : end + 4] = zlib.crc32(b[at + 4 : end]).to_bytes(4, "big")
        at = end + 4
    return bytes(b)


def peak_MB() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(folder: Path, form: str, count: int, read: int, seed: int) -> None:
    kit, file = bundled_kit(), folder / "picture"
    small, large = encoded(form, 320), encoded(form, 1200)
    file.write_bytes(large)
    read_photo(file, kit)
    told = {"opened": 0, "refused": 0, "read": 0, "not read": 0}
    before, longest = peak_MB(), 0.0
    for n in range(count + read):
        rng = random.Random(f"{seed} {form} {n}")
        only_open = n < count
        (folder / "now").write_text(str(n))
        file.write_bytes(mutated(small if only_open else large, rng))
        faulthandler.dump_traceback_later(HANGS_S, exit=True)
        start = time.process_time()
        try:
            if only_open:
                assert open_picture(file).pixels.ndim == 3
            else:
                assert read_photo(file, kit).frame.size
            told["opened" if only_open else "read"] += 1
        except PhotoError as error:
            assert error.message and error.way_out and "picture" in str(error)
            told["refused" if only_open else "not read"] += 1
        longest = max(longest, time.process_time() - start)
        faulthandler.cancel_dump_traceback_later()
    print(json.dumps({**told, "longest_s": round(longest, 2), "more_MB": round(peak_MB() - before)}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], *map(int, sys.argv[3:6]))
