"""Pictures that are small as files and large in memory, made without ever being in memory themselves.

    python bombs.py FILE...

opens every file as `read` does, as one in a ZIP file is (the same must be said of it), and as the bench cards
are looked for, and prints one JSON line: what was said of each, and the greatest memory of the process (MB)
beyond that before the first file.
"""

from __future__ import annotations

import json
import struct
import sys
import zlib
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from functools import partial
from pathlib import Path


def png(path: Path, width: int, height: int, bits: int = 8, colour: int = 0) -> Path:
    """A PNG (ISO/IEC 15948) of a pattern of rows; `colour` is its type: 0 grey, 2 RGB, 6 RGBA."""
    channels = {0: 1, 2: 3, 6: 4}[colour]
    size = max(width * channels * bits // 8, 1)
    rows = [b"\0" + bytes([shade]) * size for shade in (40, 200)]
    packer = zlib.compressobj(9)
    data = b"".join(packer.compress(rows[y // 64 % 2]) for y in range(height)) + packer.flush()

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b""))
    return path


def webp(path: Path, width: int, height: int) -> Path:
    """A WebP file (RFC 9649) whose head says this size, and that holds nothing else."""
    head = b"VP8X" + struct.pack("<I", 10) + b"\0" * 4
    head += (width - 1).to_bytes(3, "little") + (height - 1).to_bytes(3, "little")
    size = struct.pack("<I", (width - 1) | (height - 1) << 14)
    frame = b"VP8L" + struct.pack("<I", 10) + b"\x2f" + size + b"\0" * 5
    body = b"WEBP" + head + frame
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    return path


def sparse(path: Path, size: int) -> Path:
    """A file that takes no place on the disk; it begins like a JPEG."""
    with path.open("wb") as file:
        file.write(b"\xff\xd8\xff\xe0")
        file.truncate(size)
    return path


def peak_MB() -> float:
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(files: list[str]) -> None:
    from snapcheck.errors import SnapcheckError
    from snapcheck.grade._card import card_text
    from snapcheck.grade._likeness import likeness
    from snapcheck.grade._submissions import File
    from snapcheck.photo import Picture, open_picture, picture_of

    def said(opening: Callable[[], Picture]) -> str:
        try:
            return "x".join(map(str, opening().pixels.shape))
        except SnapcheckError as error:
            return str(error)

    small = png(Path(files[0]).with_name("small.png"), 400, 300, 8, 2)
    told = []
    before = 0.0
    for n, name in enumerate([str(small), *files]):
        path = Path(name)
        told.append(said(partial(open_picture, path)))
        with suppress(SnapcheckError):
            size = path.stat().st_size
            data = File(path.name, datetime.now(tz=UTC), size, path.parent, False).read()
            assert said(partial(picture_of, data, path)) == told[-1]
            likeness(data)
            card_text(data)
        if n == 0:
            before = peak_MB()
    print(json.dumps({"told": told[1:], "more_MB": round(peak_MB() - before), "before_MB": round(before)}))


if __name__ == "__main__":
    main(sys.argv[1:])
