"""``snapcheck parts DESIGN...``: what to take out of the box, to print or for a spreadsheet."""

from __future__ import annotations

import argparse
from pathlib import Path

from snapcheck import api
from snapcheck.box import parts_csv, parts_page, piece_words
from snapcheck.cli._box import piece_json
from snapcheck.cli._common import add_kit, kit_of, write_file
from snapcheck.cli._output import document, print_json, say
from snapcheck.errors import InputError
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "designs",
        nargs="+",
        metavar="FILE",
        help="plans (or SPICE netlists: .cir, .net, .sp), taken together",
    )
    parser.add_argument("--benches", type=int, default=1, metavar="N", help="how many build at once")
    parser.add_argument("--box", metavar="BOX", help="a box file: says what is there and what is missing")
    parser.add_argument("-o", "--out", metavar="FILE", help="list.csv, list.html or list.pdf")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    listed = api.parts_list(args.designs, benches=args.benches, box=args.box, kit=kit)
    if args.out:
        out = Path(args.out)
        ending = out.suffix.lower()
        if ending == ".csv":
            write_file(out, parts_csv(listed, kit))
        elif ending in (".html", ".pdf"):
            from snapcheck.report import foot_css, html_to_pdf, style

            page = parts_page(listed, kit, style() + foot_css(tr("Parts list")))
            write_file(out, page if ending == ".html" else html_to_pdf(page))
        else:
            raise InputError(tr("lists are written as .csv, .html or .pdf."), place=out)
    if args.json:
        cubes = [
            {**piece_json(n.piece, kit), "needed": n.needed, "there": n.there if listed.boxed else None,
             "missing": n.missing if listed.boxed else None}
            for n in listed.cubes
        ]  # fmt: skip
        others = [{"what": n.what, "needed": n.needed, "there": n.there, "missing": n.missing}
                 for n in listed.loose]  # fmt: skip
        print_json(document("parts", {"title": listed.title, "benches": listed.benches, "cubes": cubes,
                                      "loose": others, "written": args.out}), indent=2)  # fmt: skip
    elif args.out:
        say(tr("The list is written to {out}.", out=args.out))
        missing = sum(n.missing for n in listed.cubes) + sum(n.missing for n in listed.loose)
        if listed.boxed and missing:
            say(tr("The box does not hold everything; missing: {n}.", n=missing))
    else:
        for need in listed.cubes:
            much = tr("  ({n} missing)", n=need.missing) if listed.boxed and need.missing else ""
            say(f"{need.needed:>5}  {piece_words(need.piece, kit)}{much}")
        for loose in listed.loose:
            much = tr("  ({n} missing)", n=loose.missing) if listed.boxed and loose.missing else ""
            say(f"{loose.needed:>5}  {tr(loose.what)}{much}")
    short = any(n.missing for n in listed.cubes) or any(n.missing for n in listed.loose)
    return int(listed.boxed and short)
