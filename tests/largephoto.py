"""A photo as large as a phone takes them, made from a demo photo."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

PHOTOS = Path(__file__).parents[1] / "fixtures" / "photos"


def large_photo(name: str, folder: Path) -> Path:
    """A demo photo brought to 12 megapixels, with fresh noise, as a phone would store it."""
    picture = cv2.resize(cv2.imread(str(PHOTOS / f"{name}.jpg")), (4000, 3000), interpolation=cv2.INTER_CUBIC)
    noise = np.random.default_rng(1).normal(size=picture.shape) * 4
    noisy = np.clip(picture + noise, 0, 255).astype(np.uint8)
    file = folder / f"{name}.jpg"
    cv2.imwrite(str(file), noisy, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return file
