"""A search from the first symptom to the end."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from faultboards import DIVIDER, KIT, design_named, dictionary_of, divider

from snapcheck.board import Cell, parse_layout
from snapcheck.diagnose import (
    Ask,
    Outcome,
    Practice,
    Search,
    Specimen,
    Way,
    _search,
    _symptoms,
    ask_text,
    ask_words,
    bundled_priors,
    dictionary,
    effort,
    expected_readings,
    expected_words,
    groups,
    kept_dictionary,
    parse_ask,
    parse_reading,
    touches,
    unsure_faults,
)
from snapcheck.diagnose._kept import _KEPT
from snapcheck.diagnose._wiring import Metal
from snapcheck.errors import InputError, SimulationError


@pytest.fixture(scope="module")
def stage(simulator):
    return dictionary_of(design_named("speech-stage"), simulator)


@pytest.fixture(scope="module")
def lamp(simulator):
    return dictionary_of(design_named("night-lamp"), simulator)


def searched(search: Search, build: Specimen, most: int = 12) -> Search:
    while search.steps and len(search.readings) < most and search.suspects[0].probability < 0.95:
        search = search.with_reading(build.measure(search.steps[0].ask))
    return search


@pytest.mark.parametrize(
    "key", ["seam-open D2|D3", "open R103", "short-base-emitter Q101", "flat B101", "body-open E7"]
)
def test_a_fault_is_found(stage, simulator, key: str) -> None:
    build = Specimen(stage, simulator, (stage.faults[stage.fault_named[key]],), 4)
    search = searched(Search(stage), build)
    assert key in [fault.key for fault in search.suspects[0].faults]
    assert search.suspects[0].probability > 0.9 and search.fits and not search.contradictions


def test_a_good_build_is_said_to_be_good(stage, simulator) -> None:
    search = searched(Search(stage), Specimen(stage, simulator, (), 7), most=8)
    assert search.outcome is Outcome.DESIGNED and "as designed" in search.sentence


def test_what_no_voltage_tells_apart_is_one_suspect_until_a_cube_is_lifted(stage, simulator) -> None:
    fault = stage.faults[stage.fault_named["short C103"]]  # the emitter's capacitor beside its resistor
    build = Specimen(stage, simulator, (fault,), 2)
    search = searched(Search(stage, ways=(Way.VOLTS, Way.ACROSS)), build)
    assert {"short C103", "short R106"} <= {f.key for f in search.suspects[0].faults}
    assert search.outcome in (Outcome.FOUND, Outcome.OPEN, Outcome.TOLD_ALL)
    whole = Search(stage).take_up(search.told())
    while whole.steps and len(whole.readings) < 16:
        whole = whole.with_reading(build.measure(whole.steps[0].ask))
    assert whole.suspects[0].faults[0].key == "short C103" and whole.suspects[0].each[0] > 0.8
    assert any(reading.ask.way is Way.LIFTED for reading in whole.readings)


def test_two_faults_at_once(stage, simulator) -> None:
    both = [stage.faults[stage.fault_named[key]] for key in ("open R103", "seam-open F5|F6")]
    both[1] = stage.faults[stage.fault_named["short C103"]]
    build = Specimen(stage, simulator, tuple(both), 3)
    search = Search(stage, ways=(Way.VOLTS, Way.ACROSS, Way.SIGNAL))
    for _ in range(8):
        if not search.steps:
            break
        search = search.with_reading(build.measure(search.steps[0].ask)).with_pairs(simulator)
    first = [{f.key for f in s.faults} for s in search.suspects[:5]]
    assert any({"open R103", "short C103"} & keys for keys in first)


def test_readings_that_fit_nothing_are_pointed_out(stage, simulator) -> None:
    good = Search(stage)
    for text in ("E4 collector 4.9V", "E4 base 1.53V", "A2 plus 9.0V", "B5 plus 5.9V"):
        good = good.with_reading(text)
    assert good.fits and not good.contradictions
    wrong = good.with_reading("E4 emitter 6.5 V").with_pairs(simulator)
    assert any("E4 emitter" in words and "Measure there again" in words for words in wrong.contradictions)
    twice = good.with_reading("E4 collector 2.0 V")
    assert any("E4 collector was read as" in words for words in twice.contradictions)
    beyond = good.with_reading("A2 plus 45 V")
    assert any("more than the supply can give" in words for words in beyond.contradictions)


def test_symptoms_are_a_start(lamp, stage) -> None:
    start, never = Search(lamp), Search(lamp).with_symptom("never-on")
    assert start.fits and never.fits and start.with_reading("contact D1|D2 good").fits  # no number is far off

    def share(search: Search, key: str) -> float:
        return float(search.belief.faults[lamp.fault_named[key]])

    assert share(never, "blown H101") > 1.4 * share(start, "blown H101")
    assert share(never, "as-designed") < share(start, "as-designed")
    always = Search(lamp).with_symptom("always-on")
    assert share(always, "short-collector-emitter Q101") > 5 * share(never, "short-collector-emitter Q101")
    silent = Search(stage).with_symptom("silent").belief
    assert silent.faults[stage.fault_named["flat B101"]] > silent.faults[stage.fault_named["decade-up R105"]]
    for name in ("too-quiet", "distorted", "hums", "wrong-rate", "hot"):
        assert Search(stage).with_symptom(name).belief.faults.sum() == pytest.approx(1)
    shown = {
        s: {stage.faults[i].key for i in stage.fault_of[_symptoms._SHOWN[s](stage)]}
        for s in ("hot", "wrong-rate")
    }
    assert "reversed C101" in shown["hot"] and "reversed Q101" not in shown["hot"]
    assert {"seam-poor D2|D3", "weak B101", "decade-up R101"} <= shown["wrong-rate"]
    assert not {"seam-open D2|D3", "open R101", "reversed C101"} & shown["wrong-rate"]
    with pytest.raises(InputError, match="is no symptom"):
        Search(lamp).with_symptom("smells")


def test_a_search_is_left_and_taken_up_again(lamp) -> None:
    search = Search(lamp).with_symptom("never-on").with_reading("D3 collector with light 1 lux 5.9V")
    search = search.with_reading("contact D1|D2 good").with_reading("lifted D2 open")
    told = json.loads(json.dumps(search.told()))
    again = Search(lamp).take_up(told)
    assert again.readings == search.readings and again.symptoms == search.symptoms
    assert again.belief.faults == pytest.approx(search.belief.faults)
    for bad in ({"readings": 3}, {"readings": [3]}, {"readings": [{"at": "A1"}]}, {"symptoms": ["x"]}):
        with pytest.raises(InputError):
            Search(lamp).take_up(bad)


def test_a_meter_loads_what_it_measures(simulator) -> None:
    """Thévenin's theorem: 1 MΩ, 2.2 MΩ and 10 MΩ side by side before a meter of 10 MΩ."""
    text = DIVIDER.replace(" 1k", " 1M").replace(" 2k", " 2M2").replace(" 10k", " 10M")
    d = dictionary_of(parse_layout(text, "large", KIT), simulator)
    at = d.index[Metal(Cell.parse("B1"), "b")]
    ohm, lower = 1 / (1 / 1e6 + 1 / 2.2e6 + 1 / 1e7), 1 / (1 / 2.2e6 + 1 / 1e7)
    assert bundled_priors().meter["ohm"] == 1e7
    assert d.source_ohm[0, 0, at] == pytest.approx(ohm, rel=0.01)
    assert d.mean[0, 0, at] == pytest.approx(9 * lower / (1e6 + lower) * 1e7 / (1e7 + ohm), rel=0.01)


def test_what_tells_next_to_nothing_is_no_step(lamp, monkeypatch) -> None:
    search = Search(lamp).with_reading("contact D1|D2 good")
    assert search.outcome is Outcome.OPEN and min(s.bits for s in search.steps) > _search._LEAST_BITS
    monkeypatch.setattr(_search, "_LEAST_BITS", 100.0)
    told = Search(lamp).with_reading("contact D1|D2 good")
    assert told.steps == () and told.outcome is Outcome.TOLD_ALL


def test_where_a_search_stands_is_said_in_words(lamp) -> None:
    said = {}
    for outcome in Outcome:
        search = Search(lamp)
        vars(search)["outcome"] = outcome
        said[outcome] = search.sentence
    assert len(set(said.values())) == len(Outcome)
    assert said[Outcome.OPEN] == "Nothing was measured yet."
    assert said[Outcome.NONE_FITS] == "No single fault explains all readings."
    assert said[Outcome.TOLD_ALL] == "No measurement tells more."
    assert said[Outcome.DESIGNED] == "All that was measured is as designed."
    measured = Search(lamp).with_reading("contact D1|D2 good")
    vars(measured)["outcome"] = Outcome.OPEN
    assert measured.sentence == "Not found yet."


def test_what_glimmers_is_not_lit(lamp, monkeypatch) -> None:
    """A lamp with a tenth of its voltage across it."""
    volts = np.full(lamp.mean.shape[:2], 6.0)
    volts[:, 1] = 0.6
    monkeypatch.setattr(_symptoms, "_across", lambda dictionary, ends: volts)
    lit = _symptoms._lit(lamp)
    assert lit[:, 0].all() and not lit[:, 1].any()


@pytest.mark.parametrize(
    ("text", "way", "value"),
    [
        ("D3 collector 4.6V", Way.VOLTS, 4.6),
        ("D3 collector = 4,6 V", Way.VOLTS, 4.6),
        ("D3 base 650 mV", Way.VOLTS, 0.65),
        ("C3|D3 -0.2", Way.VOLTS, -0.2),
        ("D3 base to D3 emitter 0.7V", Way.ACROSS, 0.7),
        ("contact C3|D3 open", Way.CONTACT, "open"),
        ("contact C3|D3 0.4", Way.CONTACT, "good"),
        ("contact C3|D3 470", Way.CONTACT, "poor"),
        ("lifted C2 10k", Way.LIFTED, "good"),
        ("lifted C2 100k", Way.LIFTED, "value"),
        ("lifted C2 OL", Way.LIFTED, "open"),
        ("lifted D3 short", Way.LIFTED, "short"),
        ("lifted A2 3V", Way.LIFTED, "weak"),
    ],
)
def test_readings_as_people_write_them(lamp, text: str, way: Way, value) -> None:
    reading = parse_reading(lamp, text)
    assert reading.ask.way is way and reading.value == (pytest.approx(value) if way is Way.VOLTS else value)
    assert parse_ask(lamp, ask_text(lamp, reading.ask)) == reading.ask


@pytest.mark.parametrize(
    "text",
    ["", "4.6V", "Z9 left 3V", "D3 collector five", "D3 nose 3V", "C3|C5 1V", "lifted C3 good",
     "contact A1|A9 open", "D3 base with C9 closed 1V", "signal D3 base 1V", "tap C3|D3 1V",
     "lifted C2 purple", "D3 collector with light 77 lux 4V"],
)  # fmt: skip
def test_what_is_not_understood_is_told(lamp, text: str) -> None:
    with pytest.raises(InputError):
        parse_reading(lamp, text)


def test_no_measurement_can_hurt(lamp, stage) -> None:
    """Ohms only with the battery out, current never, and every step says what to do first."""
    for d in (lamp, stage):
        search = Search(d)
        seen = set()
        for step in search.steps:
            seen.add(step.ask.way)
        for part in d.wiring.circuit.parts:
            ask = Ask(Way.LIFTED, part=part.name)
            words = ask_words(d, ask)
            assert not ask.powered and ("Battery out" in words or "Take out" in words)
        for joint in d.wiring.joints:
            if joint.held.value == "seam":
                ask = Ask(Way.CONTACT, seam=joint.seam)
                assert not ask.powered and ask_words(d, ask).startswith("Battery out.")
        assert {way.value for way in Way} == {"volts", "across", "signal", "contact", "lifted"}


def test_steps_say_what_to_expect_and_where(stage) -> None:
    ask = parse_ask(stage, "E4 collector")
    assert "Black probe on the plate, red probe on the collector" in ask_words(stage, ask)
    assert expected_words(stage, ask).startswith("4.9") and "±" in expected_words(stage, ask)
    (touch,) = touches(stage, ask)
    assert (touch.sign, str(touch.cell), touch.side.name) == ("+", "E4", "N")
    signs = [t.sign for t in touches(stage, parse_ask(stage, "E4 base to E4 emitter"))]
    assert signs == ["+", "-"]


def test_expected_readings_hold_for_good_builds(stage, simulator) -> None:
    rows = {row.at: row for row in expected_readings(stage)}
    assert {"E4 collector", "E4 base", "E4 emitter", "A2 plus", "signal E4 collector"} <= set(rows)
    inside = []
    for seed in range(25):
        build = Specimen(stage, simulator, (), seed)
        for row in rows.values():
            if not row.signal:
                value = float(build.measure(row.ask).value)
                inside.append(row.low <= value <= row.high)
    assert np.mean(inside) >= 0.93  # 95 of 100 are promised
    assert len(expected_readings(stage, every=True)) > len(rows)


def test_practice_counts_effort_and_knows_the_best(stage, simulator) -> None:
    one, two = Practice(stage, simulator, 5), Practice(stage, simulator, 5)
    assert one.hidden == two.hidden and one.hidden.key != "as-designed"
    ask = parse_ask(stage, "E4 collector")
    assert one.measure(ask) == two.measure(ask)
    score = one.score(one.hidden)
    assert score.right and score.readings == 1 and score.effort == effort(stage, ask)
    assert score.best_readings >= 1 and 0 < score.points <= 100
    group = groups(stage)
    hidden = {int(group[e]) for e in np.flatnonzero(stage.fault_of == stage.fault_named[one.hidden.key])}
    other = next(
        f for i, f in enumerate(stage.faults) if not hidden & {int(g) for g in group[stage.fault_of == i]}
    )
    assert not two.score(other).right and two.score(other).points == 0
    assert len({Practice(stage, simulator, seed).hidden.key for seed in range(8)}) > 3


def test_what_a_photo_left_unsure_is_a_suspect(simulator) -> None:
    """10k was read where 1k may stand as well: a reading that fits 1k alone finds it."""
    plan = divider()
    text = plan_text().replace("B1 resistor 1k", "B1 resistor 3k3")
    other = parse_layout(text, "other", KIT).board
    unsure = unsure_faults([(other, 0.3)], plan.board, KIT)
    d = dictionary(plan, KIT, simulator, bundled_priors(), others=unsure)
    search = (
        Search(d).with_reading("D1|D2 3.03V").with_reading("A2 plus 8.99V").with_reading("lifted B1 good")
    )
    assert search.suspects[0].faults[0].key.startswith("other-cube B1")
    assert "the photo leaves it open" in search.suspects[0].faults[0].text


def plan_text() -> str:
    from faultboards import DIVIDER

    return DIVIDER


def test_dictionaries_are_kept_in_memory_and_in_a_folder(simulator, tmp_path: Path) -> None:
    plan, priors = divider(), bundled_priors()
    _KEPT.clear()
    made = kept_dictionary(plan, KIT, simulator, priors, folder=tmp_path / "kept")
    assert kept_dictionary(plan, KIT, simulator, priors) is made
    _KEPT.clear()
    (file,) = (tmp_path / "kept").iterdir()
    again = kept_dictionary(plan, KIT, simulator, priors, folder=tmp_path / "kept")
    assert again is not made and (again.mean == made.mean).all() and again.settings == made.settings
    assert [f.key for f in again.faults] == [f.key for f in made.faults]
    file.write_bytes(b"damaged")
    _KEPT.clear()
    assert (kept_dictionary(plan, KIT, simulator, priors, folder=tmp_path / "kept").mean == made.mean).all()
    with pytest.raises(InputError, match="cannot be written"):
        _KEPT.clear()
        (tmp_path / "file").write_text("x")
        kept_dictionary(plan, KIT, simulator, priors, folder=tmp_path / "file" / "kept")


def test_a_board_without_a_supply_has_no_dictionary(simulator) -> None:
    text = "plate 3 x 2\nA1 resistor 1k\nB1 resistor 1k\n"
    with pytest.raises(SimulationError):
        dictionary(parse_layout(text, "bare", KIT), KIT, simulator, bundled_priors())
