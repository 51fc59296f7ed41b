"""What cubes exist (data in TOML) and how their values are written."""

from snapcheck.kit._describe import kind_table, like, needed_legs
from snapcheck.kit._form import ValueForm
from snapcheck.kit._format import format_value
from snapcheck.kit._load import CHIPS, bundled_kit, chips_kit, kit_text, load_kit, parse_kit
from snapcheck.kit._model import PLATE, Contact, Kind, Kit, inner_ends, lying
from snapcheck.kit._series import (
    SERIES,
    SERIES_TOLERANCE,
    coarsest_series,
    decades_apart,
    in_series,
    nearest,
    neighbours,
    same_decade,
)
from snapcheck.kit._side import Side
from snapcheck.kit._taught import Taught, taught_text, untaught_text
from snapcheck.kit._values import (
    TOLERANCE_LETTERS,
    ParsedValue,
    check_limits,
    parse_value,
    usual_spelling,
)

__all__ = [
    "CHIPS",
    "PLATE",
    "SERIES",
    "SERIES_TOLERANCE",
    "TOLERANCE_LETTERS",
    "Contact",
    "Kind",
    "Kit",
    "ParsedValue",
    "Side",
    "Taught",
    "ValueForm",
    "bundled_kit",
    "check_limits",
    "chips_kit",
    "coarsest_series",
    "decades_apart",
    "format_value",
    "in_series",
    "inner_ends",
    "kind_table",
    "kit_text",
    "like",
    "load_kit",
    "lying",
    "nearest",
    "needed_legs",
    "neighbours",
    "parse_kit",
    "parse_value",
    "same_decade",
    "taught_text",
    "untaught_text",
    "usual_spelling",
]
