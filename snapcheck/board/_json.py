"""Boards and designs as JSON: the truth format, which a reading writes too."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial
from typing import Any, TypeVar

from snapcheck.board._board import TURNS, Board, Cube, Lead, parse_end
from snapcheck.board._design import CELSIUS, LUX, MOST_V, Conditions, Design, Expectation, Probe, Stage
from snapcheck.board._figures import AT_FREQUENCY, expectation_text
from snapcheck.board._place import Cell, Seam
from snapcheck.board._stages import stage_from_json, stages_to_json
from snapcheck.datafiles import finite
from snapcheck.devices import Setting
from snapcheck.errors import InputError
from snapcheck.kit import Kind, Kit, ValueForm, check_limits, parse_value
from snapcheck.words import brief, tr

_T = TypeVar("_T")


def board_to_json(board: Board) -> dict[str, Any]:
    """A board in the truth format: columns, rows, cubes, taps, leads (plain values for `json.dumps`)."""
    return {
        "columns": board.columns,
        "rows": board.rows,
        "cubes": [_cube_to_json(cell, cube) for cell, cube in board.cubes.items()],
        "taps": [{"between": [str(s.first), str(s.second)]} for s in sorted(board.taps)],
        "leads": [{"from": str(lead.start), "to": str(lead.end)} for lead in board.leads],
    }


def _cube_to_json(cell: Cell, cube: Cube) -> dict[str, Any]:
    data: dict[str, Any] = {
        "at": str(cell),
        "kind": cube.kind,
        "turn": cube.turn,
        "value": cube.value,
        "printed": cube.printed,
    }
    if cube.unit:
        data["unit"] = cube.unit
    if cube.large:
        data["size"] = list(cube.size)
    return data


def board_from_json(data: object, kit: Kit | None = None) -> Board:
    """Read the truth format; further keys are ignored.

    Args:
        data: what `json.loads` gave.
        kit: where given, kinds and turns are checked against it.

    Raises:
        InputError: a key is missing or wrong; `place` says which (``cubes[3].turn``).
    """
    table = _table(data, "")
    columns, rows = (_whole(_get(table, name, ""), name) for name in ("columns", "rows"))
    cubes: dict[Cell, Cube] = {}
    covered: dict[Cell, Cell] = {}
    for number, item in enumerate(_list(_get(table, "cubes", ""), "cubes")):
        key = f"cubes[{number}]"
        entry = _table(item, key)
        cell = _at(partial(Cell.parse, _text(_get(entry, "at", key), f"{key}.at")), f"{key}.at")
        if cell in cubes:
            raise InputError(
                tr("two cubes stand in {cell}.", cell=cell),
                place=f"{key}.at",
                way_out=tr("Remove one of them."),
            )
        cubes[cell] = cube_from_json(entry, key, kit)
        if cubes[cell].large:
            _at(partial(Board, columns, rows, {cell: cubes[cell]}), f"{key}.at")
        for place in cubes[cell].cells(cell):
            if place in covered:
                raise InputError(
                    tr("the cubes at {a} and {b} both cover {cell}.", a=covered[place], b=cell, cell=place),
                    place=f"{key}.at",
                    way_out=tr("Move one of them, or turn it."),
                )
            covered[place] = cell
    taps = [
        _at(partial(_seam, item, f"taps[{n}]"), f"taps[{n}]")
        for n, item in enumerate(_list(table.get("taps", []), "taps"))
    ]
    for n, seam in enumerate(taps):
        if seam.first in covered and covered[seam.first] == covered.get(seam.second):
            raise InputError(
                tr("the tap on {seam} would lie inside the cube at {cell}.",
                   seam=seam, cell=covered[seam.first]),
                place=f"taps[{n}]",
                way_out=tr("A tap sits in the seam between two cubes."),
            )  # fmt: skip
    if len(set(taps)) < len(taps):
        double = next(seam for seam in taps if taps.count(seam) > 1)
        raise InputError(
            tr("two taps sit on {double}.", double=double), place="taps", way_out=tr("Remove one of them.")
        )
    leads = tuple(
        _at(partial(_lead, item, f"leads[{n}]"), f"leads[{n}]")
        for n, item in enumerate(_list(table.get("leads", []), "leads"))
    )
    return Board(columns, rows, cubes, frozenset(taps), leads)


def cube_from_json(item: object, key: str = "", kit: Kit | None = None) -> Cube:
    """One cube of the truth format; as with `board_from_json`."""
    entry = _table(item, key)
    kind = _text(_get(entry, "kind", key), f"{key}.kind")
    if kit is not None and kind not in kit:
        raise InputError(
            tr("'{kind}' is no kind of the kit '{name}'.", kind=kind, name=kit.name),
            place=f"{key}.kind",
            way_out=tr("Accepted: {names}.", names=", ".join(kit.kinds)),
        )
    turn = entry.get("turn", 0)
    if isinstance(turn, bool) or turn not in TURNS:
        raise InputError(
            tr("{turn} is no turn.", turn=brief(turn)),
            place=f"{key}.turn",
            way_out=tr("Accepted: 0, 90, 180, 270."),
        )
    value = entry.get("value")
    if isinstance(value, bool) or not isinstance(value, int | float | str | None):
        raise InputError(
            tr("{value} is no value.", value=brief(value)),
            place=f"{key}.value",
            way_out=tr("A number, text or null."),
        )
    if isinstance(value, str):
        _text(value, f"{key}.value")
    elif value is not None:
        number = finite(value)
        if number is None or number < 0:
            raise InputError(tr("{value} is no value of a part.", value=brief(value)), place=f"{key}.value")
        value = number
    printed, unit = entry.get("printed"), entry.get("unit") or ""
    if printed is not None:
        _text(printed, f"{key}.printed")
    if kit is not None and value is not None:
        _matches(kit[kind], value, f"{key}.value")
        value = _usual_spelling(kit[kind], value)
    size = _size(entry, key, None if kit is None else kit[kind])
    return Cube(kind, int(turn), value, printed, _text(unit, f"{key}.unit"), size)


def _size(entry: Mapping[str, Any], key: str, kind: Kind | None) -> tuple[int, int]:
    """Columns and rows at turn 0: the kind's, which what is written must not contradict."""
    said = entry.get("size", [1, 1] if kind is None else list(kind.size))
    if not isinstance(said, list) or len(said) != 2:
        raise InputError(tr("{value} is no size.", value=brief(said)), place=f"{key}.size",
                         way_out=tr("Write columns and rows: [2, 1]."))  # fmt: skip
    columns, rows = (_whole(n, f"{key}.size") for n in said)
    if not (1 <= columns <= 52 and 1 <= rows <= 99):
        raise InputError(tr("{value} is no size.", value=brief(said)), place=f"{key}.size",
                         way_out=tr("Write columns and rows: [2, 1]."))  # fmt: skip
    if kind is not None and (columns, rows) != kind.size:
        raise InputError(
            tr("a {kind} covers {columns} x {rows} cells.",
               kind=tr(kind.title), columns=kind.size[0], rows=kind.size[1]),
            place=f"{key}.size",
            way_out=tr("Leave the size away: the kit knows it."),
        )  # fmt: skip
    return columns, rows


def _usual_spelling(kind: Kind, value: float | str) -> float | str:
    """Types, colours and lamps as the value grammar spells them: "GREEN" and "green" are one value."""
    if isinstance(value, str):
        try:
            return parse_value(value, kind.value_form).value
        except InputError:
            return value
    return value


def _matches(kind: Kind, value: float | str, key: str) -> None:
    """The value is a number or a word as the kind's print demands, and no absurd one."""
    form = kind.value_form
    if form is ValueForm.NONE:
        raise InputError(
            tr("a {kind} carries no value.", kind=tr(kind.title)), place=key, way_out=tr("Write null.")
        )
    if form.numeric != isinstance(value, float):
        raise InputError(
            tr("{value} is no value of a {kind}.", value=brief(value), kind=tr(kind.title)),
            place=key,
            way_out=tr("Write a number in SI units.") if form.numeric else tr("Write the printed text."),
        )
    if isinstance(value, float):
        check_limits(value, form, key)
    elif isinstance(value, str):
        _at(partial(parse_value, value, form), key)


def _seam(item: object, key: str) -> Seam:
    between = _list(_get(_table(item, key), "between", key), key)
    if len(between) != 2:
        raise InputError(tr("a tap lies between two cells."), way_out=tr('Write {"between": ["C4", "D4"]}.'))
    return Seam.between(*(Cell.parse(_text(cell, key)) for cell in between))


def _lead(item: object, key: str) -> Lead:
    entry = _table(item, key)
    start, end = (parse_end(_text(_get(entry, name, key), key)) for name in ("from", "to"))
    if start == end:
        raise InputError(tr("both ends of the lead are in the same socket."))
    return Lead(start, end)


def design_to_json(design: Design) -> dict[str, Any]:
    """A design: the truth format plus title, purpose, input, output, conditions and expectations."""
    return {
        **board_to_json(design.board),
        "title": design.title,
        "purpose": design.purpose,
        "input": _probe_to_json(design.input),
        "input_V": design.input_V,
        "output": _probe_to_json(design.output),
        "conditions": _conditions_to_json(design.conditions),
        "expectations": [
            {
                "quantity": e.quantity,
                "unit": e.unit,
                "place": _probe_to_json(e.place),
                "at": e.at,
                "low": None if e.low == -math.inf else e.low,
                "high": None if e.high == math.inf else e.high,
                "text": e.text,
                "conditions": None if e.conditions is None else _conditions_to_json(e.conditions),
            }
            for e in design.expectations
        ],
        "note": design.note,
        "stages": stages_to_json(design.stages),
    }


def design_from_json(data: object, kit: Kit | None = None) -> Design:
    """Read a design, or a plain board as a design that promises nothing. Raises InputError."""
    table = _table(data, "")
    board = board_from_json(data, kit)
    title = table.get("title") or table.get("name") or ""
    conditions = _conditions(table.get("conditions") or {}, "conditions")
    expectations = [
        _expectation(_table(item, f"expectations[{n}]"), f"expectations[{n}]")
        for n, item in enumerate(_list(table.get("expectations", []), "expectations"))
    ]
    design = Design(
        board,
        title=_text(title, "title"),
        purpose=_text(table.get("purpose") or "", "purpose"),
        input=_probe(table.get("input"), "input"),
        output=_probe(table.get("output"), "output"),
        conditions=conditions,
        # figures are told apart by their text
        expectations=tuple(replace(e, text=e.text or expectation_text(e, conditions)) for e in expectations),
        input_V=_level(table.get("input_V")),
        note=_text(table.get("note") or "", "note"),
        stages=_stages(table, board),
    )
    if kit is not None:
        _refers(design, kit)
    return design


def _stages(table: Mapping[str, Any], board: Board) -> tuple[Stage, ...]:
    stages: list[Stage] = []
    for number, item in enumerate(_list(table.get("stages", []), "stages")):
        key = f"stages[{number}]"
        stages.append(_at(partial(stage_from_json, _table(item, key), board), key))
    cells = [cell for stage in stages for cell in stage.cells]
    if len(set(cells)) < len(cells):
        double = next(cell for cell in cells if cells.count(cell) > 1)
        raise InputError(tr("{cell} is named in two stages.", cell=double), place="stages")
    return tuple(stages)


def _level(value: object) -> float | None:
    if value is None:
        return None
    volts = _number(value, "input_V")
    if not 0 < volts <= MOST_V:
        raise InputError(tr("{volts:g} V is no signal.", volts=volts), place="input_V")
    return volts


def _refers(design: Design, kit: Kit) -> None:
    """Raises InputError where a design speaks of something that does not stand on its board."""
    probes = [("input", design.input), ("output", design.output)]
    conditions = [("conditions", design.conditions)]
    for n, figure in enumerate(design.expectations):
        if figure.place is None and design.output is None:
            raise InputError(
                tr("it is not said where the {quantity} is taken.", quantity=figure.quantity),
                place=f"expectations[{n}].place",
            )
        probes.append((f"expectations[{n}].place", figure.place))
        if figure.conditions is not None:
            conditions.append((f"expectations[{n}].conditions", figure.conditions))
    for key, probe in probes:
        if probe is not None:
            terminals = _kind_in(design.board, kit, probe.cell, key).terminals
            if probe.terminal not in terminals:
                raise InputError(
                    tr("'{terminal}' is no terminal of the cube in {cell}.", terminal=probe.terminal,
                       cell=probe.cell),
                    place=key, way_out=tr("Accepted: {names}.", names=", ".join(terminals)),
                )  # fmt: skip
    for key, given in conditions:
        for name, cells in (
            (Setting.SUPPLY, given.supply_V),
            (Setting.SWITCH, given.switches),
            (Setting.POT, given.pots),
        ):
            for cell in cells:
                kind = _kind_in(design.board, kit, cell, f"{key}.{name}")
                if kind.device.setting is not name:
                    raise InputError(
                        tr("the {kind} in {cell} cannot be set.", kind=tr(kind.title), cell=cell),
                        place=f"{key}.{name}",
                    )


def _kind_in(board: Board, kit: Kit, cell: Cell, key: str) -> Kind:
    cube = board.cubes.get(cell)
    if cube is None:
        raise InputError(tr("no cube stands in {cell}.", cell=cell), place=key)
    return kit[cube.kind]


def _expectation(item: Mapping[str, Any], key: str) -> Expectation:
    conditions = item.get("conditions")
    quantity = _text(_get(item, "quantity", key), f"{key}.quantity")
    at, low, high = (
        None if item.get(name) is None else _number(item[name], f"{key}.{name}")
        for name in ("at", "low", "high")
    )
    if low is None and high is None:
        raise InputError(tr("the expected range is missing."), place=key)
    if at is not None and (quantity not in AT_FREQUENCY or at <= 0):
        raise InputError(
            tr("{quantity} is not taken at a frequency.", quantity=quantity)
            if quantity not in AT_FREQUENCY
            else tr("{value:g} is out of range.", value=at),
            place=f"{key}.at",
        )
    return _at(
        partial(
            Expectation,
            quantity,
            _probe(item.get("place"), f"{key}.place"),
            at,
            -math.inf if low is None else low,
            math.inf if high is None else high,
            _text(item.get("text") or "", f"{key}.text"),
            None if conditions is None else _conditions(conditions, f"{key}.conditions"),
        ),
        key,
    )


def _probe_to_json(probe: Probe | None) -> dict[str, str] | None:
    return None if probe is None else {"cell": str(probe.cell), "terminal": probe.terminal}


def _probe(item: object, key: str) -> Probe | None:
    if item is None:
        return None
    entry = _table(item, key)
    cell = _at(partial(Cell.parse, _text(_get(entry, "cell", key), key)), key)
    return Probe(cell, _text(_get(entry, "terminal", key), key))


def _conditions_to_json(conditions: Conditions) -> dict[str, Any]:
    return {
        "supply_V": {str(cell): volts for cell, volts in conditions.supply_V.items()},
        "switches": {str(cell): closed for cell, closed in conditions.switches.items()},
        "pots": {str(cell): position for cell, position in conditions.pots.items()},
        "light_lux": conditions.light_lux,
        "temperature_C": conditions.temperature_C,
    }


def _conditions(item: object, key: str) -> Conditions:
    entry = _table(item, key)
    usual = Conditions()

    def numbers(name: str, high: float) -> dict[Cell, float]:
        table = _table(entry.get(name, {}), f"{key}.{name}")
        return {
            _at(partial(Cell.parse, cell), f"{key}.{name}"): _within(value, f"{key}.{name}.{cell}", 0, high)
            for cell, value in table.items()
        }

    switches = _table(entry.get("switches", {}), f"{key}.switches")
    return Conditions(
        supply_V=numbers("supply_V", MOST_V),
        switches={
            _at(partial(Cell.parse, cell), f"{key}.switches"): _truth(closed, f"{key}.switches.{cell}")
            for cell, closed in switches.items()
        },
        pots=numbers("pots", 1),
        light_lux=_within(entry.get("light_lux", usual.light_lux), f"{key}.light_lux", *LUX),
        temperature_C=_within(
            entry.get("temperature_C", usual.temperature_C), f"{key}.temperature_C", *CELSIUS
        ),
    )


def _truth(value: object, key: str) -> bool:
    if not isinstance(value, bool):
        raise InputError(
            tr("{value} is neither true nor false.", value=brief(value)),
            place=key,
            way_out=tr("Accepted: true, false."),
        )
    return value


def _at(read: Callable[[], _T], place: str) -> _T:
    """Run `read`, adding the place to an error that has none."""
    try:
        return read()
    except InputError as error:
        if error.place:
            raise
        raise InputError(error.message, place=place, way_out=error.way_out) from None


def _get(table: Mapping[str, Any], name: str, key: str) -> Any:
    if name not in table:
        raise InputError(
            tr("'{name}' is missing.", name=name), place=key or None, way_out=tr('Add "{name}".', name=name)
        )
    return table[name]


def _table(value: object, key: str) -> Mapping[str, Any]:
    if not isinstance(value, dict):
        raise InputError(tr("is no JSON object ({…})."), place=key or None)
    return value


def _list(value: object, key: str) -> list[Any]:
    if not isinstance(value, list):
        raise InputError(tr("is no JSON list ([…])."), place=key)
    return value


def _text(value: object, key: str) -> str:
    if not isinstance(value, str):
        raise InputError(
            tr("{value} is no text.", value=brief(value)), place=key, way_out=tr("Write text in quotes.")
        )
    if any("\ud800" <= char <= "\udfff" for char in value):
        raise InputError(
            tr("holds half a character (a lone surrogate)."), place=key, way_out=tr("Write it again.")
        )
    return value


def _whole(value: object, key: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise InputError(tr("{value} is no whole number.", value=brief(value)), place=key)
    return value


def _number(value: object, key: str) -> float:
    number = finite(value)
    if number is None:
        raise InputError(tr("{value} is no number.", value=brief(value)), place=key)
    return number


def _within(value: object, key: str, low: float, high: float) -> float:
    number = _number(value, key)
    if not low <= number <= high:
        raise InputError(
            tr("{value:g} is out of range.", value=number),
            place=key,
            way_out=tr("Accepted: {low:g} to {high:g}.", low=low, high=high),
        )
    return number
