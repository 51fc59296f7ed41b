"""``snapcheck new WHAT NAME``: a commented file, or a course folder, to begin from."""

from __future__ import annotations

import argparse

from snapcheck import api
from snapcheck.cli._common import print_json
from snapcheck.cli._output import document, say
from snapcheck.words import tr

_WHAT = ("design", "course", "kit", "box")


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("what", choices=_WHAT, help="a plan, a course, cubes of your own, what is in the box")
    parser.add_argument("name", metavar="NAME", help="of the file or folder; nothing is written over")


def run(args: argparse.Namespace) -> int:
    files = api.new(args.what, args.name)
    if args.json:
        print_json(document("new", {"what": args.what, "files": [str(f) for f in files]}))
        return 0
    for file in files:
        say(file)
    say(tr("Open {file}: what it says behind # explains the rest.", file=files[0]))
    return 0
