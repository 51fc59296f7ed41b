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
    return _one_of("_models", "models", "the folder with the network files is missing.")


def designs_dir() -> Path:
    """The folder with the sample designs (``*.board``): inside an installed wheel, or in a checkout.

    Raises:
        DataError: it is in neither place.
    """
    return _one_of("_designs", "fixtures/designs", "the folder with the sample designs is missing.")


def _one_of(installed: str, checkout: str, missing: str) -> Path:
    for folder in (_PACKAGE / installed, _PACKAGE.parent / checkout):
        if folder.is_dir():
            return folder
    raise DataError(
        missing,
        place=_PACKAGE / installed,
        way_out="Install snapcheck again: pip install --force-reinstall snapcheck.",
    )
