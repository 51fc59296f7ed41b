"""From an opened picture to a reading: board, cells, print, taps, leads; each with its confidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from snapcheck.board import Cell, Cube, Lead, LeadEnd, Seam, SocketEnd, TapEnd
from snapcheck.circuit import end_words
from snapcheck.errors import InputError, PhotoError
from snapcheck.kit import Kind, Kit, Side, ValueForm, bundled_kit, coarsest_series, parse_value
from snapcheck.photo._cells import FINE, Line, Symbols, flatten, read_lines, read_symbols, sigmoid
from snapcheck.photo._likely import likelihoods, words
from snapcheck.photo._locate import locate
from snapcheck.photo._nets import calibration, names
from snapcheck.photo._open import Picture, open_picture, picture_of
from snapcheck.photo._reading import CubeReading, Frame, LeadReading, Reading, State, TapReading
from snapcheck.photo._wires import follow
from snapcheck.words import tr

RIM = 0.1
CLEAR_SHARE = 0.5  # of the cubes; where fewer show a symbol, it is no board or no picture to go on with
#: how much likelier cubes than empty cells show as little of their tops (5,423 cubes and 4,400 empty cells of
#: boards drawn by models/train; below 0.25 there were five cubes, taken for more than they are)
LITTLE_TOP = ((0.0, 0.25, 0.01), (0.25, 0.5, 0.3))
SELDOM, ODD = 0.5, 0.1  # weights of values that are rare, and of those that are in no series or list
#: made to 20 %, for which IEC 60063 has E6
WIDE = ("electrolytic", "potentiometer")
LEAST_ELECTROLYTIC = 0.9e-7  # farads; smaller ones are not made so; common practice, no source
MOST_PLAIN = 0.9e-5  # farads; larger ones are made as electrolytics; common practice, no source
TURNABLE = frozenset("01689.IOSZHNX oxszl-")  # print of these letters can be read upside down
GUESS = 0.5  # lines less sure than this are guesses
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
    board_at = locate(picture, name)
    frame, columns, rows, notes = board_at.frame, board_at.columns, board_at.rows, board_at.notes
    board = flatten(pixels, frame, columns, rows, FINE, RIM)
    places = [(x, y) for y in range(rows) for x in range(columns)]
    symbols = _with_tops(read_symbols(board, RIM, places), board_at.tops.ravel())
    cubes = _cubes(board, places, symbols, kit)
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
    taps = _taps(places, symbols, cubes)
    leads, more = _leads(pixels, frame, columns, rows, cubes, taps)
    frame = _full_size(frame, picture.scale)
    return Reading(name, columns, rows, cubes, taps, leads, frame, (*notes, *more))


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


def _readable(kit: Kit) -> frozenset[str]:
    """Kinds that can be read: those of the network that the kit has, of one cell.

    Raises:
        InputError: there are none.
    """
    found = frozenset(k for k in names()[0][:-2] if k in kit and kit[k].size == (1, 1))
    if not found:
        raise InputError(
            tr("the kit '{name}' has no kind that can be read from a photo.", name=kit.name),
            way_out=tr("Kinds that can: {names}.", names=", ".join(names()[0][:-2])),
        )
    return found


def _of_kit(s: Symbols, readable: frozenset[str]) -> Symbols:
    """What looks like a kind that cannot be read with this kit is some other cube, not the next likely."""
    kinds = names()[0]
    lacking = [i for i, name in enumerate(kinds[:-2]) if name not in readable]
    if not lacking:
        return s
    kind, other = s.kind.copy(), len(kinds) - 2
    kind[:, other] = np.logaddexp.reduce(kind[:, [*lacking, other]], axis=1)
    kind[:, lacking] = -np.inf
    return replace(s, kind=kind)


def _cubes(board: np.ndarray, places: list[tuple[int, int]], s: Symbols, kit: Kit) -> dict[Cell, CubeReading]:
    kinds, readable = names()[0], _readable(kit)
    s = _of_kit(s, readable)
    empty, other = len(kinds) - 1, len(kinds) - 2
    limits = calibration()
    best = s.kind.argmax(1)
    occupied = [
        i for i in range(len(places)) if best[i] != empty or s.kind[i, empty] < np.log(limits["empty_sure"])
    ]
    printed = [
        i for i in occupied if best[i] < other and kit[kinds[best[i]]].value_form is not ValueForm.NONE
    ]
    turns = s.turn.argmax(1)
    read = read_lines(board, RIM, [places[i] for i in printed], turns[printed], s.box[printed])
    # a resistor looks the same upside down: there the print says which way round it stands
    either = [
        k
        for k, i in enumerate(printed)
        if kit[kinds[best[i]]].either_way and (read[k].confidence < 0.9 or set(read[k].text) <= TURNABLE)
    ]
    again = [printed[k] for k in either]
    over = read_lines(board, RIM, [places[i] for i in again], (turns[again] + 2) % 4, s.box[again])
    for k, i, line in zip(either, again, over, strict=True):
        read[k], turned = _one_way_up(read[k], line, kit[kinds[best[i]]], kit)
        turns[i] = (turns[i] + 2 * turned) % 4
    lines = dict(zip(printed, read, strict=True))
    result = {}
    for i in occupied:
        column, row = places[i]
        reading = _one(i, s, int(turns[i]), kinds, kit, lines.get(i), limits)
        if reading is not None:
            result[Cell(row, column)] = reading
    return dict(sorted(result.items()))


def _one_way_up(line: Line, over: Line, kind: Kind, kit: Kit) -> tuple[Line, bool]:
    """Of print read both ways up the likelier, and whether that is the second.

    Where both make sense (16 and 91, 68 and 89), they are rivals, as likely as they are clear.
    """

    def weight(some: Line) -> float:
        cube = _saying(kind, 0, some.text)
        return some.confidence * _usual(cube, kit) if cube else 0.0

    a, b = weight(line), weight(over)
    if a == b == 0:
        a, b = (some.confidence if some.text else 0.0 for some in (line, over))
    turned = b > a
    best, rest = (over, line) if turned else (line, over)
    if min(a, b) > 0 and rest.confidence > GUESS:
        share = 1 / (best.confidence + rest.confidence)
        rivals = ((rest.text, rest.confidence * share), *((t, p * share) for t, p in best.rivals))
        best = replace(best, confidence=best.confidence * share, rivals=rivals)
    return best, turned


def _one(
    i: int,
    s: Symbols,
    quarter: int,
    kinds: tuple[str, ...],
    kit: Kit,
    line: Line | None,
    limits: dict[str, float],
) -> CubeReading | None:
    prob = np.exp(s.kind[i])
    order = np.argsort(-prob)
    empty, other = len(kinds) - 1, len(kinds) - 2
    top = int(order[0])
    if top == empty:
        second = int(order[1])
        if prob[second] < 1 - limits["empty_sure"] or second == other:
            return None
        top = second if prob[empty] < 0.5 else top
        if top == empty:
            return None
    reason = ""
    if top == other:
        readable = _readable(kit)
        top = int(next(k for k in order if kinds[k] in readable))
        reason = tr("this cube is not in the kit, or it is covered")
    kind = kit[kinds[top]]
    turn_prob = np.exp(s.turn[i])
    same = [q for q in range(4) if kind.same_turn(90 * quarter, 90 * q)]
    p_turn = float(turn_prob[same].sum())
    cube, p_text, others, why = _valued(kinds[top], quarter * 90, kind.value_form, line, kit, limits)
    p_kind = float(prob[top]) * _against(cube, float(prob[top]), dict(zip(kinds, prob, strict=True)))
    confidence = _trusted(p_kind * p_turn, limits["symbol_trust"])
    alternatives: list[tuple[Cube, float]] = [(c, p * confidence) for c, p in others]
    p_symbol = confidence
    p_text = _trusted(p_text, limits["text_trust"]) if line is not None else p_text
    confidence *= p_text
    for k in order[:4]:
        name = kinds[int(k)]
        if k in (top, other, empty) or prob[k] < 0.01:
            continue
        alternatives.append(
            (
                Cube(
                    name,
                    quarter * 90,
                    cube.value if kit[name].value_form is kind.value_form else None,
                    cube.printed,
                ),
                float(prob[k]),
            )
        )
    for q in range(4):
        if q not in same and turn_prob[q] > 0.01:
            alternatives.append(
                (
                    Cube(cube.kind, q * 90, cube.value, cube.printed, cube.unit),
                    float(turn_prob[q] * prob[top]),
                )
            )
    alternatives.sort(key=lambda a: -a[1])
    sure = p_symbol >= limits["symbol_threshold"] and (
        kind.value_form is ValueForm.NONE or p_text >= limits["text_threshold"]
    )
    state = State.READ if sure and not reason and not why else State.UNSURE
    if state is State.UNSURE:
        if p_symbol < limits["hidden_below"]:
            state = State.HIDDEN
            reason = reason or tr("the symbol is covered, glared or blurred")
        else:
            reason = (
                reason
                or why
                or (
                    tr("the symbol is not clear")
                    if p_symbol < limits["symbol_threshold"]
                    else tr("the printed value is not clear")
                )
            )
    parts = (p_symbol, p_text)
    return CubeReading(cube, state, round(confidence, 6), tuple(alternatives[:5]), reason, parts)


def _against(cube: Cube, p: float, others: Mapping[str, float]) -> float:
    """How much of a symbol's probability p is left when its value belongs to a kind that looks much like it.

    A clear symbol stands: only what the picture leaves open is weighed (Bayes' rule with odds of ODD).
    """
    if not isinstance(cube.value, float | int):
        return 1.0
    if cube.kind == "capacitor" and cube.value > MOST_PLAIN:
        rival = float(others["electrolytic"])
    elif cube.kind == "electrolytic" and cube.value < LEAST_ELECTROLYTIC:
        rival = float(others["capacitor"])
    else:
        return 1.0
    return (p + rival) * ODD / (p * ODD + rival)


def _trusted(p: float, temperature: float) -> float:
    """A probability as often right as it says: temperature scaling of its logit (see models/README.md)."""
    p = min(max(p, 1e-6), 1 - 1e-6)
    return float(1 / (1 + ((1 - p) / p) ** (1 / temperature)))


def _saying(kind: Kind, turn: int, text: str) -> Cube | None:
    """A cube with this print, None where the value grammar does not take it."""
    try:
        v = parse_value(text, kind.value_form)
    except InputError:
        return None
    return Cube(kind.name, turn, v.value, text, v.unit)


def _valued(
    name: str, turn: int, form: ValueForm, line: Line | None, kit: Kit, limits: dict[str, float]
) -> tuple[Cube, float, list[tuple[Cube, float]], str]:
    """The cube with its value: the likeliest reading that the value grammar takes; odd text stays as read."""
    if form is ValueForm.NONE or line is None:
        return Cube(name, turn), 1.0, [], ""
    parsed: list[tuple[Cube, float]] = []
    seen = dict(((line.text, line.confidence), *line.rivals))
    some = words(form, kit[name].values) if line.views else ()
    if some:
        chance = likelihoods(some, line.views)
        seen.update({some[k]: max(float(chance[k]), seen.get(some[k], 0.0)) for k in np.argsort(-chance)[:8]})
    for text, p in seen.items():
        cube = _saying(kit[name], turn, text)
        if cube is None:
            continue
        for k, (c, q) in enumerate(parsed):
            if c.value == cube.value and c.unit == cube.unit:
                parsed[k] = (c, q + p)
                break
        else:
            parsed.append((cube, p))
    # what no shop sells is likelier misread than printed; a clear print still stands against that
    rest = max(0.0, 1 - sum(p for _, p in parsed))
    weighed = [(c, p * _usual(c, kit)) for c, p in parsed]
    total = sum(p for _, p in weighed) + rest
    parsed = sorted(((c, p / max(total, 1e-9)) for c, p in weighed), key=lambda a: -a[1])
    if not parsed:
        return (
            Cube(name, turn, None, line.text or None),
            0.0,
            [],
            tr("the printed value '{text}' makes no sense here", text=line.text),
        )
    if line.confidence < GUESS:
        # hardly legible: what is usual comes first for a person to confirm, though it is no surer for that
        parsed.sort(key=lambda a: -a[1] * _usual(a[0], kit))
    cube, p = parsed[0]
    why = ""
    if cube.printed != line.text and p < line.confidence:
        why = tr("the print may say '{text}'", text=line.text)
    return cube, min(1.0, p), parsed[1:], why


def _usual(cube: Cube, kit: Kit) -> float:
    """How usual a value is, as a weight: preferred numbers (IEC 60063) and the kit's own before odd ones."""
    kind, value = kit[cube.kind], cube.value
    if isinstance(value, str):
        return 1.0 if not kind.values or value in kind.values else ODD
    if value is None or value in kind.values:
        return 1.0
    if kind.model not in ("resistor", "capacitor", "inductor", "zener"):
        return 1.0 if not kind.values else SELDOM
    if cube.kind == "electrolytic" and value < LEAST_ELECTROLYTIC:
        return ODD
    series = coarsest_series(value) if value > 0 else None
    if series in ("E3", "E6") or (series == "E12" and cube.kind not in WIDE):
        return 1.0
    return SELDOM if series in ("E12", "E24") else ODD


# --- taps and leads --------------------------------------------------------------------------------


def _taps(
    places: list[tuple[int, int]], s: Symbols, cubes: dict[Cell, CubeReading]
) -> tuple[TapReading, ...]:
    number = {Cell(y, x): i for i, (x, y) in enumerate(places)}
    limits = calibration()
    result = []
    for cell in cubes:
        for side in (Side.E, Side.S):
            next_cell = cell.neighbour(side)
            if next_cell not in cubes:
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
    pairs, loose = follow(pixels, frame, columns, rows, np.array(at).reshape(-1, 2))
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
