"""Findings gathered: consequences taken into their cause, many of one sort told as one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from snapcheck.board import Cell
from snapcheck.check._align import Alignment
from snapcheck.check._changes import CellChange, Change
from snapcheck.circuit import Part, listing, part_words
from snapcheck.findings import Finding, Severity
from snapcheck.words import tr


def alignment_note(a: Alignment) -> list[Finding]:
    """A note where the whole build is shifted, turned or mirrored."""
    if not a.moved:
        return []
    data: dict[str, float | str | bool | list[str]] = {"turn": a.turn, "columns": a.columns, "rows": a.rows}
    if a.mirrored:
        title = tr("The build is the mirror image of the plan.")
        data["mirrored"] = True
    else:
        title = tr("The whole build stands differently on the plate: {how}.", how=listing(_moves(a)))
    return [
        Finding(
            rule="build-mirrored" if a.mirrored else "build-shifted",
            severity=Severity.NOTE,
            cells=(),
            title=title,
            why=tr("It makes no difference to the circuit."),
            mend=tr("Nothing need be done."),
            data=data,
            source="comparison with the plan",
        )
    ]


def _moves(a: Alignment) -> list[str]:
    words = []
    if a.turn:
        words.append(tr("turned by {turn}° clockwise", turn=a.turn))
    if a.columns and not a.turn:
        words.append(tr("{count} columns to the right", count=a.columns) if a.columns > 0
                     else tr("{count} columns to the left", count=-a.columns))  # fmt: skip
    if a.rows and not a.turn:
        words.append(tr("{count} rows down", count=a.rows) if a.rows > 0
                     else tr("{count} rows up", count=-a.rows))  # fmt: skip
    return words


def mirror_fault(note: Finding, exchanged: Sequence[Part], rules: list[Finding]) -> Finding:
    """The note on a mirrored build, where parts with a mirror image of their own (transistors) spoil it.

    Args:
        note: as `alignment_note` made it.
        exchanged: those parts of the build.
        rules: what rules object to because of it.
    """
    names = listing(part_words(p) for p in exchanged[:4])
    fault = replace(
        note,
        severity=Severity.FAULT,
        cells=tuple(p.cell for p in exchanged),
        title=tr("The build is the mirror image of the plan, and {parts} cannot be mirrored.", parts=names),
        why=tr("Two terminals of a cube change places in a mirror: such a part is then connected wrongly."),
        mend=tr("Build it again as the plan shows it, left and right not exchanged."),
    )
    return absorb(fault, rules) if rules else fault


def absorb(finding: Finding, mine: list[Finding]) -> Finding:
    """A finding that also tells what rules object to because of it."""
    worst = min(mine, key=lambda f: f.severity)
    severity = min(finding.severity, worst.severity)
    told = ("terminal-open", "electrolytic-reversed", "supply-reversed", "reversed-in-circuit")
    reverse = [c for f in mine if f.rule == "electrolytic-reversed" for c in f.cells[:1]]
    if finding.rule in (Change.REVERSED.value, Change.TURNED.value, Change.WRONG_VALUE.value):
        reverse = [cell for cell in reverse if cell not in finding.cells]  # the title says it already
    effects = [
        finding.effect,
        *(f.title for f in mine if f.rule not in told),
        tr("It puts a reversed voltage on {cells}.", cells=listing(map(str, reverse))) if reverse else "",
    ]
    harmless = bool(finding.data.get("harmless")) and severity >= Severity.NOTE
    mend = finding.mend if harmless or not finding.data.get("harmless") else worst.mend
    danger = tr("Do not power.")
    if severity is Severity.DANGER and not mend.startswith(danger):
        mend = f"{danger} {mend}"
    return replace(
        finding,
        severity=severity,
        effect=" ".join(dict.fromkeys(e for e in effects if e)),
        why=worst.why if worst.severity < finding.severity else finding.why,
        mend=mend,
        data={**finding.data, "harmless": harmless, "rules": [f.rule for f in mine]},
    )


def with_rules(findings: list[Finding], rules: list[Finding], planned: set[str]) -> list[Finding]:
    """Findings with what rules object to, each taken into a finding about the same cell where there is one.

    Notes, and rules (`planned`) that the plan breaks as well, are left out, danger never.
    """
    told = list(findings)
    for rule in rules:
        mild = rule.severity is Severity.NOTE or rule.rule in planned
        if mild and rule.severity is not Severity.DANGER:
            continue
        cause = next((i for i, f in enumerate(told) if f.cells and f.cells[:1] == rule.cells[:1]), None)
        if cause is None:
            told.append(rule)
        else:
            told[cause] = absorb(told[cause], [rule])
    return told


def clusters(changes: list[CellChange]) -> list[list[CellChange]]:
    """Changes in neighbouring cells, gathered."""
    left, found = list(changes), []
    while left:
        cluster = [left.pop()]
        grown = True
        while grown:
            near = {c for change in cluster for cell in change.area or change.cells for c in _around(cell)}
            joining = [c for c in left if not near.isdisjoint(c.area or c.cells)]
            left = [c for c in left if c not in joining]
            cluster += joining
            grown = bool(joining)
        found.append(cluster)
    return found


def _around(cell: Cell) -> list[Cell]:
    return [Cell(cell.row + r, cell.column + c) for r in (-1, 0, 1) for c in (-1, 0, 1)]


def gathered(findings: list[Finding], many: int) -> list[Finding]:
    """Many missing cubes, and many harmless differences of wires, as one finding each."""
    told = list(findings)
    missing = [f for f in told if f.rule == Change.MISSING.value and f.severity > Severity.DANGER]
    if len(missing) > many:
        told = [f for f in told if f not in missing]
        told.append(_one_for(missing, "cubes-missing", tr("{count} cubes are still missing: {cells}.",
            count=len(missing), cells=", ".join(str(f.cells[0]) for f in missing if f.cells)),
            tr("Put in the missing cubes.")))  # fmt: skip
    harmless = [
        f for f in told if f.data.get("harmless") and f.rule not in ("build-shifted", "build-mirrored")
    ]
    if len(harmless) > 1:
        told = [f for f in told if f not in harmless]
        cells = ", ".join(dict.fromkeys(str(c) for f in harmless for c in f.cells[:1]))
        told.append(_one_for(harmless, "built-differently",
            tr("Built differently without making a difference: {cells}.", cells=cells),
            tr("Nothing need be done.")))  # fmt: skip
    return told


def _one_for(findings: list[Finding], rule: str, title: str, mend: str) -> Finding:
    first = min(findings, key=lambda f: f.severity)
    return Finding(
        rule=rule,
        severity=first.severity,
        cells=tuple(dict.fromkeys(c for f in findings for c in f.cells)),
        title=title,
        why=first.why,
        mend=mend,
        data={"each": [f.title for f in findings], "harmless": bool(first.data.get("harmless"))},
        source=first.source,
    )
