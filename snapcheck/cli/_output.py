"""What comes out of a command: in any encoding, without what libraries print, details in a log."""

from __future__ import annotations

import codecs
import logging
import os
import sys
import tempfile
import threading
import traceback
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from snapcheck import __version__
from snapcheck.errors import InputError
from snapcheck.words import json_text, shown, system_says, tr

if TYPE_CHECKING:
    from rich.console import Console

LOG = logging.getLogger("snapcheck")

#: what stands for a character that the output's encoding lacks; drawings keep their width
_INSTEAD = {
    "→": "->", "←": "<-", "↔": "<->", "…": "...", "Ω": "Ohm", "µ": "u", "μ": "u", "±": "+/-", "×": "x",
    "−": "-", "–": "-", "—": "-", "°": "deg", "≥": ">=", "≤": "<=", "≈": "~", "∞": "inf", "√": "sqrt",
    "·": ".", "•": "*", "✓": "+", "✗": "x", "○": "o", "◎": "o", "⏚": "G", "“": '"', "”": '"', "„": '"',
    "‘": "'", "’": "'", "─": "-", "│": "|", "╴": "-", "╶": "-", "╵": "|", "╷": "|", "╫": "#", "━": "-",
    "ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ß": "ss", "\u2068": "", "\u2069": "",
    "\u00a0": " ", "\u202f": " ", "\u2009": " ",
    **dict.fromkeys("┌┐└┘├┤┬┴┼", "+"),
}  # fmt: skip


def _in_other_signs(error: UnicodeError) -> tuple[str, int]:
    """An error handler for `codecs`: a spelling in ASCII, an escape where there is none."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(map(_spelled, error.object[error.start : error.end])), error.end


def _spelled(letter: str) -> str:
    if letter in _INSTEAD:
        return _INSTEAD[letter]
    bare = unicodedata.normalize("NFKD", letter).encode("ascii", "ignore").decode()
    return bare or letter.encode("unicode_escape").decode("ascii")


codecs.register_error("snapcheck", _in_other_signs)


@contextmanager
def any_encoding() -> Iterator[None]:
    """Within this, printing fails neither for a character that the encoding lacks nor for a closed stream."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:  # closed by whoever started us
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115
    streams = [s for s in (sys.stdout, sys.stderr) if hasattr(s, "reconfigure")]
    before = [s.errors for s in streams]
    for stream in streams:
        stream.reconfigure(errors="snapcheck")
    try:
        yield
    finally:
        for stream, errors in zip(streams, before, strict=True):
            with suppress(ValueError, OSError):  # closed, or full, meanwhile
                stream.reconfigure(errors=errors)


def complain(text: str) -> None:
    """One line on standard error; where that cannot be written, the exit code must do."""
    with suppress(OSError, ValueError):
        print(f"snapcheck: {shown(text)}", file=sys.stderr, flush=True)


def say(text: object = "", *, file: TextIO | None = None) -> None:
    """Print lines for a person, who may stop reading; nothing in them is obeyed by a terminal."""
    try:
        print(shown(text, lines=True), file=file)
    except BrokenPipeError:
        output_to_nowhere()


def for_output(text: str) -> str:
    """A file's text on standard output: as it is, but safe to show where a person reads it."""
    return shown(text, lines=True, isolate=False) if sys.stdout.isatty() else text


def console(**options: Any) -> Console:
    """Rich's console, which takes no text for its own markup: a name may hold brackets."""
    from rich.console import Console

    class Told(Console):
        def on_broken_pipe(self) -> None:
            output_to_nowhere()  # rich would leave with 1

    return Told(markup=False, emoji=False, highlight=False, **options)


def document(form: str, data: dict[str, Any]) -> dict[str, Any]:
    """Data under the name of its form, which is published in ``cli/data/FORM.schema.json``."""
    return {"form": f"snapcheck-{form}-1", "program": f"snapcheck {__version__}", **data}


def print_json(data: Any, indent: int | None = None) -> None:
    """One JSON document on standard output, in ASCII where the output is no UTF-8."""
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower().replace("-", "")
    print(json_text(data, indent, ascii_only=encoding != "utf8"))
    flush_output()


@contextmanager
def silent_libraries(log: str | None) -> Iterator[None]:
    """Within this, what libraries print or warn of goes to the log, or nowhere, also from worker processes.

    Args:
        log: the log file (it is added to), None for no log.

    Raises:
        InputError: the log cannot be written.
    """
    handler: logging.Handler = logging.NullHandler()
    if log is not None:
        try:
            # for its owner alone, as names stand in it; a pipe that nobody reads is not waited for
            flags = os.O_WRONLY | os.O_CREAT | os.O_APPEND | getattr(os, "O_NONBLOCK", 0)
            os.close(os.open(log, flags, 0o600))
            handler = logging.FileHandler(log, encoding="utf-8", errors="backslashreplace")
        except OSError as error:
            raise InputError(
                tr("cannot be written: {why}.", why=system_says(error)),
                place=log,
                way_out=tr("Choose another place for the file."),
            ) from None
        handler.setFormatter(_OneLine("%(asctime)s %(process)d %(levelname)s %(name)s: %(message)s"))
    root, level = logging.getLogger(), LOG.level
    root.addHandler(handler)
    LOG.setLevel(logging.DEBUG if log is not None else logging.WARNING)
    logging.captureWarnings(True)
    hooks = threading.excepthook, sys.unraisablehook
    threading.excepthook = sys.unraisablehook = _unseen
    try:
        with _standard_error_apart(os.devnull if log is None else log):
            yield
    finally:
        threading.excepthook, sys.unraisablehook = hooks
        logging.captureWarnings(False)
        LOG.setLevel(level)
        root.removeHandler(handler)
        handler.close()


def _unseen(args: Any) -> None:
    """An error in a thread, or while something is cleared away: whoever waits for the result tells it."""
    LOG.error("beside the work", exc_info=(args.exc_type, args.exc_value, args.exc_traceback))


class _OneLine(logging.Formatter):
    """Lines of a log are the log's own: what is in a message cannot begin one."""

    def format(self, record: logging.LogRecord) -> str:
        return shown(super().format(record), lines=True, isolate=False).replace("\n", "\n    ")


@contextmanager
def _standard_error_apart(elsewhere: str) -> Iterator[None]:
    """File descriptor 2, on which libraries written in C print, leads elsewhere; `sys.stderr` does not."""
    ours: TextIO = sys.stderr
    try:
        kept = os.dup(2)
    except OSError:  # closed: nothing is printed there
        yield
        return
    try:
        mine = ours.fileno() == 2
    except (AttributeError, OSError, ValueError):  # none, or one that is no file
        mine = False
    if mine:
        ours.flush()
        sys.stderr = open(kept, "w", encoding=ours.encoding, errors=ours.errors, buffering=1, closefd=False)  # noqa: SIM115
    target = os.open(elsewhere, os.O_WRONLY | os.O_APPEND)
    os.dup2(target, 2)
    os.close(target)
    try:
        yield
    finally:
        if mine:
            with suppress(OSError):
                sys.stderr.flush()
            sys.stderr = ours
        os.dup2(kept, 2)
        os.close(kept)


def told_in_full(error: BaseException, log: str | None) -> str:
    """Write down all that is known of an unexpected error; returns the name of the file, "" for none."""
    if log is not None:
        LOG.critical("unexpected", exc_info=error)
        return log
    try:
        handle, name = tempfile.mkstemp(prefix="snapcheck-", suffix=".log")  # readable by its owner alone
        with os.fdopen(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(shown("".join(traceback.format_exception(error)), lines=True, isolate=False))
    except OSError:
        return ""
    return name


def flush_output() -> None:
    """What is printed is written, or dropped where nobody reads it.

    Raises:
        OSError: a full disk, say; what was printed is dropped then, too.
    """
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        output_to_nowhere()
    except OSError:
        output_to_nowhere()
        raise


def output_to_nowhere() -> None:
    """What is still to be printed is dropped: nobody reads it, or it has no place."""
    with suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
