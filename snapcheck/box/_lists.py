"""Lists on paper and for spreadsheets: what to pack, what must come back, what is short."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from snapcheck.board import symbol_svg
from snapcheck.box._needs import Loose, Need
from snapcheck.box._pieces import piece_words, print_of
from snapcheck.csvtext import csv_text
from snapcheck.kit import Kit
from snapcheck.words import active_language, shown, tr


@dataclass(frozen=True)
class PartsList:
    """What a class takes out of the box.

    Attributes:
        title: of the design, or the designs.
        benches: how many.
        cubes, loose: see `Needs`; `there` of a cube is 0 where no box was given.
        boxed: whether a box was given.
    """

    title: str
    benches: int
    cubes: tuple[Need, ...]
    loose: tuple[Loose, ...]
    boxed: bool

    def per_bench(self, needed: int) -> int:
        return needed // self.benches


def parts_csv(listed: PartsList, kit: Kit) -> str:
    """The list for spreadsheets: kind, print, references per bench and in all, there, missing."""
    head = ["kind", "print", "per bench", "benches", "in all"]
    rows = [
        [need.piece.kind, print_of(need.piece, kit), str(listed.per_bench(need.needed)), str(listed.benches),
         str(need.needed), *([str(need.there), str(need.missing)] if listed.boxed else [])]
        for need in listed.cubes
    ]  # fmt: skip
    rows += [
        [loose.what, "", str(listed.per_bench(loose.needed)), str(listed.benches), str(loose.needed),
         *(["" if loose.there is None else str(loose.there), str(loose.missing)] if listed.boxed else [])]
        for loose in listed.loose
    ]  # fmt: skip
    return csv_text([[*head, *(["there", "missing"] if listed.boxed else [])], *rows])


def parts_page(listed: PartsList, kit: Kit, css: str) -> str:
    """The list to print, with a box to tick when packing and one when it comes back (HTML).

    Args:
        css: style of the page, such as `snapcheck.report.style()` with a foot.
    """
    heads = [
        "",
        tr("cube"),
        tr("print"),
        tr("per bench"),
        tr("for {n} benches", n=listed.benches) if listed.benches > 1 else tr("in all"),
        *([tr("in the box"), tr("missing")] if listed.boxed else []),
        tr("packed"),
        tr("back"),
    ]
    rows = "".join(_row(need, listed, kit) for need in listed.cubes)
    rows += "".join(_loose_row(loose, listed) for loose in listed.loose)
    total = sum(need.needed for need in listed.cubes)
    words = tr("{n} cubes, benches: {benches}.", n=total, benches=listed.benches)
    titles = "".join(f"<th>{escape(head)}</th>" for head in heads)
    title = escape(shown(listed.title or tr("Parts list")))
    own = (
        "table.parts{width:100%;border-collapse:collapse;font-size:13px}table.parts svg{display:block}"
        "table.parts td,table.parts th{padding:2px 6px;border-bottom:1px solid #999;text-align:left;"
        "vertical-align:middle;white-space:normal}table.parts td.count{text-align:right;padding-right:12px;"
        "font-variant-numeric:tabular-nums}td.tick span{display:inline-block;width:4mm;height:4mm;"
        "border:1px solid #333}tr.short td{font-weight:bold}tr{break-inside:avoid}"
    )
    return (
        f'<!doctype html><html lang="{active_language()}"><head><meta charset="utf-8"><title>{title}</title>'
        f"<style>{css}{own}</style></head><body><main><h1>{title}</h1>"
        f"<p>{escape(words)}</p>"
        f'<table class="parts"><thead><tr>{titles}</tr></thead><tbody>{rows}</tbody></table>'
        "</main></body></html>"
    )


def _row(need: Need, listed: PartsList, kit: Kit) -> str:
    picture = symbol_svg(kit[need.piece.kind], size=30, alone=True)
    name = piece_words(need.piece, kit)
    text = print_of(need.piece, kit)
    cells = [
        f"<td>{picture}</td>",
        f"<td>{escape(name.removesuffix(text).strip())}</td>",
        f"<td>{escape(text)}</td>",
        *_numbers([listed.per_bench(need.needed), need.needed]),
        *(_numbers([need.there, need.missing or ""]) if listed.boxed else []),
    ]
    return _ticked(cells, bool(listed.boxed and need.missing))


def _loose_row(loose: Loose, listed: PartsList) -> str:
    name = {"plates": tr("plates"), "taps": tr("taps"), "leads": tr("leads")}[loose.what]
    there = [tr("not counted") if loose.there is None else loose.there, loose.missing or ""]
    cells = [
        "<td></td>",
        f'<td colspan="2">{escape(name)}</td>',
        *_numbers([listed.per_bench(loose.needed), loose.needed]),
        *(_numbers(there) if listed.boxed else []),
    ]
    return _ticked(cells, bool(listed.boxed and loose.missing))


def _numbers(values: Sequence[object]) -> list[str]:
    return [f'<td class="count">{escape(str(value))}</td>' for value in values]


def _ticked(cells: list[str], short: bool) -> str:
    ticks = '<td class="tick"><span></span></td>' * 2
    return f"<tr{' class=short' if short else ''}>{''.join(cells)}{ticks}</tr>"
