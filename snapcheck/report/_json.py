"""A checked build as JSON; the form is published in ``data/report.schema.json``."""

from __future__ import annotations

import json
from dataclasses import asdict
from importlib import resources
from typing import Any

from snapcheck import __version__
from snapcheck.findings import finding_to_json
from snapcheck.pipeline import CheckResult
from snapcheck.report._hints import hint
from snapcheck.report._look import numbered, verdict_advice
from snapcheck.report._tables import figure_rows, net_rows, part_rows

FORM = "snapcheck-report-1"


def report_json(result: CheckResult) -> dict[str, Any]:
    """Plain values for `json.dumps`; see `report_schema`."""
    comparison = result.comparison
    return {
        "form": FORM,
        "program": f"snapcheck {__version__}",
        "design": result.design.title,
        "photo": "" if result.reading is None else result.reading.photo,
        "verdict": result.verdict.value,
        "verdict_text": result.verdict.sentence,
        "advice": verdict_advice(result.verdict),
        "exit_code": result.verdict.exit_code,
        "circuits": comparison.electrical.value,
        "own_layout": comparison.own_layout,
        "alignment": {
            "mirrored": comparison.alignment.mirrored,
            "turn": comparison.alignment.turn,
            "columns": comparison.alignment.columns,
            "rows": comparison.alignment.rows,
        },
        "simulated": result.simulated,
        "findings": [
            {
                "number": number,
                **finding_to_json(finding),
                "hints": list(hint(finding, result.built).until(3)),
            }
            for number, finding in numbered(result.findings)
        ],
        "figures": [
            {
                "quantity": designed.expectation.quantity,
                "place": None if designed.expectation.place is None else str(designed.expectation.place),
                "unit": designed.expectation.unit,
                "low": _finite(designed.expectation.low),
                "high": _finite(designed.expectation.high),
                "designed": _finite(designed.value),
                "built": None if built is None else _finite(built.value),
                "met": built is not None and built.met,
                "text": row_text,
            }
            for (designed, built), row_text in zip(
                result.figures, [_text(d, b) for d, b in result.figures], strict=True
            )
        ],
        "nets": [{k: v for k, v in asdict(row).items() if k != "colour"} for row in net_rows(result, {})],
        "parts": [asdict(row) for row in part_rows(result)],
        "notes": list(result.notes),
    }


def _text(designed: Any, built: Any) -> str:
    return str((built or designed).text)


def _finite(value: float | None) -> float | None:
    """JSON knows no infinity: an open end is null."""
    return value if value is not None and abs(value) != float("inf") else None


def report_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of `report_json`."""
    text = resources.files("snapcheck.report").joinpath("data/report.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


__all__ = ["FORM", "figure_rows", "report_json", "report_schema"]
