"""A kind in words, as the table that a kit's file has for it."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence

from snapcheck.devices import DEVICES
from snapcheck.errors import InputError
from snapcheck.kit._form import ValueForm
from snapcheck.kit._model import Kind, Kit
from snapcheck.words import tr

_LEG = re.compile(r"([^:\s]+):(?:([A-H][1-8])-)?([NESW])")


def like(kit: Kit, model: str) -> Kind | None:
    """A kind of a kit that is calculated as this model, whose data a new kind may start from."""
    return next((kind for kind in kit.kinds.values() if kind.device.name == model), None)


def needed_legs(model: str) -> tuple[str, ...]:
    """Names of the legs that a model needs, () where they are free.

    Raises:
        InputError: there is no such model.
    """
    if model not in DEVICES:
        raise InputError(
            tr("'{model}' is nothing that can be calculated.", model=model),
            way_out=tr("Accepted for --model: {names}.", names=", ".join(DEVICES)),
        )
    return tuple(DEVICES[model].legs)


def kind_table(
    name: str,
    *,
    title: str,
    model: str,
    legs: Sequence[str],
    size: tuple[int, int] = (1, 1),
    form: str = "",
    values: Sequence[str] = (),
    start: Kind | None = None,
) -> str:
    """The table ``[kind.NAME]`` of a kind.

    Args:
        legs: each ``plus:W``, or ``plus:A2-W`` on a cube of several cells: name, cell, side at turn 0.
        form: what is printed, "": as on `start`.
        start: a kind of the same model; prefix, tolerance, ratings and parameters are taken from it.

    Raises:
        InputError: a leg is not written so, or legs that the model needs are missing.
    """
    parts = []
    for leg in legs:
        match = _LEG.fullmatch(leg)
        if match is None:
            raise InputError(
                tr("'{leg}' is no leg.", leg=leg),
                way_out=tr("Write name:side (plus:W) or name:cell-side (plus:A2-W)."),
            )
        cell = match[2] or "A1"
        parts.append(f'{{ name = {json.dumps(match[1])}, cell = "{cell}", side = "{match[3]}" }}')
    given = [leg.partition(":")[0] for leg in legs]
    missing = [leg for leg in needed_legs(model) if leg not in given]
    if missing or not legs:
        raise InputError(
            tr("legs are missing: {names}.", names=", ".join(missing) or "-"),
            way_out=tr("Give each with --leg NAME:SIDE, or NAME:CELL-SIDE on a cube of several cells."),
        )
    shown = form or (start.value_form.value if start else ValueForm.NONE.value)
    numbers = ValueForm(shown).si_unit if shown in set(ValueForm) else ""
    lines = [
        f"[kind.{name}]",
        f"title = {json.dumps(title, ensure_ascii=False)}",
        f"footprint = [{size[0]}, {size[1]}]",
    ]
    lines += ["legs = [", *(f"    {part}," for part in parts), "]"]
    lines += [f"value = {json.dumps(shown)}", f"model = {json.dumps(model)}"]
    if values:
        told = [
            v if numbers and re.fullmatch(r"[0-9.eE+-]+", v) else json.dumps(v, ensure_ascii=False)
            for v in values
        ]
        lines.append(f"values = [{', '.join(told)}]")
    if start is not None:
        lines.append(f"prefix = {json.dumps(start.prefix)}")
        lines += [f"tolerance = {start.tolerance!r}"] if start.tolerance else []
        lines += [f"{key} = {_inline(table)}" for key, table in
                  (("ratings", start.ratings), ("parameters", start.parameters)) if table]  # fmt: skip
    return "\n".join(lines) + "\n"


def _inline(table: Mapping[str, float]) -> str:
    return "{ " + ", ".join(f"{json.dumps(k)} = {v!r}" for k, v in table.items()) + " }"
