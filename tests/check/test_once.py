"""What a check works out, it works out once: one comparison, each circuit made once, rules once a circuit.

Circuits in which something was tried (one change alone, another cube in an unsure cell, a mend) are counted
apart: they answer a question of their own. So does the look at two rules: is a supply shorted?
"""

from __future__ import annotations

import json
import sys
from collections import Counter
from pathlib import Path

import pytest
from samples import CHIP_DESIGNS, DESIGNS, KIT, Variant, kit_for, variants

from snapcheck.board import Design, load_design
from snapcheck.check import Laid, lay
from snapcheck.circuit import _build, _rules, build_circuit
from snapcheck.photo import Reading, reading_from_json
from snapcheck.pipeline import check_build
from snapcheck.simulate import Simulator

READINGS = Path(__file__).parents[2] / "fixtures" / "class" / "readings"
PLANS = {file.stem: load_design(file, kit_for(file)) for file in [*DESIGNS, *CHIP_DESIGNS]}
#: functions that try something else than what stands on the plate
TRYING = {
    "with_only",
    "mended",
    "dangers",
    "no_matter",
    "no_matter_together",
    "_with_effects",
    "_unexplained",
    "_with_hidden_danger",
    "is_shorted",
}


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """Counts circuits, rule runs and laid plans; those of tried boards with a mark."""
    count: Counter[str] = Counter()

    def counted(what: str, make: type) -> type:
        class Counting(make):
            def __init__(self, *args, **more) -> None:
                frame, tried = sys._getframe(1), False
                while frame is not None and not tried:
                    tried, frame = frame.f_code.co_name in TRYING, frame.f_back
                count[f"{what} tried" if tried else what] += 1
                super().__init__(*args, **more)

        return Counting

    monkeypatch.setattr(_build, "_Joints", counted("circuits", _build._Joints))
    monkeypatch.setattr(_rules, "Context", counted("rule runs", _rules.Context))
    own = Laid.__init__

    def laid(self, *args, **more) -> None:
        count["comparisons"] += 1
        own(self, *args, **more)

    monkeypatch.setattr(Laid, "__init__", laid)
    return count


@pytest.fixture(scope="module")
def simulator():
    with Simulator() as one:
        yield one


def readings() -> list[tuple[str, Design]]:
    """Photos of the sample class as they were read, each with its plan."""
    names = sorted(file.stem for file in READINGS.glob("*.json"))
    return [(name, PLANS["night-lamp" if "_2031-03-12" in name else "first-light"]) for name in names]


def reading(name: str) -> Reading:
    data = json.loads((READINGS / f"{name}.json").read_text(encoding="utf-8"))
    return reading_from_json({**data, "photo": name})


@pytest.mark.parametrize(("name", "plan"), readings(), ids=lambda x: x if isinstance(x, str) else "")
def test_a_photo_is_compared_once(name: str, plan: Design, simulator, made: Counter[str]) -> None:
    photo = reading(name)
    check_build(photo, plan, KIT, simulator)
    assert made["comparisons"] == 1
    assert made["circuits"] <= 4 and made["rule runs"] <= 4
    assert made["circuits tried"] <= 8


@pytest.mark.parametrize("moved", [False, True])
@pytest.mark.parametrize("variant", variants()[4::16], ids=lambda v: f"{v.design.stem}: {v.title}")
def test_a_faulty_build_is_compared_once(
    variant: Variant, moved: bool, simulator, made: Counter[str]
) -> None:
    """A mend is a comparison of its own: the build against itself, mended."""
    board = variant.board()
    plan, kit = PLANS[variant.design.stem], kit_for(variant.design)
    result = check_build(board.turned(180) if moved else board, plan, kit, simulator)
    own = result.comparison.own_layout
    assert made["comparisons"] <= (2 if own else 1)
    assert made["circuits"] <= 4 and made["rule runs"] <= (5 if own else 4)


@pytest.mark.parametrize("name", ["bench-supply", "call-lamp", "first-light", "hiss-filter"])
def test_the_plan_is_not_calculated_again_for_a_second_build(name: str, made: Counter[str]) -> None:
    plan = PLANS[name]
    with Simulator() as simulator:
        asked: list[object] = []
        ask = simulator.worker._ask
        simulator.worker._ask = lambda request, limit: asked.append(request) or ask(request, limit)
        simulator.measure_plan(plan, KIT)
        ahead = len(asked)
        check_build(plan.board, plan, KIT, simulator)
        first = len(asked) - ahead
        check_build(plan.board, plan, KIT, simulator)
        assert len(asked) - ahead == first  # neither the plan nor the same build again
    assert made["circuits"] == 3


def test_circuits_that_are_there_are_taken() -> None:
    plan = PLANS["first-light"]
    circuit = build_circuit(plan.board, KIT)
    laid = lay(plan, plan.board, KIT, plan_circuit=circuit)
    assert laid.own_plan_circuit is circuit is laid.placed_circuit and laid.placed is plan
    turned = lay(plan, plan.board.turned(180), KIT, plan_circuit=circuit)
    assert turned.own_plan_circuit is circuit is not turned.placed_circuit
    assert turned.placed is not None and turned.placed.board == plan.board.turned(180)
