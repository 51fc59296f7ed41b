"""Where the files lie that come with the program but are no code."""

from __future__ import annotations

from pathlib import Path

from snapcheck.errors import DataError

_PACKAGE = Path(__file__).resolve().parent


def models_dir() -> Path:
    """The folder with the network files and their cards: inside an installed wheel, or in a checkout.

    Raises:
        DataError: it is in neither place.
    """
    for folder in (_PACKAGE / "_models", _PACKAGE.parent / "models"):
        if folder.is_dir():
            return folder
    raise DataError(
        "the folder with the network files is missing.",
        place=_PACKAGE / "_models",
        way_out="Install snapcheck again: pip install --force-reinstall snapcheck.",
    )
