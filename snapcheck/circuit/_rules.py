"""The table of rules, and the one function that runs them."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace

from snapcheck.board import Cell, Spot
from snapcheck.circuit import _rules_alternating as alternating
from snapcheck.circuit import _rules_chips as chips
from snapcheck.circuit import _rules_coils as coils
from snapcheck.circuit import _rules_current as current
from snapcheck.circuit import _rules_parts as parts
from snapcheck.circuit import _rules_polarity as polarity
from snapcheck.circuit import _rules_supply as supply
from snapcheck.circuit import _rules_transistor as transistor
from snapcheck.circuit import _rules_wiring as wiring
from snapcheck.circuit._book import RuleBook, bundled_rules
from snapcheck.circuit._circuit import Circuit
from snapcheck.circuit._context import Context, WordsLater
from snapcheck.circuit._operating import OperatingPointLike
from snapcheck.findings import Finding, Severity, in_order
from snapcheck.words import tr

Rule = Callable[[Context], Iterator[Finding]]


def _also(*rules: Rule) -> Rule:
    """Several functions that find the same: in direct current, and in alternating current."""
    return lambda ctx: (finding for rule in rules for finding in rule(ctx))


#: rule name (as in the rule book) to the function that finds it; a rule may leave a place to an earlier one
RULES: Mapping[str, Rule] = {
    "above-extra-low": _also(supply.above_extra_low, alternating.above_extra_low),
    "supply-shorted": _also(supply.supply_shorted, alternating.supply_shorted),
    "supplies-fighting": supply.supplies_fighting,
    "supplies-parallel": supply.supplies_parallel,
    "supply-reversed": supply.supply_reversed,
    "batteries-opposed": supply.batteries_opposed,
    "no-current-limit": _also(current.no_current_limit, alternating.no_current_limit),
    "clamp-reversed": coils.clamp_reversed,
    "electrolytic-reversed": _also(polarity.electrolytic_reversed, alternating.electrolytic_reversed),
    "electrolytic-overvoltage": _also(
        polarity.electrolytic_overvoltage, alternating.electrolytic_overvoltage
    ),
    "reversed-in-circuit": _also(polarity.reversed_in_circuit, alternating.reversed_in_circuit),
    "output-shorted": chips.output_shorted,
    "input-beyond-supply": chips.input_beyond_supply,
    "resistor-missing": current.resistor_missing,
    "over-rating": _also(parts.over_rating, alternating.over_rating),
    "fuse-blows": current.fuse_blows,
    "speaker-direct-current": parts.speaker_direct_current,
    "microphone-direct-current": parts.microphone_direct_current,
    "terminals-joined": parts.terminals_joined,
    "base-floating": transistor.base_floating,
    "gate-floats-open": transistor.gate_floats_open,
    "input-without-bias": transistor.input_without_bias,
    "emitter-no-return": transistor.emitter_no_return,
    "transistor-swapped": transistor.transistor_swapped,
    "input-without-block": transistor.input_without_block,
    "terminal-open": wiring.terminal_open,
    "pot-end-open": wiring.pot_end_open,
    "gap-between": wiring.gap_between,
    "island": wiring.island,
    "no-ground": supply.no_ground,
    "no-parts": supply.no_parts,
    "no-supply": supply.no_supply,
    "lead-loose": wiring.lead_loose,
    "tap-loose": wiring.tap_loose,
    "flyback-missing": coils.flyback_missing,
    "decoupling-missing": wiring.decoupling_missing,
}


#: rules about what destroys a part: asked for every position of the switches; of points that tell voltages
#: alone, those about voltages that stand there for a while
_AT_A_MOMENT = ("electrolytic-reversed", "electrolytic-overvoltage")
_IN_EVERY_POSITION = (*_AT_A_MOMENT, "resistor-missing", "over-rating", "fuse-blows")


def check_rules(
    circuit: Circuit,
    operating_point: OperatingPointLike | None = None,
    *,
    positions: Mapping[str, OperatingPointLike] | None = None,
    book: RuleBook | None = None,
    supply_V: Mapping[Cell, float] | None = None,
    only: Collection[str] | None = None,
    wordless: bool | WordsLater = False,
) -> list[Finding]:
    """Run every enabled rule over a circuit; worst first.

    Args:
        circuit: to check.
        operating_point: simulated direct-current state; without it, rules say only what the structure
            alone makes certain.
        positions: the same in other positions of the switches, by what is different there, in words
            (`switch_positions`); what destroys a part is looked for in each.
        book: which rules are on, and their limits; None for the bundled book.
        supply_V: volts of sources that differ from their print, by cell.
        only: names of the rules to run, None for all.
        wordless: leave out the words of the findings that a crowded board has most of; for those who
            ask only what is wrong where. With a `WordsLater` they can be had afterwards.
    """
    book = bundled_rules() if book is None else book
    others = tuple((positions or {}).values())
    context = Context(circuit, book, operating_point, others, dict((supply_V or {}).items()), wordless)
    found: list[Finding] = []
    for name, rule in RULES.items():
        if book[name].enabled and (only is None or name in only):
            found += rule(context)
    told = {_key(f) for f in found}
    for words, point in (positions or {}).items():
        context.operating_point = point
        for name in _IN_EVERY_POSITION if point.part_currents_A else _AT_A_MOMENT:
            if not book[name].enabled or (only is not None and name not in only):
                continue
            for finding in RULES[name](context):
                if finding.severity is not Severity.NOTE and _key(finding) not in told:
                    told.add(_key(finding))
                    title = tr("With {position}: {title}", position=words, title=finding.title)
                    found.append(replace(finding, title=title, data={**finding.data, "position": words}))
    return in_order(found)


def rules_for_danger(book: RuleBook | None = None) -> tuple[str, ...]:
    """The rules to run to know every danger: those that may find one, and all before them, since a rule may
    leave a place to an earlier one."""
    book = bundled_rules() if book is None else book
    names = list(RULES)
    last = max(i for i, n in enumerate(names) if n == "over-rating" or book[n].severity is Severity.DANGER)
    return tuple(names[: last + 1])


def is_shorted(circuit: Circuit, book: RuleBook | None = None) -> bool:
    """Whether a supply is shorted, or supplies fight each other: such a circuit is not calculated, because
    its currents say enough."""
    return bool(check_rules(circuit, book=book, only=("supply-shorted", "supplies-fighting"), wordless=True))


def _key(finding: Finding) -> tuple[str, tuple[Spot, ...]]:
    """One thing at one place is told once."""
    return finding.rule, finding.cells[:1] or finding.named[:1]
