"""``snapcheck completion SHELL``: what a shell needs to complete the words of the command line."""

from __future__ import annotations

import argparse
import re
import sys

from snapcheck.cli import full_parser
from snapcheck.cli._common import print_json
from snapcheck.cli._output import document
from snapcheck.errors import MissingLibraryError
from snapcheck.words import tr

SHELLS = ("bash", "zsh", "fish")
#: names of arguments that are files or folders
_FILES = re.compile(
    r"(?i)file|photo|design|built|folder|course|picture|out|plans|reading|book|limits|kit|log"
)


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "shell", choices=SHELLS, help='bash: put  eval "$(snapcheck completion bash)"  into ~/.bashrc'
    )


def run(args: argparse.Namespace) -> int:
    script = script_for(args.shell)
    if args.json:
        print_json(document("completion", {"shell": args.shell, "script": script}))
    else:
        sys.stdout.write(script)
    return 0


def script_for(shell: str) -> str:
    """The completion script of a shell, for all verbs with all their options.

    Raises:
        MissingLibraryError: shtab is not installed.
    """
    try:
        import shtab
    except ImportError:
        raise MissingLibraryError(
            tr("Completion needs the library shtab, which is not installed."),
            way_out=tr("Run: pip install shtab."),
        ) from None
    parser = full_parser()
    for sub in (parser, *_verbs(parser)):
        for action in sub._actions:
            takes_word = action.nargs != 0 and not action.choices
            names = f"{action.metavar or ''} {action.dest} {' '.join(action.option_strings)}"
            if takes_word and _FILES.search(names):
                action.complete = shtab.FILE  # type: ignore[attr-defined]
    return str(shtab.complete(parser, shell)).rstrip() + "\n"


def _verbs(parser: argparse.ArgumentParser) -> list[argparse.ArgumentParser]:
    return [
        sub
        for action in parser._actions
        if isinstance(action, argparse._SubParsersAction)
        for sub in action.choices.values()
    ]
