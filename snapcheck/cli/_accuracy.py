"""``snapcheck accuracy FOLDER``: how well photos are read, measured on labelled pictures of one's own."""

from __future__ import annotations

import argparse
import json
import resource
import sys
import time
from pathlib import Path
from typing import Any

from snapcheck.board import board_from_json
from snapcheck.cli._common import add_kit, kit_of, print_json, write_file
from snapcheck.errors import InputError, PhotoError
from snapcheck.words import tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder", metavar="FOLDER", help="pictures NAME.jpg with their truth NAME.json beside them"
    )
    parser.add_argument(
        "--confusion", metavar="PICTURE", help="write which kinds are taken for which (PNG or SVG)"
    )
    parser.add_argument("--mistakes", action="store_true", help="list every mistake")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    from snapcheck.photo import read_photo
    from snapcheck.photo import score as scoring

    kit = kit_of(args)
    folder = Path(args.folder)
    pairs = sorted(
        (p, p.with_suffix(".json"))
        for p in folder.glob("*")
        if p.suffix.lower() in (".jpg", ".jpeg", ".png", ".webp", ".heic")
    )
    pairs = [(photo, truth) for photo, truth in pairs if truth.exists()]
    if not pairs:
        raise InputError(
            tr("no labelled pictures here."),
            place=folder,
            way_out=tr("Put NAME.jpg and NAME.json side by side."),
        )
    total = scoring.Score()
    by_difficulty: dict[str, Any] = {}
    seconds = []
    for number, (photo, truth_file) in enumerate(pairs):
        try:
            data = json.loads(truth_file.read_text(encoding="utf-8"))
        except ValueError as error:
            raise InputError(tr("is no JSON: {why}.", why=str(error)), place=truth_file) from None
        truth = board_from_json(data, kit)
        part = by_difficulty.setdefault(str(data.get("difficulty", "ordinary")), scoring.Score())
        start = time.perf_counter()
        try:
            reading = read_photo(photo, kit)
        except PhotoError as error:
            for s in (total, part):
                scoring.add_failure(s, truth, photo.name, error.message)
            continue
        seconds.append(time.perf_counter() - start)
        for s in (total, part):
            scoring.add(s, truth, reading, kit)
        if sys.stderr.isatty():
            print(f"\r{number + 1}/{len(pairs)}", end="", file=sys.stderr)
    if args.confusion:
        write_file(
            args.confusion, _confusion(total, Path(args.confusion).suffix.lower().lstrip(".") or "png")
        )
    rest = sorted(seconds[1:] or seconds)
    middle = rest[len(rest) // 2] if rest else None
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    result: dict[str, Any] = {
        "pictures": len(pairs),
        "figures": scoring.figures(total),
        "by_difficulty": {k: scoring.figures(s) for k, s in by_difficulty.items()},
        "counts": dict(total.count),
        "kinds": {k: dict(c) for k, c in sorted(total.kinds.items())},
        "turns": {str(k): dict(c) for k, c in sorted(total.turns.items())},
        "confusion": [[a, b, n] for (a, b), n in total.confusion.most_common()],
        "median_seconds": middle,
        "peak_memory_MB": memory,
        "mistakes": total.mistakes,
    }
    if args.json:
        print_json(result)
        return 0
    for name, value in scoring.figures(total).items():
        print(f"{name.replace('_', ' '):16} {100 * value:8.3f} %")
    print(
        tr(
            "{n} pictures, {c} cubes; {t:.2f} s a picture (median), {m:.0f} MB at most",
            n=len(pairs),
            c=total.count["cubes"],
            t=middle or 0.0,
            m=memory,
        )
    )
    for line in total.mistakes if args.mistakes else ():
        print(line)
    return 0


def _confusion(score: Any, form: str) -> bytes:
    """Kinds that were taken for others, as a picture."""
    import io

    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt
    import numpy as np

    names = sorted({a for a, _ in score.confusion} | {b for _, b in score.confusion} | {"straight"})
    table = np.zeros((len(names), len(names)))
    for (a, b), n in score.confusion.items():
        table[names.index(a), names.index(b)] = n
    fig, ax = plt.subplots(figsize=(3 + 0.32 * len(names), 2.5 + 0.32 * len(names)))
    ax.imshow(table, cmap="cividis_r")
    ax.set_xticks(range(len(names)), names, rotation=90)
    ax.set_yticks(range(len(names)), names)
    ax.set_xlabel(tr("read as"))
    ax.set_ylabel(tr("is"))
    for (i, j), n in np.ndenumerate(table):
        if n:
            ax.text(
                j, i, str(int(n)), ha="center", va="center", color="white" if n > table.max() / 2 else "black"
            )
    fig.tight_layout()
    out = io.BytesIO()
    fig.savefig(out, format=form if form in ("png", "svg") else "png", dpi=110)
    plt.close(fig)
    return out.getvalue()
