"""``snapcheck rules FILE``: is it safe to power, and what is wrong with it by the rules of the trade?"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from snapcheck import api
from snapcheck.check import Verdict
from snapcheck.circuit import RuleBook, bundled_rules, load_rules
from snapcheck.cli._common import add_kit, add_structure_only, print_json, verdict_json
from snapcheck.cli._findings_text import print_findings, verdict_line
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError
from snapcheck.findings import Severity, finding_to_json
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("file", metavar="FILE", nargs="?", help="a layout file, or JSON as 'read' writes it")
    parser.add_argument("--list", action="store_true", help="list the rules, how bad each is, and its limits")
    parser.add_argument("--book", metavar="FILE", help="a rule file of your own (TOML)")
    parser.add_argument("--without", metavar="RULE", action="append", default=[], help="switch a rule off")
    add_structure_only(parser)
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    book = api.without_rules(load_rules(args.book) if args.book else bundled_rules(), args.without)
    if args.list:
        return _list(args, book)
    if args.file is None:
        raise InputError(tr("no board is given."), way_out=tr("Give a layout file, or --list."))
    result = api.rules(Path(args.file), kit=args.kit, book=book, calculate=not args.structure_only)
    for note in result.notes:
        say(note, file=sys.stderr)
    findings, verdict = result.findings, result.verdict
    if args.json:
        print_json(
            document(
                "rules",
                {
                    "file": args.file,
                    **verdict_json(verdict),
                    "simulated": result.point is not None,
                    "findings": [finding_to_json(f) for f in findings],
                },
            )
        )
        return verdict.exit_code
    print_findings(findings)
    if findings:
        say()
    say(verdict_line(verdict))
    if verdict is Verdict.READY and not any(f.severity < Severity.NOTE for f in findings):
        say(tr("Keep to the rules of your lab; when in doubt, ask somebody who knows."))
    return verdict.exit_code


def _list(args: argparse.Namespace, book: RuleBook) -> int:
    if args.json:
        print_json(
            document(
                "rule-list",
                {
                    "rules": {
                        name: {
                            "enabled": rule.enabled,
                            "severity": rule.severity.name.lower(),
                            "source": rule.source,
                            "limits": dict(rule.limits),
                        }
                        for name, rule in book.rules.items()
                    }
                },
            )
        )
        return 0
    for name, rule in book.rules.items():
        limits = ", ".join(f"{key} {value:g}" for key, value in rule.limits.items())
        state = "" if rule.enabled else tr(" (off)")
        say(f"{name:26} {rule.severity.name.lower():10}{state} {limits}".rstrip())
    return 0
