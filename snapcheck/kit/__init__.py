"""What cubes exist (data in TOML) and how their values are written."""

from snapcheck.kit._model import PLATE, Contact, Kind, Kit, ValueForm
from snapcheck.kit._side import Side

__all__ = ["PLATE", "Contact", "Kind", "Kit", "Side", "ValueForm"]
