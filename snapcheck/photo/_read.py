"""From an opened picture to a reading: board, cells, print, taps, leads; each with its confidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from snapcheck.board import Cell, Cube, Lead, LeadEnd, Seam, SocketEnd, TapEnd
from snapcheck.circuit import end_words
from snapcheck.errors import InputError, PhotoError
from snapcheck.kit import Kit, Side, ValueForm, bundled_kit
from snapcheck.photo._cells import FINE, Print, Symbols, flatten, read_prints, sigmoid
from snapcheck.photo._habits import with_habits
from snapcheck.photo._large import large_cubes
from snapcheck.photo._large_print import with_prints
from snapcheck.photo._locate import locate
from snapcheck.photo._nets import calibration, names
from snapcheck.photo._open import Picture, open_picture, picture_of
from snapcheck.photo._reading import (
    BlankReading,
    CubeReading,
    Frame,
    LeadReading,
    Reading,
    State,
    TapReading,
)
from snapcheck.photo._taught import off_grid, read_taught
from snapcheck.photo._weigh import LEAST, Values, cubes_of, likely, one_way_up, print_is_sure, trusted, valued
from snapcheck.photo._wires import follow
from snapcheck.watch import stop_if_asked
from snapcheck.words import tr

RIM = 0.1
CLEAR_SHARE = 0.5  # of the cubes; where fewer show a symbol, it is no board or no picture to go on with
#: where more of the cubes than this look like nothing that was learnt, it is another kit (of the styles it
#: was set on 0.96 and more do, of labelled pictures of known kinds less than a tenth); asked of boards with
#: so many cubes
STRANGE_SHARE, FEW = 0.5, 4
#: how much likelier cubes than empty cells show as little of their tops. On boards drawn by models/train it
#: is 0.01 below 0.25 (5,423 cubes, 4,400 empty cells); where light burns tops out, or they are as dark as the
#: plate, many cubes are seen no better, so that it counts for less
LITTLE_TOP = ((0.0, 0.25, 0.15), (0.25, 0.5, 0.6))
#: residual of the lattice (cells) up to which an empty cell can be sure: where the grid is off by more, cubes
#: stand half in the next cell and look like nothing
TRUE_GRID = 0.04
#: and how likely it is at most that nothing stands there, then
OFF_GRID = 0.9
TURNABLE = frozenset("01689.IOSZHNX oxszl-")  # print of these letters can be read upside down
SOCKET_AT = 0.18  # a socket's distance from its cube's centre, in cells


def read_photo(path: Path, kit: Kit | None = None, *, data: bytes | None = None) -> Reading:
    """Read a photo of a build.

    Args:
        data: the bytes of the picture where it lies in no file of its own; `path` is its name then.

    Raises:
        InputError: the file is missing.
        PhotoError: it is no picture, shows no board, or cannot be read well enough: take it again.
    """
    path = Path(path)
    picture = open_picture(path) if data is None else picture_of(data, path)
    return read_picture(picture, path.name, kit or bundled_kit())


def read_picture(picture: Picture, name: str, kit: Kit) -> Reading:
    """Read an opened picture; see `read_photo`."""
    pixels = picture.pixels
    board_at = locate(picture, name, off_grid(kit))
    stop_if_asked()
    frame, columns, rows, notes = board_at.frame, board_at.columns, board_at.rows, board_at.notes
    board = flatten(pixels, frame, columns, rows, FINE, RIM)
    places = [(x, y) for y in range(rows) for x in range(columns)]
    symbols = _with_tops(read_taught(board, RIM, places, kit), board_at.tops.ravel())
    stop_if_asked()
    _of_a_known_kit(symbols, name, kit)
    cubes, blanks = read_cells(board, places, symbols, kit, frame.residual)
    if not cubes:
        raise PhotoError(
            tr("no cubes can be made out on the plate."),
            place=name,
            way_out=tr("Take the photo from straight above, with the whole plate in view and in good light."),
        )
    clear = sum(r.state is not State.HIDDEN for r in cubes.values())
    if clear < CLEAR_SHARE * len(cubes):
        raise PhotoError(
            tr("hardly any cube can be made out ({n} of {all}).", n=clear, all=len(cubes)),
            place=name,
            way_out=tr("Take the photo from straight above, with the whole plate in view and in good light."),
        )
    stop_if_asked()
    taps = _taps(places, symbols, cubes)
    leads, more = _leads(pixels, frame, columns, rows, cubes, taps)
    frame = _full_size(frame, picture.scale)
    loose = tuple(sorted(Cell(y, x) for i, (x, y) in enumerate(places) if symbols.loose[i] > 0))
    notes = (*notes, *more)
    return Reading(name, columns, rows, cubes, taps, leads, frame, notes, blanks, loose, board_at.edge)


def _of_a_known_kit(s: Symbols, name: str, kit: Kit) -> None:
    """Refuse a picture of cubes that look like no kit, instead of guessing.

    Raises:
        PhotoError: most of what stands there is like nothing that was learnt.
    """
    stands = s.kind[:, -1] < np.log(0.5)
    strange, n = int((s.kind[stands, -2] > np.log(0.5)).sum()), int(stands.sum())
    if n < FEW or strange <= STRANGE_SHARE * n:
        return
    more = tr("Is it the kit that was taught? Teach with more photos of it, in this light, too.")
    first = tr("Teach me with two photos: 'snapcheck primer' says what to lay, 'snapcheck teach' learns.")
    raise PhotoError(
        tr("these cubes do not look like a kit that I know ({n} of {all}).", n=strange, all=n),
        place=name,
        way_out=more if kit.taught else first,
    )


def _full_size(frame: Frame, scale: float) -> Frame:
    """The same frame in pixels of the file's own size."""
    if scale == 1:
        return frame
    k = 1 / scale
    up = np.diag([k, k, 1.0])
    return Frame(
        (round(frame.size[0] * k), round(frame.size[1] * k)),
        up @ frame.tops,
        (frame.centre[0] * k, frame.centre[1] * k),
        frame.focal * k,
        frame.k1,
        frame.residual,
        frame.plate * k,
    )


def _with_tops(symbols: Symbols, tops: np.ndarray) -> Symbols:
    """Where no top of a cube is seen, a cell is likelier empty: leads and shadows cross empty cells, too."""
    kind = symbols.kind.copy()
    for low, high, ratio in LITTLE_TOP:
        kind[(low <= tops) & (tops < high), :-1] += np.log(ratio)
    kind -= np.log(np.exp(kind).sum(1, keepdims=True))
    return replace(symbols, kind=kind)


# --- cells ---------------------------------------------------------------------------------------


#: kinds less likely than this by their symbol are not looked into
SOME_CHANCE = 0.002
#: cells as likely empty as this have no print looked for
HARDLY = 0.95
#: other choices that are told, and from which probability on
MOST_OTHERS, LEAST_OTHER = 5, 0.01
MOST_CHANCES = 40


def _readable(kit: Kit, kinds: tuple[str, ...] | None = None) -> frozenset[str]:
    """Kinds that can be read: those of the network, and those taught, that the kit has as cubes of one cell.

    Raises:
        InputError: there are none.
    """
    found = frozenset(k for k in (kinds or names()[0])[:-2] if k in kit and kit[k].size == (1, 1))
    if not found:
        raise InputError(
            tr("the kit '{name}' has no kind that can be read from a photo.", name=kit.name),
            way_out=tr("Kinds that can: {names}.", names=", ".join(names()[0][:-2])),
        )
    return found


def _of_kit(s: Symbols, readable: frozenset[str]) -> Symbols:
    """What looks like a kind that cannot be read with this kit is some other cube, not the next likely."""
    kinds = s.kinds
    lacking = [i for i, name in enumerate(kinds[:-2]) if name not in readable]
    if not lacking:
        return s
    kind, other = s.kind.copy(), len(kinds) - 2
    kind[:, other] = np.logaddexp.reduce(kind[:, [*lacking, other]], axis=1)
    kind[:, lacking] = -np.inf
    return replace(s, kind=kind)


def read_cells(
    board: np.ndarray, places: list[tuple[int, int]], s: Symbols, kit: Kit, residual: float = 0.0
) -> tuple[dict[Cell, CubeReading], dict[Cell, BlankReading]]:
    """What stands in each cell of a flattened board, and which cells seem to be empty.

    Args:
        residual: of the grid, in cells.
    """
    kinds, readable = s.kinds, _readable(kit, s.kinds)
    large = large_cubes(places, s, kit) if len(kinds) > len(names()[0]) else {}
    large = with_prints(board, RIM, large, kit)
    inside = {c for anchor, r in large.items() for c in r.cube.cells(anchor)}
    s = _of_kit(s, readable)
    empty, other = len(kinds) - 1, len(kinds) - 2
    limits = calibration()
    prob, turns = np.exp(s.kind), np.exp(s.turn)
    known = {k: name for k, name in enumerate(kinds[:other]) if name in readable}
    mine = np.array([k in known for k in range(other)])
    valued = np.array([k in known and kit[known[k]].value_form is not ValueForm.NONE for k in range(other)])
    best, quarter = np.where(mine, prob[:, :other], -1.0).argmax(1), turns.argmax(1)
    carries = (prob[:, :other] * valued).sum(1) > 10 * SOME_CHANCE
    single = np.array([Cell(row, column) not in inside for column, row in places])
    printed = np.flatnonzero((prob[:, empty] < HARDLY) & carries & single)
    lines = _prints(board, places, s, printed, quarter, best, kinds, kit)
    lines = with_habits(lines, {i: kit[known[int(best[i])]].value_form for i in lines})
    cubes: dict[Cell, CubeReading] = dict(large)
    blanks: dict[Cell, BlankReading] = {}
    for i, (column, row) in enumerate(places):
        cell = Cell(row, column)
        if cell in inside:
            continue
        some = [k for k in known if prob[i, k] > SOME_CHANCE] or [int(best[i])]
        seen = {known[k]: max(float(prob[i, k]), 1e-9) for k in some}
        weighed, values = likely(seen, lines.get(i), float(sigmoid(s.text[i])), kit)
        turn = turns[i] if i not in lines else _turned(turns[i], int(quarter[i]))
        chances: list[tuple[Cube | None, float]] = [*cubes_of(weighed, turn, values, kit)]
        p_empty, p_other = float(prob[i, empty]), float(prob[i, other])
        chances.append((None, p_empty))
        chances = sorted((c for c in chances if c[1] >= LEAST), key=lambda c: -c[1])[:MOST_CHANCES]
        if p_empty > max(p_other, *weighed.values()):
            sure = trusted(p_empty, limits["symbol_trust"])
            if residual >= TRUE_GRID:
                sure = min(sure, OFF_GRID)
                chances = [(c, p if c else min(p, OFF_GRID)) for c, p in chances]
            least = (
                limits["empty_threshold"] if s.surer is None else max(limits["empty_threshold"], s.surer[i])
            )
            if sure >= least and s.loose[i] < 0:
                blanks[cell] = BlankReading(State.READ, round(sure, 6))
            else:
                others = _others(chances, None)
                blanks[cell] = BlankReading(State.UNSURE, round(sure, 6), others, tuple(chances))
            continue
        own = (
            limits
            if s.surer is None
            else {**limits, "symbol_threshold": max(limits["symbol_threshold"], s.surer[i])}
        )
        reading = _one(weighed, turn, int(quarter[i]), values, lines.get(i), p_other, kit, own)
        if reading.state is not State.READ:
            reading = replace(reading, alternatives=_others(chances, reading.cube), chances=tuple(chances))
        cubes[cell] = reading
    return dict(sorted(cubes.items())), dict(sorted(blanks.items()))


def _others(
    chances: list[tuple[Cube | None, float]], told: Cube | None
) -> tuple[tuple[Cube | None, float], ...]:
    """What else may stand there, worth telling."""
    return tuple((c, round(p, 6)) for c, p in chances if p >= LEAST_OTHER and c != told)[:MOST_OTHERS]


def _turned(turns: np.ndarray, quarter: int) -> np.ndarray:
    """Turn probabilities with the likeliest one changed to `quarter`, which the print has decided."""
    best = int(turns.argmax())
    if best == quarter:
        return turns
    turns = turns.copy()
    turns[[best, quarter]] = turns[[quarter, best]]
    return turns


def _prints(
    board: np.ndarray,
    places: list[tuple[int, int]],
    s: Symbols,
    printed: np.ndarray,
    quarter: np.ndarray,
    best: np.ndarray,
    kinds: tuple[str, ...],
    kit: Kit,
) -> dict[int, Print]:
    """The prints of these cells; `quarter` is set where the print says which way up a symbol stands."""
    two = sigmoid(s.two)
    read = read_prints(
        board, RIM, [places[i] for i in printed], quarter[printed], s.box[printed], two[printed]
    )
    # a resistor looks the same upside down: there the print says which way round it stands
    either = [
        k
        for k, i in enumerate(printed)
        if kinds[best[i]] in kit.kinds
        and kit[kinds[best[i]]].either_way
        and (read[k].confidence < 0.9 or set(read[k].text) <= TURNABLE)
    ]
    again = printed[either]
    over = read_prints(
        board, RIM, [places[i] for i in again], (quarter[again] + 2) % 4, s.box[again], two[again]
    )
    for k, i, line in zip(either, again, over, strict=True):
        read[k], turned = one_way_up(read[k], line, kit[kinds[best[i]]])
        quarter[i] = (quarter[i] + 2 * turned) % 4
    return {int(i): line for i, line in zip(printed, read, strict=True)}


def _one(
    kinds: Mapping[str, float],
    turns: np.ndarray,
    quarter: int,
    values: Mapping[str, Values],
    line: Print | None,
    p_other: float,
    kit: Kit,
    limits: dict[str, float],
) -> CubeReading:
    """The likeliest cube and how far it can be trusted."""
    name = max(kinds, key=lambda k: kinds[k])
    kind = kit[name]
    p_turn = sum(float(turns[q]) for q in range(4) if kind.same_turn(90 * quarter, 90 * q))
    cube, p_text, why = valued(kind, 90 * quarter, line, values.get(name, []))
    p_symbol = trusted(kinds[name] * p_turn, limits["symbol_trust"])
    p_text = trusted(p_text, limits["text_trust"]) if cube.printed or why else p_text
    confidence = round(p_symbol * p_text, 6)
    covered = p_other > kinds[name]
    sure = p_symbol >= limits["symbol_threshold"] and (
        kind.value_form is ValueForm.NONE or print_is_sure(p_text, values.get(name, []), limits)
    )
    if sure and not covered and not why:
        return CubeReading(cube, State.READ, confidence, parts=(p_symbol, p_text))
    if p_symbol < limits["hidden_below"]:
        state, reason = State.HIDDEN, tr("the symbol is covered, glared or blurred")
    else:
        state = State.UNSURE
        reason = why or (
            tr("the symbol is not clear")
            if p_symbol < limits["symbol_threshold"]
            else tr("the printed value is not clear")
        )
    if covered:
        reason = tr("this cube is not in the kit, or it is covered")
    return CubeReading(cube, state, confidence, (), reason, (p_symbol, p_text))


# --- taps and leads --------------------------------------------------------------------------------


def _taps(
    places: list[tuple[int, int]], s: Symbols, cubes: dict[Cell, CubeReading]
) -> tuple[TapReading, ...]:
    number = {Cell(y, x): i for i, (x, y) in enumerate(places)}
    limits = calibration()
    result = []
    owner = {c: anchor for anchor, r in cubes.items() for c in r.cube.cells(anchor)}
    for cell, mine in owner.items():
        for side in (Side.E, Side.S):
            next_cell = cell.neighbour(side)
            if owner.get(next_cell, mine) == mine:
                continue
            logit = (s.taps[number[cell], side] + s.taps[number[next_cell], side.opposite]) / 2
            p = float(sigmoid(logit / limits["tap_temperature"]))
            if p > 0.5:
                result.append(
                    TapReading(
                        Seam.between(cell, next_cell),
                        State.READ if p > limits["tap_threshold"] else State.UNSURE,
                        round(p, 6),
                    )
                )
    return tuple(result)


def _leads(
    pixels: np.ndarray,
    frame: Frame,
    columns: int,
    rows: int,
    cubes: dict[Cell, CubeReading],
    taps: tuple[TapReading, ...],
) -> tuple[tuple[LeadReading, ...], tuple[str, ...]]:
    ends: list[LeadEnd] = []
    at: list[tuple[float, float]] = []
    for cell, r in cubes.items():
        if r.cube.kind == "socket":
            for side in (Side.E, Side.W):
                u, v = (SOCKET_AT if side is Side.E else -SOCKET_AT), 0.0
                for _ in range(r.cube.turn // 90):
                    u, v = -v, u
                ends.append(SocketEnd(cell, side))
                at.append((cell.column + 0.5 + u, cell.row + 0.5 + v))
    for tap in taps:
        ends.append(TapEnd(tap.seam))
        a, b = tap.seam.first, tap.seam.second
        at.append(((a.column + b.column) / 2 + 0.5, (a.row + b.row) / 2 + 0.5))
    cells = [end.cell if isinstance(end, SocketEnd) else end for end in ends]
    owner = [cells.index(c) for c in cells]
    pairs, loose = follow(pixels, frame, columns, rows, np.array(at).reshape(-1, 2), owner)
    limits = calibration()
    leads = tuple(
        LeadReading(
            Lead(ends[p.ends[0]], ends[p.ends[1]]),
            State.READ if p.confidence >= limits["lead_threshold"] else State.UNSURE,
            round(p.confidence, 6),
            tuple((Lead(ends[a], ends[b]), round(q, 6)) for (a, b), q in p.rivals),
        )
        for p in pairs
    )
    notes = tuple(
        tr("Perhaps a lead starts at {end}; its other end is not found.", end=end_words(ends[i]))
        for i in loose
    )
    return leads, notes
