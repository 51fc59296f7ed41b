"""How alike two pictures are: a perceptual hash that survives resizing, recompression and brightness."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np

from snapcheck.grade._store import Store, StoredFile
from snapcheck.photo import open_grey

#: bits of the hash; a photo's own layout needs more than the usual 64, because all show the same plate
SIDE = 16
#: Pictures that differ in at most so many of the 256 bits are pointed out. Measured on the 24 pictures of the
#: sample class and the demo photos (`tests/grade/test_likeness.py`): the same picture stored again, at half
#: the size, brighter, grey, turned by one degree or cut by 1 % differs in 34 bits or fewer (cut by 2 %: half
#: of them); of 561 pairs of different pictures, many of the same plan, the closest differ in 44.
ALIKE = 34


def likeness(data: bytes) -> str:
    """The hash as 64 hexadecimal digits, "" where the picture cannot be opened.

    Discrete cosine transform of a small grey picture, its lowest 16 x 16 frequencies against their median
    (the method is commonly called pHash).
    """
    grey = open_grey(data, shrink=4)
    if grey is None or min(grey.shape) < 8:
        return ""
    small = cv2.resize(grey, (4 * SIDE, 4 * SIDE), interpolation=cv2.INTER_AREA).astype(np.float32)
    low = cv2.dct(small)[:SIDE, :SIDE].ravel()
    bits = low > np.median(low[1:])
    return np.packbits(bits).tobytes().hex()


def differing(a: str, b: str) -> int:
    """Bits in which two hashes differ."""
    return (int(a, 16) ^ int(b, 16)).bit_count()


@dataclass(frozen=True)
class LookAlike:
    """Two pictures handed in for different people (or by nobody known) that look nearly the same."""

    first: StoredFile
    second: StoredFile
    bits: int


def look_alikes(store: Store) -> list[LookAlike]:
    """Pairs of submissions that show nearly the same picture under different names, closest first.

    A fact to look at, no more: two people may have photographed one bench, or worked together as they should.
    """
    hashes = {sha: value for sha, (value, _) in store.photos().items()}
    files = [f for f in store.files() if not f.gone and hashes.get(f.sha)]
    by_path = {f.path: f for f in files}
    found = [
        LookAlike(by_path[a], by_path[b], bits)
        for a, b, bits in alike({f.path: hashes[f.sha] for f in files})
        if by_path[a].student != by_path[b].student or by_path[a].student is None
    ]
    return sorted(found, key=lambda p: (p.bits, p.first.path, p.second.path))


def alike(hashes: Mapping[str, str], at_most: int = ALIKE) -> list[tuple[str, str, int]]:
    """Pairs of names whose pictures are nearly the same, with the number of bits that differ."""
    names = sorted(name for name, value in hashes.items() if value)
    values = {name: int(hashes[name], 16) for name in names}
    pairs = []
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            bits = (values[a] ^ values[b]).bit_count()
            if bits <= at_most:
                pairs.append((a, b, bits))
    return pairs
