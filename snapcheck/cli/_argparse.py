"""What the standard library's argparse says by itself, in the language that is spoken."""

from __future__ import annotations

import argparse
import difflib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

from snapcheck.words import shown, tr

#: argparse's sentences that a user can come to see (Python 3.11 to 3.14); the extraction tool knows this name
ARGPARSE_WORDS = (
    "usage: ",
    "positional arguments",
    "options",
    "show this help message and exit",
    "show program's version number and exit",
    "%(prog)s: error: %(message)s\n",
    "argument %(argument_name)s: %(message)s",
    "the following arguments are required: %s",
    "one of the arguments %s is required",
    "unrecognized arguments: %s",
    "not allowed with argument %s",
    "expected one argument",
    "expected at most one argument",
    "expected at least one argument",
    "expected %s argument",
    "expected %s arguments",
    "ambiguous option: %(option)s could match %(matches)s",
    "ignored explicit argument %r",
    "invalid choice: %(value)r (choose from %(choices)s)",
    "invalid %(type)s value: %(value)r",
    "unknown parser %(parser_name)r (choices: %(choices)s)",
)


class Parser(argparse.ArgumentParser):
    """The standard library's, which also says what may have been meant, and shows nothing raw."""

    def error(self, message: str) -> NoReturn:
        super().error(shown(message, lines=True))

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        try:
            super()._check_value(action, value)
        except argparse.ArgumentError as error:
            near = difflib.get_close_matches(str(value), [str(c) for c in action.choices or ()], 1)
            if near:
                hint = tr("Did you mean '{near}'?", near=near[0])
                raise argparse.ArgumentError(action, f"{error.message}. {hint}") from None
            raise


def parsed(parser: argparse.ArgumentParser, words: list[str]) -> argparse.Namespace:
    """As ``parser.parse_args(words)``, but what a verb does not know is told with that verb's usage,
    and with what may have been meant."""
    args, left = parser.parse_known_args(words)
    if not left:
        return args
    teller = parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            teller = action.choices.get(getattr(args, action.dest) or "", parser)
    told = tr("unrecognized arguments: %s") % " ".join(left)
    known = [option for option in teller._option_string_actions if option.startswith("--")]
    wrong = next((word.partition("=")[0] for word in left if word.startswith("-")), "")
    if near := difflib.get_close_matches(wrong, known, 1):
        told += ". " + tr("Did you mean '{near}'?", near=near[0])
    teller.error(told)


@contextmanager
def spoken() -> Iterator[None]:
    """Within this, argparse speaks the active language.

    It looks its sentences up under the module's own names `_` and `ngettext` whenever it says one, and
    gettext's catalogues, which these stand for, would have to be compiled.
    """
    names = vars(argparse)
    before = {name: names[name] for name in ("_", "ngettext")}
    names.update(_=_one, ngettext=_one_or_many)
    try:
        yield
    finally:
        names.update(before)


def _one(message: str) -> str:
    return tr(message)


def _one_or_many(one: str, many: str, n: int) -> str:
    return tr(one if n == 1 else many)
