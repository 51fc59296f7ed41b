"""Several photos of one build: laid upon each other, their evidence multiplied.

Glare, a lead across a print or a knob is seldom in the same place from another side. Each photo is read by
itself; the readings are then laid together as a build is laid on its plan, and what every photo says of a
cell is weighed as independent evidence (Bayes' rule, each reading's own probabilities as likelihoods, never
below a floor, so that one photo alone rules nothing out). It lies beside ``pipeline``, because it needs
reading and comparing.

A close-up of a part, which shows no whole plate, is laid where its cubes fit the first photo's: in one place
alone, or it says nothing. It speaks for the cells that it shows whole, never of leads.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import cv2
import numpy as np

from snapcheck.board import Cell, Cube, Lead, LeadEnd, Seam, TapEnd
from snapcheck.check import Alignment, align
from snapcheck.errors import PhotoError
from snapcheck.kit import Kit, ValueForm
from snapcheck.photo import BlankReading, CubeReading, LeadReading, Reading, State, TapReading
from snapcheck.words import tr

MOST_PHOTOS = 8
#: share of cubes that must agree for two photos to show one build
ONE_BUILD = 0.6
#: a photo that shows less than this share of the first one's cubes, and no clear edge, is a close-up
PART_SHOWS = 0.75
#: it fits where so many sure cubes agree, this share of those that can be held against each other, and so
#: many more than in any other place
PART_AGREES, PART_SHARE, PART_AHEAD = 4, 0.8, 3
#: a close-up from the first photo's own place, to this error (cells), is a piece cut out of it
SAME_VIEW = 0.06
#: no photo makes anything less likely than this
FLOOR = 0.002
#: from here on what all photos say together is as good as read; what is told as a choice
SURE, WORTH_TELLING = 0.995, 0.01
LIKELY = 0.9  # where one photo is sure by itself
ALONE = 0.95  # else one photo must by itself make it at least this likely
ALIKE = 0.8  # photos of one build are not quite independent: the same print, the same network
#: a tap or lead that a photo does not show is that likely there
UNSEEN = 0.08
MOST_OTHERS, LEAST = 5, 1e-4

Chances = tuple[tuple[Cube | None, float], ...]
_Key = tuple[str, int, object, str] | None
_Stand = tuple[str, int] | None
_R = TypeVar("_R", CubeReading, BlankReading)
_K = TypeVar("_K", _Key, _Stand)


def together(readings: Sequence[Reading], kit: Kit) -> Reading:
    """One reading of several photos of the same build, in the cells and the picture of the first.

    Raises:
        PhotoError: the photos do not show one build, there are too many, or they are all the same picture.
    """
    first, *others = readings
    if len(readings) > MOST_PHOTOS:
        raise PhotoError(
            tr("{n} photos of one build are too many.", n=len(readings)),
            place=first.photo,
            way_out=tr("Choose the clearest, up to {n}.", n=MOST_PHOTOS),
        )
    laid, parts, again = [first], [], False
    for n, other in enumerate(others, 1):
        if any(_same_picture(other, r) for r in readings[:n]):
            again = True  # it says nothing new
            continue
        part = _part_of(other, first, kit)
        if part is None:
            laid.append(_laid_on(other, first, kit))
        elif part.cubes or part.blanks:  # a piece cut out of the first photo says nothing new either
            parts.append(part)
    if len(laid) + len(parts) == 1:
        if again:
            note = tr("The same photo was given more than once: it counts once.")
            return replace(first, notes=(*first.notes, note))
        return first
    cubes, blanks, apart = _cells([*laid, *parts], kit)
    notes = [n for n in first.notes if all(n in r.notes for r in laid[1:])]
    if apart:
        notes.append(tr("The photos disagree about {cells}.", cells=", ".join(map(str, apart))))
    loose = tuple(sorted(set(first.loose).intersection(*(r.loose for r in laid[1:]))))
    edge = first.edge if all(r.edge for r in laid) else ""
    leads = _leads(laid)
    return replace(
        first,
        cubes=cubes,
        blanks=blanks,
        taps=_taps(laid, parts),
        leads=leads,
        notes=tuple(notes),
        loose=loose,
        edge=edge,
    )


def _same_picture(a: Reading, b: Reading) -> bool:
    """Whether two readings come from one picture: a hand never holds the camera in the same place twice."""
    return (
        a.frame.size == b.frame.size
        and np.allclose(a.frame.plate, b.frame.plate, atol=0.5)
        and np.allclose(a.frame.tops, b.frame.tops, rtol=1e-4, atol=1e-6)
    )


def _part_of(other: Reading, first: Reading, kit: Kit) -> Reading | None:
    """What a close-up shows whole, in the cells of the first photo; None for a photo of a whole plate.

    Raises:
        PhotoError: it fits nowhere, or in several places.
    """
    if not (other.edge or other.notes) or len(other.cubes) >= PART_SHOWS * len(first.cubes):
        return None  # where the plate's edges are seen, all of it is
    fits = sorted(_fits(other, first, kit), key=lambda f: -f[0])
    found = [f for f in fits if f[0] >= PART_AGREES and f[0] >= PART_SHARE * (f[0] + f[1])]
    if not found or (len(fits) > 1 and found[0][0] < fits[1][0] + PART_AHEAD):
        raise PhotoError(
            tr("this close-up fits in more than one place of {first}.", first=first.photo)
            if found
            else tr("this close-up fits nowhere in {first}.", first=first.photo),
            place=other.photo,
            way_out=tr("Go a little farther away, so that it shows more cubes; the whole plate comes first."),
        )
    way = found[0][2]
    shown = {cell for cell in (*other.cubes, *other.blanks) if _whole(other, cell)}
    if _cut_out(other, first, way, shown):
        shown = set()  # it says what the first photo has said already
    return _moved(other, way, kit, shown)


def _cut_out(other: Reading, first: Reading, way: Alignment, shown: Collection[Cell]) -> bool:
    """Whether a close-up is a piece of the first photo: one picture is then the other, enlarged."""
    cells = sorted(shown)
    if not cells:
        return True

    def middles(some: Sequence[Cell]) -> np.ndarray:
        return np.array([(c.column + 0.5, c.row + 0.5) for c in some])

    near = other.frame.to_photo(middles(cells))
    far = first.frame.to_photo(middles([way.to_built(c) for c in cells]))
    # the best enlargement, turn and shift from one to the other (least squares, as complex numbers)
    a, b = near @ (1, 1j), far @ (1, 1j)
    a, b = a - a.mean(), b - b.mean()
    off = b - a * (np.vdot(a, b) / max(np.vdot(a, a).real, 1e-9))
    cell = np.sqrt(cv2.contourArea(first.frame.outline(way.to_built(cells[0])).astype(np.float32)))
    return bool(np.sqrt((np.abs(off) ** 2).mean()) < SAME_VIEW * cell)


def _whole(reading: Reading, cell: Cell) -> bool:
    """Whether the whole top of a cell lies in the picture."""
    corners = reading.frame.outline(cell)
    return bool((corners >= 0).all() and (corners < reading.frame.size).all())


def _fits(other: Reading, first: Reading, kit: Kit) -> Iterator[tuple[int, int, Alignment]]:
    """Every way to lay a close-up: how many sure cubes agree, how many do not, and the way."""
    sure = {c: r.cube for c, r in other.cubes.items() if r.state is State.READ and _whole(other, c)}
    there: dict[Cell, Cube | None] = {c: r.cube for c, r in first.cubes.items() if r.state is State.READ}
    there |= {c: None for c, b in first.blanks.items() if b.state is State.READ}
    by_kind: dict[str, list[Cell]] = {}
    for cell, cube in there.items():
        if cube is not None:
            by_kind.setdefault(cube.kind, []).append(cell)
    for turn in (0, 90, 180, 270):
        still = Alignment(turn, 0, 0, 0.0, other.columns, other.rows)
        turned = {still.to_built(c): still.cube_on_built(cube, kit) for c, cube in sure.items()}
        shifts = {
            (at.column - cell.column, at.row - cell.row)
            for cell, cube in turned.items()
            for at in by_kind.get(cube.kind, ())
        }
        for columns, rows in shifts:
            agree = against = 0
            for cell, cube in turned.items():
                at = Cell(cell.row + rows, cell.column + columns)
                if at in there:
                    same = _key(cube, kit) == _key(there[at], kit)
                    agree, against = agree + same, against + (not same)
            yield agree, against, replace(still, columns=columns, rows=rows)


def _laid_on(other: Reading, first: Reading, kit: Kit) -> Reading:
    """The other reading in the cells of the first."""
    way = align(other.board, first.board, kit)
    if way.mirrored or way.score < ONE_BUILD:
        raise PhotoError(
            tr(
                "this photo and {first} do not show one build: {share} % of the cubes agree.",
                first=first.photo,
                share=round(100 * way.score),
            ),
            place=other.photo,
            way_out=tr("Give photos of one build, each with the whole plate in view."),
        )
    return _moved(other, way, kit)


def _moved(other: Reading, way: Alignment, kit: Kit, shown: Collection[Cell] | None = None) -> Reading:
    """A reading in other cells; `shown`: those of it that count, None for all."""

    def counts(cell: Cell) -> bool:
        return shown is None or cell in shown

    def place(cell: Cell) -> Cell:
        return way.to_built(cell)

    def stand(cube: Cube | None) -> Cube | None:
        return None if cube is None else way.cube_on_built(cube, kit)

    def listed(some: Sequence[tuple[Cube | None, float]]) -> tuple[tuple[Cube | None, float], ...]:
        return tuple((stand(c), p) for c, p in some)

    cubes = {
        place(c): replace(
            r,
            cube=way.cube_on_built(r.cube, kit),
            alternatives=listed(r.alternatives),
            chances=listed(r.chances),
        )
        for c, r in other.cubes.items()
        if counts(c)
    }
    blanks = {
        place(c): replace(b, alternatives=listed(b.alternatives), chances=listed(b.chances))
        for c, b in other.blanks.items()
        if counts(c)
    }
    return replace(
        other,
        cubes=cubes,
        blanks=blanks,
        taps=tuple(
            replace(t, seam=_seam(t.seam, way))
            for t in other.taps
            if counts(t.seam.first) and counts(t.seam.second)
        ),
        leads=tuple(
            replace(
                r, lead=_lead(r.lead, way), alternatives=tuple((_lead(x, way), p) for x, p in r.alternatives)
            )
            for r in other.leads
        ),
        loose=tuple(sorted(place(c) for c in other.loose)),
    )


def _seam(seam: Seam, way: Alignment) -> Seam:
    return Seam.between(way.to_built(seam.first), way.to_built(seam.second))


def _lead(lead: Lead, way: Alignment) -> Lead:
    def end(e: LeadEnd) -> LeadEnd:
        return TapEnd(_seam(e.seam, way)) if isinstance(e, TapEnd) else replace(e, cell=way.to_built(e.cell))

    return Lead(end(lead.start), end(lead.end))


# --- cells ---------------------------------------------------------------------------------------------


def _chances(reading: Reading, cell: Cell) -> Chances:
    """What one photo says of a cell; nothing where it does not show it."""
    r = reading.cubes.get(cell) or reading.blanks.get(cell)
    if r is None:
        return ()
    told = r.cube if isinstance(r, CubeReading) else None
    if r.chances:
        return r.chances
    return ((told, r.confidence), *r.alternatives)


def _key(cube: Cube | None, kit: Kit) -> _Key:
    """Cubes that are one choice: turns that look alike, values however they are spelt."""
    if cube is None:
        return None
    turn = next(t for t in (0, 90, 180, 270) if kit[cube.kind].same_turn(t, cube.turn))
    return (cube.kind, turn, cube.value, cube.unit)


def _product(tables: Sequence[Mapping[_K, float]]) -> dict[_K, float]:
    """Independent witnesses' shares multiplied, none less than the floor, made to sum to one."""
    logs = {
        key: ALIKE * sum(float(np.log(max(table.get(key, 0.0), FLOOR))) for table in tables)
        for key in {k: None for table in tables for k in table}
    }
    top = max(logs.values())
    shares = {key: float(np.exp(v - top)) for key, v in logs.items()}
    total = sum(shares.values())
    return {key: v / total for key, v in shares.items()}


def _weighed(said: Sequence[Chances], kit: Kit) -> list[tuple[Cube | None, float]]:
    """All photos' word on one cell, likeliest first: which kind, which way round, then which value."""
    stands: list[dict[_Stand, float]] = []
    values: list[dict[_Stand, dict[_Key, float]]] = []
    names: dict[_Key, Cube | None] = {}
    for chances in said:
        stand: dict[_Stand, float] = {}
        value: dict[_Stand, dict[_Key, float]] = {}
        for cube, p in chances:
            key = _key(cube, kit)
            names.setdefault(key, cube)
            at = None if key is None else key[:2]
            stand[at] = stand.get(at, 0.0) + p
            value.setdefault(at, {})[key] = value.setdefault(at, {}).get(key, 0.0) + p
        stands.append(stand)
        values.append(value)
    ranked: list[tuple[Cube | None, float]] = []
    for at, p in _product(stands).items():
        # of photos that show this kind: each value's share, the rest not made out
        tables = [{k: q / stand[at] for k, q in value[at].items()}
                  for stand, value in zip(stands, values, strict=True) if at in value]  # fmt: skip
        ranked += [(names[key], p * q) for key, q in _product(tables).items() if p * q >= LEAST]
    return sorted(ranked, key=lambda c: -c[1])


def _valued_first(ranked: list[tuple[Cube | None, float]], kit: Kit) -> list[tuple[Cube | None, float]]:
    """Where the likeliest is a kind, its value not made out, its likeliest value comes first, to confirm."""
    best = ranked[0][0]
    if best is None or best.value is not None or kit[best.kind].value_form is ValueForm.NONE:
        return ranked
    same = [c for c in ranked if c[0] is not None and (c[0].kind, c[0].turn) == (best.kind, best.turn)]
    first = next((c for c in same if c[0] is not None and c[0].value is not None), ranked[0])
    return [first, *(c for c in ranked if c is not first)]


def _cells(
    laid: Sequence[Reading], kit: Kit
) -> tuple[dict[Cell, CubeReading], dict[Cell, BlankReading], list[Cell]]:
    """Cubes and blanks by all photos together, and cells in which two sure readings disagree."""
    cubes: dict[Cell, CubeReading] = {}
    blanks: dict[Cell, BlankReading] = {}
    apart = []
    for cell in sorted({*laid[0].cubes, *laid[0].blanks}):
        all_of = [(r.cubes.get(cell) or r.blanks.get(cell), _chances(r, cell)) for r in laid]
        seen = [(r, said) for r, said in all_of if r is not None and said]
        if not seen:
            continue
        if len(seen) == 1:  # nothing to weigh it against: what its one photo says of it stands
            only = seen[0][0]
            if isinstance(only, CubeReading):
                cubes[cell] = only
            else:
                blanks[cell] = only
            continue
        ranked = _weighed([said for _, said in seen], kit)
        ranked = _valued_first(ranked, kit)
        cube, p = ranked[0]
        sure = {
            _key(r.cube if isinstance(r, CubeReading) else None, kit)
            for r, _ in seen
            if r.state is State.READ
        }
        if len(sure) > 1:
            apart.append(cell)
        # a photo that is sure counts as sure; several that are not can be so together
        # but what misleads one photo may mislead the next
        state = State.UNSURE
        key = _key(cube, kit)
        alone = max(sum(q for c, q in said if _key(c, kit) == key) for _, said in seen)
        if len(sure) < 2 and p >= (LIKELY if key in sure else SURE) and (key in sure or alone >= ALONE):
            state = State.READ
        if cube is not None and kit[cube.kind].value_form is not ValueForm.NONE and cube.value is None:
            state = State.UNSURE
        others = tuple((c, q) for c, q in ranked[1:] if q >= WORTH_TELLING)[:MOST_OTHERS]
        rest = () if state is State.READ else tuple(ranked)
        if cube is None:
            blanks[cell] = BlankReading(state, p, () if state is State.READ else others, rest)
            continue
        reason = "" if state is State.READ else tr("the photos together leave it open")
        cubes[cell] = CubeReading(cube, state, p, () if state is State.READ else others, reason, chances=rest)
    return cubes, blanks, apart


# --- taps and leads ---------------------------------------------------------------------------------------


def _odds(shares: Sequence[float]) -> float:
    """Probability by independent witnesses, each with its own (prior even)."""
    logit = sum(float(np.log(max(p, 1e-4) / max(1 - p, 1e-4))) for p in shares)
    return float(1 / (1 + np.exp(-logit)))


def _taps(laid: Sequence[Reading], parts: Sequence[Reading]) -> tuple[TapReading, ...]:
    """Taps by all photos that show the seam; a tap that only a close-up shows counts, too."""
    said = [
        ({tap.seam: tap.confidence for tap in r.taps}, part)
        for r, part in (*((r, None) for r in laid), *((r, r) for r in parts))
    ]

    def shows(part: Reading | None, seam: Seam) -> bool:
        return part is None or all(c in part.cubes or c in part.blanks for c in (seam.first, seam.second))

    found = [
        (seam, _odds([taps.get(seam, UNSEEN) for taps, part in said if shows(part, seam)]))
        for seam in sorted({seam for taps, _ in said for seam in taps})
    ]
    return tuple(TapReading(s, State.READ if p >= SURE else State.UNSURE, p) for s, p in found if p > 0.5)


def _leads(laid: Sequence[Reading]) -> tuple[LeadReading, ...]:
    """Leads, the likeliest first, each end used once."""
    seen: dict[frozenset[LeadEnd], list[float]] = {}
    leads: dict[frozenset[LeadEnd], Lead] = {}
    for n, reading in enumerate(laid):
        for r in reading.leads:
            for lead, p in ((r.lead, r.confidence), *r.alternatives):
                leads.setdefault(lead.ends, lead)
                shares = seen.setdefault(lead.ends, [UNSEEN] * len(laid))
                shares[n] = max(shares[n], p)
    ranked = sorted(((_odds(shares), ends) for ends, shares in seen.items()), key=lambda v: -v[0])
    taken: set[LeadEnd] = set()
    found = []
    for p, ends in ranked:
        if p > 0.5 and not taken & ends:
            taken |= ends
            rivals = tuple((leads[e], q) for q, e in ranked if e != ends and e & ends and q >= WORTH_TELLING)
            found.append(LeadReading(leads[ends], State.READ if p >= SURE else State.UNSURE, p, rivals[:4]))
    return tuple(sorted(found, key=lambda r: str(r.lead)))
