"""``snapcheck bench [COURSE]``: open the bench page for the phones in the room."""

from __future__ import annotations

import argparse
import getpass
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from snapcheck.cli._common import print_json
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError
from snapcheck.words import active_language, shown, tr

if TYPE_CHECKING:
    from snapcheck.web import Opened

_N = TypeVar("_N", int, float)
#: where things are kept: beside a course, or here
_IN_COURSE, _HERE = "bench", "snapcheck-bench"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("course", metavar="COURSE", nargs="?", help="the course folder (none: samples)")
    parser.add_argument(
        "--phones",
        action="store_true",
        help="let in phones of this network, not this computer alone",
    )
    parser.add_argument("--address", metavar="ADDRESS", help="listen on this address of this computer")
    parser.add_argument("--port", type=int, default=8420, metavar="N", help="port (default: 8420)")
    parser.add_argument(
        "--name", action="append", default=[], metavar="NAME", help="a host name under which it is asked, too"
    )
    parser.add_argument(
        "--tls", action="store_true", help="encrypted, with a certificate made here (browsers ask once)"
    )
    parser.add_argument(
        "--keep",
        metavar="FOLDER",
        help="where all is kept (default: COURSE/bench, or ./snapcheck-bench)",
    )
    parser.add_argument(
        "--designs",
        metavar="FOLDER",
        help="where your own designs lie (default: COURSE/designs, or within --keep)",
    )
    parser.add_argument("--keep-hours", type=float, default=24.0, metavar="H", help="delete photos after H h")
    parser.add_argument("--minutes", type=float, metavar="M", help="end by itself after M minutes")
    parser.add_argument("--benches", type=int, default=40, metavar="N", help="highest bench number")
    parser.add_argument("--workers", type=int, default=0, metavar="N", help="processes (usual: one a core)")
    parser.add_argument("--new-passphrase", action="store_true", help="make another passphrase for the desk")
    parser.add_argument("--ask-passphrase", action="store_true", help="ask for a passphrase of your own")


def run(args: argparse.Namespace) -> int:
    from snapcheck.web import Settings, serve

    course = None if args.course is None else Path(args.course)
    usual = Path(_HERE) if course is None else course / _IN_COURSE
    if course is not None and not course.is_dir():
        raise InputError(tr("there is no such course folder."), place=course)
    settings = Settings(
        folder=Path(args.keep) if args.keep else usual,
        course=course,
        address=args.address or ("0.0.0.0" if args.phones else "127.0.0.1"),
        port=_within(args.port, 0, 65_535, "--port"),
        names=tuple(args.name),
        tls=args.tls,
        benches=_within(args.benches, 1, 999, "--benches"),
        keep_h=_within(args.keep_hours, 0.1, 24 * 366, "--keep-hours"),
        workers=_within(args.workers, 0, 64, "--workers"),
        language=active_language(),
        designs=Path(args.designs) if args.designs else None,
    )
    phrase = _own_phrase() if args.ask_passphrase else ""

    def tell(opened: Opened) -> None:
        if args.json:
            told = {k: str(v) if isinstance(v, Path) else v for k, v in asdict(opened).items()}
            print_json(document("bench", told))
        else:
            _tell(opened, settings.address)
        sys.stdout.flush()

    serve(settings, tell, new_phrase=args.new_passphrase, phrase=phrase, minutes=args.minutes)
    return 0


def _within(value: _N, least: _N, most: _N, name: str) -> _N:
    if not least <= value <= most:
        raise InputError(tr("{least} to {most} is accepted.", least=least, most=most), place=name)
    return value


def _own_phrase() -> str:
    phrase = getpass.getpass(tr("Passphrase for the desk:") + " ")
    if len(phrase) < 10:
        raise InputError(tr("the passphrase is too short: ten signs at least."), place="--ask-passphrase")
    return phrase


def _tell(opened: Opened, address: str) -> None:
    from snapcheck.web import qr_lines

    say(tr("The bench page is open: {address}", address=opened.address))
    if opened.local:
        say(tr("Only this computer can reach it. To let the phones of this room in: --phones"))
    else:
        say(tr("Whoever is in the network of this computer can reach it (it listens on {address}); the class "
               "code lets phones in, the passphrase the teacher.", address=address))  # fmt: skip
    if opened.fingerprint:
        say(tr("Encrypted with a certificate made here; browsers ask once. SHA-256: {digest}",
               digest=opened.fingerprint))  # fmt: skip
    say()
    for line in qr_lines(opened.join):
        say("  " + line)
    say()
    say(tr("Class code:     {code}", code=opened.code))
    say(tr("For phones:     {address}", address=opened.join))
    say(tr("Teacher's desk: {address}", address=opened.desk))
    if opened.phrase:
        say(
            tr(
                "Passphrase:     {phrase}   (write it down: only its hash is kept)",
                phrase=opened.phrase,
            )
        )
    else:
        say(tr("Passphrase:     the one that was set before (--new-passphrase makes another)"))
    say(tr("Everything it keeps lies in {folder}; Ctrl-C ends it.", folder=shown(opened.folder)))
