"""``snapcheck read PHOTO...``: photos to layout files, JSON readings and annotated pictures."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from snapcheck import api
from snapcheck.cli._common import add_kit, kit_of, make_folder, write_file
from snapcheck.cli._output import complain, document, print_json, say
from snapcheck.errors import SnapcheckError
from snapcheck.words import json_text, shown, tr

if TYPE_CHECKING:
    from snapcheck.api import PhotoReading
    from snapcheck.photo import Reading


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "photos", metavar="PHOTO", nargs="+", help="JPEG, PNG, WebP or HEIC picture of a build"
    )
    parser.add_argument(
        "-o", "--out", metavar="FOLDER", help="where the results go (default: beside each photo)"
    )
    parser.add_argument(
        "--together", action="store_true", help="the photos show one build: read them together, as the first"
    )
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    builds = [args.photos] if args.together else [[name] for name in args.photos]
    code = 0
    for names in builds:
        path = Path(names[0])
        try:
            reading = api.read(path, also=[Path(n) for n in names[1:]], kit=kit)
        except SnapcheckError as error:
            code = error.exit_code
            if args.json:
                told = {"name": error.name, "message": error.message, "way_out": error.way_out}
                print_json(document("error", {"photo": path.name, "error": {"place": error.place, **told}}))
            complain(str(error))
            continue
        _tell(args, path, reading)
    return code


def _tell(args: argparse.Namespace, path: Path, reading: PhotoReading) -> None:
    data = document("reading", reading.to_json())
    if args.json:
        print_json(data)
        if not args.out:
            return
    folder = Path(args.out) if args.out else path.parent
    make_folder(folder)
    stem = folder / f"{path.stem}-read"
    write_file(stem.with_suffix(".board"), reading.layout + _doubts(reading))
    write_file(stem.with_suffix(".json"), json_text(data, indent=1) + "\n")
    write_file(stem.with_suffix(".jpg"), reading.annotated())
    if args.json:
        return
    unsure = [str(cell) for cell in reading.unsure]
    say(
        tr(
            "{photo}: plate {columns} by {rows}, {n} cubes, {taps} taps, {leads} leads -> {out}.*",
            photo=path.name,
            columns=reading.columns,
            rows=reading.rows,
            n=len(reading.cubes),
            taps=len(reading.taps),
            leads=len(reading.leads),
            out=stem,
        )
    )
    if unsure:
        say(tr("  look at these yourself: {cells}", cells=", ".join(unsure)))
    for note in reading.remarks:
        say(f"  {shown(note)}")


def _doubts(reading: Reading) -> str:
    """Lines that keep what is unsure from passing for what stands on the plate, until a person has looked."""
    lines = []
    for cell in reading.unsure:
        cube = reading.cubes.get(cell)
        why = (
            tr("it is not clear whether anything stands there") if cube is None else cube.reason or cube.state
        )
        lines.append(f"{cell} {why}")
    lines += [f"tap {tap.seam}" for tap in reading.unsure_taps]
    lines += [f"lead {lead.lead}" for lead in reading.unsure_leads]
    lines += list(reading.remarks)
    return "".join(f"\ndoubt {' '.join(line.split())}" for line in lines) + "\n" * bool(lines)
