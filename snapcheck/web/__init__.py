"""The bench page: phones at the bench, a desk for the teacher, one server on the teacher's computer."""

from snapcheck.web._app import make_app, make_site
from snapcheck.web._qr import qr_lines
from snapcheck.web._serve import Opened, serve
from snapcheck.web._settings import Limits, Settings

__all__ = ["Limits", "Opened", "Settings", "make_app", "make_site", "qr_lines", "serve"]
