"""The command line: thin. Parse, call, print, exit code."""

from __future__ import annotations

import argparse
import contextlib
import importlib
import os
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from snapcheck import __version__
from snapcheck.cli._argparse import Parser, parsed, spoken
from snapcheck.cli._output import (
    LOG,
    any_encoding,
    complain,
    document,
    flush_output,
    output_to_nowhere,
    print_json,
    silent_libraries,
    told_in_full,
)
from snapcheck.errors import InputError, SnapcheckError
from snapcheck.words import languages, surrounding_language, system_says, tr, use_language

#: verb -> (module with `arguments(parser)` and `run(args) -> int`, one-line help).
#: Modules are imported only when their verb is used, so that --help stays fast.
VERBS: dict[str, tuple[str, str]] = {
    "check": ("snapcheck.cli._check", "check a photo of a build against its plan: findings and a report"),
    "read": ("snapcheck.cli._read", "read photos of builds: layout file, JSON, annotated picture"),
    "accuracy": ("snapcheck.cli._accuracy", "measure how well labelled photos are read"),
    "layout": ("snapcheck.cli._layout", "read a layout file, say what is wrong or odd in it"),
    "draw": ("snapcheck.cli._draw", "draw a board's top view (SVG, PNG)"),
    "sheet": ("snapcheck.cli._sheet", "write a build sheet: steps, parts, what a meter should show"),
    "so-far": ("snapcheck.cli._so_far", "say how far a build on the way has come, and what is next"),
    "lay": ("snapcheck.cli._lay", "lay parts and nets on a plate: a board that is ready to build"),
    "kit": ("snapcheck.cli._kit", "list the kinds of cubes, or all about one kind"),
    "describe": ("snapcheck.cli._describe", "add a kind of cube to a kit, asked for what is missing"),
    "value": ("snapcheck.cli._value", "say what a printed value means"),
    "simulate": ("snapcheck.cli._simulate", "calculate what a board does: voltages, gain, waveforms"),
    "find": ("snapcheck.cli._find", "find the fault of a build that looks right, with a meter"),
    "spice": ("snapcheck.cli._spice", "write a SPICE netlist of a board"),
    "nets": ("snapcheck.cli._nets", "list the nets of a board: which terminals are joined"),
    "rules": ("snapcheck.cli._rules", "check a board by the rules of the trade"),
    "compare": ("snapcheck.cli._compare", "compare a build with its plan"),
    "new": ("snapcheck.cli._new", "write a commented plan, course or kit to begin from"),
    "completion": ("snapcheck.cli._completion", "print what a shell needs to complete command lines"),
    "box": ("snapcheck.cli._box", "can a class build it out of this box, and what may stand in?"),
    "parts": ("snapcheck.cli._parts", "list what to take out of the box (CSV, HTML, PDF)"),
    "count": ("snapcheck.cli._count", "count cubes laid out in a photo against a list"),
    "paper": ("snapcheck.cli._paper", "print tiles, a plate and corner markers to cut out"),
    "primer": ("snapcheck.cli._primer", "boards to lay and photograph, so that a kit of yours can be learnt"),
    "teach": ("snapcheck.cli._teach", "learn a kit with artwork of its own from photos of the primer"),
    "adopt": ("snapcheck.cli._adopt", "make a plan of photos of a reference build"),
    "grade": ("snapcheck.cli._grade", "grade what a class handed in"),
    "review": ("snapcheck.cli._grade_review", "list what waits for a person, and what each choice would do"),
    "decide": ("snapcheck.cli._grade_decide", "decide on a picture or a grade, with a reason; take it back"),
    "export": ("snapcheck.cli._grade_export", "write gradebook, feedback, overview, audit file of a course"),
    "alike": ("snapcheck.cli._grade_alike", "list nearly the same pictures handed in under different names"),
    "cards": ("snapcheck.cli._grade_cards", "print bench cards that say in the picture whose build it is"),
    "rubric": ("snapcheck.cli._grade_rubric", "check a rubric, try it on a sample, write it as a sheet"),
    "bench": (
        "snapcheck.cli._bench",
        "open the bench page: phones take the photos, the teacher has a desk",
    ),
    "forget": ("snapcheck.cli._grade_forget", "erase one student of a course everywhere"),
    "guide": (
        "snapcheck.cli._guide",
        "how to take photos, write plans, grade a class: a chapter of the guide",
    ),
}

#: verbs that write what is known of students
PERSONAL = ("bench", "grade", "review", "decide", "export", "alike", "cards", "forget")

_EXIT_CODES = """exit codes:
  0  done; nothing to object to
  1  done; something to object to (figures that are not met, cubes that are missing, places for a person)
  2  the command line itself is wrong
 10  works differently, 11 do not power, 12 can't tell (a person must look), 13 does not work
 20  other error, 21 input file, 22 data file (kit, limits, rubric), 23 photo (take it again),
 24 circuit cannot be solved, 25 a library is not installed, 26 gradebook (damaged, full, in use),
 70 unexpected error (a mistake in snapcheck itself), 130 interrupted
"""
#: in place of a verb: all of them
_EVERY = "*"
#: what nobody foresaw; sysexits.h (4.0BSD) calls it EX_SOFTWARE
UNEXPECTED = 70


def _parser(verb: str | None) -> Parser:
    parser = Parser(
        prog="snapcheck",
        description=tr("Check magnetic circuit-cube builds from a photo, by calculation."),
        epilog=tr(_EXIT_CODES),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"snapcheck {__version__}")
    _add_language(parser)
    verbs = parser.add_subparsers(dest="verb", metavar="VERB")
    for name, (module, summary) in VERBS.items():
        sub = verbs.add_parser(name, help=tr(summary), description=tr(summary))
        sub.add_argument("--json", action="store_true", help="print JSON instead of text")
        sub.add_argument("--log", metavar="FILE", help="add what happens, with all details, to this file")
        _add_language(sub)
        if verb in (name, _EVERY):
            importlib.import_module(module).arguments(sub)
        _translate(sub)
    _translate(parser)
    return parser


def full_parser() -> Parser:
    """The command line with the options of every verb, for completion."""
    return _parser(_EVERY)


def _translate(parser: argparse.ArgumentParser) -> None:
    for action in parser._actions:
        action.help = tr(action.help) if action.help else action.help


def _add_language(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--lang",
        metavar="LANGUAGE",
        default=argparse.SUPPRESS,
        help=tr("en, de, or one of your own (default: what the surroundings speak)"),
    )
    parser.add_argument(
        "--locale",
        metavar="FOLDER",
        default=argparse.SUPPRESS,
        help=tr("a folder with catalogues of your own"),
    )


def _speak(words: Sequence[str]) -> None:
    """The language that ``--lang`` or the surroundings ask for; before anything is said, so by hand."""

    def given(name: str) -> str | None:
        for word, following in zip(words, [*words[1:], None], strict=False):
            if word == name:
                return following
            if word.startswith(f"{name}="):
                return word.split("=", 1)[1]
        return None

    folder = Path(locale) if (locale := given("--locale")) else None
    language = given("--lang")
    try:
        known = use_language(language or surrounding_language(extra_dir=folder), folder)
    except ValueError as error:
        use_language("en")
        raise InputError(
            tr("the catalogue of the language is damaged: {why}.", why=error),
            place="--locale",
            way_out=tr("Mend it, or leave it away."),
        ) from None
    if language is not None and not known:
        raise InputError(
            tr("there is no catalogue for the language '{language}'.", language=language),
            place="--lang",
            way_out=tr("Accepted: {names}.", names=", ".join(languages(folder))),
        )


@contextlib.contextmanager
def _for_the_user_alone() -> Iterator[None]:
    """Files and folders made meanwhile can be read by nobody else, whatever the usual permissions are; those
    that are there keep what their owner gave them."""
    usual = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(usual)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code. Nobody but the log ever sees a traceback."""
    words = list(sys.argv[1:] if argv is None else argv)
    log: str | None = None
    with any_encoding():
        try:
            _speak(words)
            with spoken():
                parser = _parser(next((word for word in words if word in VERBS), None))
                args = parsed(parser, words)
                if args.verb is None:
                    parser.print_help()
                    return 2
            log = args.log
            return _run(args)
        except SnapcheckError as error:
            return _told(error, words)
        except KeyboardInterrupt:
            complain(tr("interrupted"))
            return 130
        except BrokenPipeError:
            output_to_nowhere()
            return 0
        except Exception as error:
            return _unexpected(error, words, log)


def _run(args: argparse.Namespace) -> int:
    """The verb; what goes wrong in it stands in the log as well."""
    with silent_libraries(args.log):
        start = time.monotonic()
        LOG.info("snapcheck %s, Python %s on %s: %s", __version__, sys.version.split()[0], sys.platform, args)
        try:
            with _for_the_user_alone() if args.verb in PERSONAL else contextlib.nullcontext():
                code: int = importlib.import_module(VERBS[args.verb][0]).run(args)
            flush_output()
        except SnapcheckError as error:
            LOG.error("%s: %s", error.name, error, exc_info=True)
            raise
        except BrokenPipeError:
            raise
        except OSError as error:  # a full disk, a folder that may not be read
            LOG.error("OSError", exc_info=True)
            with contextlib.suppress(OSError):
                flush_output()
            why = tr("the system refuses: {why}.", why=system_says(error))
            raise SnapcheckError(why, place=error.filename) from None
        except Exception as error:
            return _unexpected(error, ["--json"] * args.json, args.log)
        LOG.info("exit code %d after %.1f s", code, time.monotonic() - start)
        return code


def _unexpected(error: Exception, words: Sequence[str], log: str | None) -> int:
    where = told_in_full(error, log)
    told = tr("an unexpected error ({name}): a mistake in snapcheck itself.", name=type(error).__name__)
    way_out = tr("The details, without anything from a photo, are in {file}.", file=where) if where else ""
    return _told(SnapcheckError(told, way_out=way_out), words, UNEXPECTED)


def _told(error: SnapcheckError, words: Sequence[str], code: int | None = None) -> int:
    """An error as it is told to people, and to programs that asked for JSON; returns the exit code."""
    if "--json" in words:
        told = {"message": error.message, "place": error.place, "way_out": error.way_out}
        name = error.name if code is None else "UnexpectedError"
        print_json(document("error", {"error": {"name": name, **told}}))
    complain(str(error))
    return error.exit_code if code is None else code
