"""``snapcheck value TEXT``: what does this print mean, and is it a preferred number?"""

from __future__ import annotations

import argparse

from snapcheck.cli._common import add_kit, kit_of, print_json
from snapcheck.cli._output import document, say
from snapcheck.errors import InputError
from snapcheck.kit import ValueForm, coarsest_series, format_value, neighbours, parse_value
from snapcheck.words import numeral, tr


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("text", metavar="TEXT", help="as printed: 4k7, 0.47uF, 100uF/16V, 3.5V/0.2A")
    parser.add_argument("--on", metavar="KIND", default="resistor", help="kind of cube (default: resistor)")
    add_kit(parser)


def run(args: argparse.Namespace) -> int:
    kit = kit_of(args)
    if args.on not in kit:
        raise InputError(
            tr("'{on}' is no kind.", on=args.on), way_out=tr("Accepted: {names}.", names=", ".join(kit.kinds))
        )
    form = kit[args.on].value_form
    parsed = parse_value(args.text, form)
    value = parsed.value
    series = near = None
    if (
        isinstance(value, float)
        and value > 0
        and form in (ValueForm.OHMS, ValueForm.FARADS, ValueForm.HENRIES)
    ):
        series = coarsest_series(value)
        near = [format_value(v, form) for v in neighbours(value, "E12")]
    if args.json:
        print_json(
            document("value", {
                "text": args.text, "kind": args.on, "value": value, "unit": parsed.unit or form.si_unit,
                "rated_V": parsed.rated_V, "tolerance": parsed.tolerance, "volts": parsed.volts,
                "amperes": parsed.amperes, "series": series, "nearest_E12": near,
                "code": format_value(value, form, unit=parsed.unit),
            })
        )  # fmt: skip
        return 0
    shown = format_value(value, form, style="spaced", unit=parsed.unit)
    if isinstance(value, float):
        shown = numeral(shown)
    say(tr("{text} ({kind}): {value}", text=args.text, kind=tr(kit[args.on].title), value=shown))
    if parsed.rated_V is not None:
        say(tr("  rated voltage {volts} V", volts=numeral(f"{parsed.rated_V:g}")))
    if parsed.tolerance is not None:
        say(tr("  tolerance {percent} %", percent=numeral(f"{parsed.tolerance * 100:g}")))
    if parsed.volts is not None and parsed.amperes is not None:
        say(numeral(f"  {parsed.volts:g} V, {parsed.amperes:g} A"))
    if series in ("E3", "E6", "E12"):  # has no neighbour in E12 but itself
        say("  " + tr("in {series} (IEC 60063)", series=series))
    elif near is not None:
        where = tr("in {series} (IEC 60063)", series=series) if series else tr("in no E series (IEC 60063)")
        say(tr("  {where}; E12 next to it: {low}, {high}", where=where, low=near[0], high=near[1]))
    return 0
