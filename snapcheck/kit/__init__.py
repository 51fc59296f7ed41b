"""What cubes exist (data in TOML) and how their values are written."""

from snapcheck.kit._form import ValueForm
from snapcheck.kit._format import format_value
from snapcheck.kit._load import bundled_kit, chips_kit, load_kit, parse_kit
from snapcheck.kit._model import PLATE, Contact, Kind, Kit, inner_ends, lying
from snapcheck.kit._series import (
    SERIES,
    SERIES_TOLERANCE,
    coarsest_series,
    in_series,
    nearest,
    neighbours,
)
from snapcheck.kit._side import Side
from snapcheck.kit._values import (
    TOLERANCE_LETTERS,
    ParsedValue,
    check_limits,
    parse_value,
    usual_spelling,
)

__all__ = [
    "PLATE",
    "SERIES",
    "SERIES_TOLERANCE",
    "TOLERANCE_LETTERS",
    "Contact",
    "Kind",
    "Kit",
    "ParsedValue",
    "Side",
    "ValueForm",
    "bundled_kit",
    "check_limits",
    "chips_kit",
    "coarsest_series",
    "format_value",
    "in_series",
    "inner_ends",
    "load_kit",
    "lying",
    "nearest",
    "neighbours",
    "parse_kit",
    "parse_value",
    "usual_spelling",
]
