"""The plan as evidence: how certain it is, picture and plan together, that a cell holds what is planned.

Bayes' rule. The reading gives a probability to everything that may stand in a cell, as if every kind, turn
and value were as likely as any other before the picture was looked at; the plan says that its own cube is far
likelier, and mistakes of each kind as likely as the settings say. What a picture hardly shows is settled by
this only as far as builds rarely differ from plans; what it shows clearly stands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from snapcheck.board import Board, Cell, Cube
from snapcheck.check._settings import ComparisonSettings
from snapcheck.check._unsure import Tried, same_cube
from snapcheck.kit import Kit, decades_apart

if TYPE_CHECKING:
    from snapcheck.photo import Reading

#: what the reading takes for equally likely before it looks: kinds, and quarter turns
_KINDS, _TURNS = 31, 4
#: how much likelier a picture that shows the very cube makes that cube than one that shows anything: kinds,
#: turns and values multiplied would be thousands, but what misleads about one misleads about the others
_VERY_CUBE = 200
#: kinds and values that a wrong cube is likely to be of: those at hand (common practice, no source)
_KINDS_AT_HAND, _VALUES_AT_HAND = 8, 10
#: how likely a cube of a wrong kind is laid as the planned one would lie (common practice, no source)
_LAID_ALIKE = 0.7
#: how likely a print that makes no sense, or that no cube of the kit carries, is really there
_STRANGE = 0.05
#: other ends that a lead may be plugged into by mistake (common practice, no source)
_ENDS_AT_HAND = 5
#: half of a plate's cells are empty, about
_EMPTY = 0.5

#: choices less likely than this are not tried for danger
_WORTH_A_LOOK = 0.01

Chances = Sequence[tuple[Cube | None, float]]


def _weight(choice: Cube | None, planned: Cube | None, kit: Kit, s: ComparisonSettings) -> float:
    """How much likelier the plan makes a choice than the reading took it for."""
    if planned is None:
        return (1 - s.mistake_extra) / _EMPTY if choice is None else s.mistake_extra / (1 - _EMPTY)
    if choice is None:
        return s.mistake_missing / _EMPTY
    there = (1 - s.mistake_missing) / (1 - _EMPTY)
    if choice.kind != planned.kind:
        alike = any(kit[k].same_turn(choice.turn, planned.turn) for k in (choice.kind, planned.kind))
        laid = _LAID_ALIKE if alike else (1 - _LAID_ALIKE) / (_TURNS - 1)
        return there * s.mistake_kind * _KINDS / _KINDS_AT_HAND * _TURNS * laid
    turned = not kit[choice.kind].same_turn(choice.turn, planned.turn)
    valued = (choice.value, choice.unit) != (planned.value, planned.unit)
    share = 1 - s.mistake_turned - s.mistake_value - s.mistake_kind
    if turned or valued:
        share = (s.mistake_turned / (_TURNS - 1) if turned else 1.0) * (
            s.mistake_value / _VALUES_AT_HAND if valued else 1.0
        )
    if valued and (choice.value is None or _strange(choice, kit)):
        share *= _STRANGE
    return there * _VERY_CUBE * share


def _strange(cube: Cube, kit: Kit) -> bool:
    """A word that no cube of the kit carries: likelier a word that was misread."""
    known = kit[cube.kind].values
    return isinstance(cube.value, str) and bool(known) and cube.value not in known


def _weighed(
    chances: Chances, planned: Cube | None, kit: Kit, settings: ComparisonSettings
) -> tuple[float, list[tuple[Cube | None, float]]]:
    """How certain it is that a cell holds what is planned, and every rival with its probability."""
    as_planned, rivals = 0.0, []
    for choice, p in chances:
        weighed = p * _weight(choice, planned, kit, settings)
        if same_cube(choice, planned, kit):
            as_planned += weighed
        else:
            rivals.append((choice, weighed))
    rest = max(0.0, 1 - sum(p for _, p in chances))
    mistakes = (settings.mistake_missing, settings.mistake_value, settings.mistake_kind)
    unlisted = rest * (settings.mistake_extra if planned is None else max(mistakes)) / _EMPTY
    total = as_planned + unlisted + sum(w for _, w in rivals)
    if not total:
        return 0.0, []
    return as_planned / total, [(c, w / total) for c, w in rivals]


def certainty(chances: Chances, planned: Cube | None, kit: Kit, settings: ComparisonSettings) -> float:
    """How certain it is that a cell holds what is planned (None: nothing).

    Args:
        chances: everything that may stand there by the picture, with its probability; what is not among them
            shares the rest, and is weighed as the likeliest kind of mistake.
    """
    return _weighed(chances, planned, kit, settings)[0]


def settled_cells(
    chances: Mapping[Cell, Chances],
    planned: Mapping[Cell, Cube],
    tried: Tried | None,
    kit: Kit,
    settings: ComparisonSettings,
) -> dict[Cell, float]:
    """Cells that picture and plan together leave no doubt about, with how certain each is.

    Not only all rivals together must be unlikely: each kind of mistake has a limit of its own, so that much
    doubt about something harmless does not keep a cell open, and little doubt about something dangerous does.

    Args:
        chances: of the cells that the picture leaves open.
        planned: the plan's cubes, in cells of the build.
        tried: tries cubes in the build, these cells as planned; None: dangers are left aside (in trials).
    """
    found = {}
    for cell, some in chances.items():
        want = planned.get(cell)
        p, rivals = _weighed(some, want, kit, settings)
        if p < settings.settled_from or any(q > 1 - settings.settled_from_rival for _, q in rivals):
            continue
        if p < settings.settled_from_danger:
            if _turned_rivals(some, want, kit, settings):
                continue
            decades = sum(q for c, q in rivals if c and want and decades_apart(c.value, want.value))
            if decades > 1 - settings.settled_from_decade:
                continue
            seen = [c for c, q in some if q >= _WORTH_A_LOOK and not same_cube(c, want, kit)]
            dangerous = [c for c, _ in tried.dangers(cell, seen)] if tried else []
            if sum(q for c, q in rivals if c in dangerous) > 1 - settings.settled_from_danger:
                continue
        found[cell] = p
    return found


def _turned_rivals(some: Chances, want: Cube | None, kit: Kit, settings: ComparisonSettings) -> bool:
    """Whether a marked part may well stand another way round: polarity wants more certainty than the rest."""
    if want is None or not kit[want.kind].marked:
        return False
    same_kind = [(c, p) for c, p in some if c is not None and c.kind == want.kind]
    turned = [(c, p) for c, p in same_kind if not kit[c.kind].same_turn(c.turn, want.turn)]
    right = [(c, p) for c, p in same_kind if kit[c.kind].same_turn(c.turn, want.turn)]
    both = [*turned, *((want, p) for _, p in right)]
    total = sum(p for _, p in both)
    scaled = [(c, p / total) for c, p in both] if total else []
    return not scaled or certainty(scaled, want, kit, settings) < settings.settled_from_danger


def settled_links(reading: Reading, planned: Board, settings: ComparisonSettings) -> Reading:
    """The reading, taps and leads that the plan has too and that both leave no doubt about taken as sure.

    Args:
        planned: the plan's board in cells of the build.
    """

    def certain(p: float, mistake: float) -> bool:  # `mistake`: that just this other thing was built
        right, wrong = p * (1 - mistake), (1 - p) * mistake
        return right / max(right + wrong, 1e-12) >= settings.settled_from

    ends = {lead.ends for lead in planned.leads}
    taps = {t.seam for t in reading.taps if certain(t.confidence, settings.mistake_tap)}
    leads = [r.lead for r in reading.leads if certain(r.confidence, settings.mistake_lead / _ENDS_AT_HAND)]
    return reading.confirmed(taps & planned.taps, [lead for lead in leads if lead.ends in ends])
