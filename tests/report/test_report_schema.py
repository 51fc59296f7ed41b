"""The report's JSON against its published schema (JSON Schema, draft 2020-12, checked by jsonschema)."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest
from reportmaker import photographed, written

from snapcheck.photo import State
from snapcheck.pipeline import CheckResult, check_build
from snapcheck.report import report_json, report_schema
from snapcheck.words import use_language

VALIDATOR = jsonschema.Draft202012Validator(report_schema())


def doubtful() -> CheckResult:
    result, _ = photographed("mixed-cubes", "photos/mixed-cubes.json")
    reading = result.reading
    assert reading is not None
    cubes = {c: replace(r, state=State.HIDDEN, reason="glare") for c, r in reading.cubes.items()}
    taps = tuple(replace(t, state=State.UNSURE) for t in reading.taps)
    leads = tuple(replace(lead, state=State.UNSURE) for lead in reading.leads)
    return check_build(
        replace(reading, cubes=cubes, taps=taps, leads=leads, notes=("Glare.",)), result.design, result.kit
    )


RESULTS = {
    "written": written,
    "good": lambda: photographed("first-light-good", "designs/first-light.board")[0],
    "danger": lambda: photographed("speech-stage-reversed", "designs/speech-stage.board")[0],
    "other layout": lambda: photographed("night-lamp-own-way", "designs/night-lamp.board")[0],
    "nothing alike": lambda: photographed("mixed-cubes", "designs/speech-stage.board")[0],
    "doubtful": doubtful,
}


def test_the_schema_itself_is_valid() -> None:
    jsonschema.Draft202012Validator.check_schema(report_schema())


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("name", RESULTS)
def test_json_keeps_to_the_published_schema(name: str, language: str) -> None:
    use_language(language)
    told = json.loads(json.dumps(report_json(RESULTS[name]()), allow_nan=False))
    assert [f"{list(e.absolute_path)}: {e.message}" for e in VALIDATOR.iter_errors(told)] == []


def test_the_schema_refuses_what_is_wrong() -> None:
    told = json.loads(json.dumps(report_json(written())))
    for key, value in (("verdict", "fine"), ("findings", [{}]), ("exit_code", 1), ("extra", 1)):
        assert not VALIDATOR.is_valid({**told, key: value}), key
