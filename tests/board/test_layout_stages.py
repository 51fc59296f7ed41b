"""``stage`` and ``note`` lines: read, written, as JSON, and what is wrong in them."""

from __future__ import annotations

import pytest
from samples import KIT

from snapcheck.board import Stage, design_from_json, design_to_json, parse_layout, write_layout
from snapcheck.errors import InputError

HEAD = "plate 3 x 1\nA1 straight\nB1 resistor 470\nC1 ground stem=left\n"
TEXT = HEAD + "note first # not a remark\nstage One: in detail: A1 B1\nnote a\nnote b\nstage Two: C1\n"


def test_they_are_read_written_and_kept_in_json() -> None:
    design = parse_layout(TEXT, "plan", KIT)
    assert design.note == "first # not a remark"
    assert [(s.name, [str(c) for c in s.cells], s.note) for s in design.stages] == [
        ("One: in detail", ["A1", "B1"], "a\nb"), ("Two", ["C1"], ""),
    ]  # fmt: skip
    assert parse_layout(write_layout(design, KIT), "again", KIT) == design
    assert design_from_json(design_to_json(design), KIT) == design


def test_files_without_them_stay_as_they_were() -> None:
    design = parse_layout(HEAD, "plan", KIT)
    assert design.stages == () and design.note == "" and "stage" not in write_layout(design, KIT)
    data = design_to_json(design)
    del data["stages"], data["note"]
    assert design_from_json(data, KIT) == design


def test_a_name_that_looks_like_a_remark_does_not_hide_the_cells() -> None:
    design = parse_layout(TEXT, "plan", KIT)
    odd = parse_layout(HEAD, "plan", KIT)
    odd = type(odd)(odd.board, stages=(Stage("#1 of: two:", design.stages[0].cells),))
    (stage,) = parse_layout(write_layout(odd, KIT), "again", KIT).stages
    assert stage.cells == design.stages[0].cells and stage.name == "1 of: two"


@pytest.mark.parametrize(
    ("line", "column", "words"),
    [
        ("stage One A1", 7, "no name with a colon"),
        ("stage : A1", 7, "has no name"),
        ("stage One:", 11, "has no cells"),
        ("stage One: A1 D9", 15, "no cube stands in D9"),
        ("stage One: A1 what", 15, "no cell address"),
        ("stage One: A1 B1 A1", 18, "belongs to the stage 'One' already"),
        ("note", 5, "the note is empty"),
    ],
)
def test_an_error_names_the_line(line: str, column: int, words: str) -> None:
    with pytest.raises(InputError, match=words) as caught:
        parse_layout(f"{HEAD}{line}\n", "plan", KIT)
    assert caught.value.place == f"plan, line 5, column {column}" and caught.value.way_out


@pytest.mark.parametrize(
    "stages",
    [
        [{"name": "", "cells": ["A1"]}], [{"name": "x", "cells": []}], [{"name": "x", "cells": ["D9"]}],
        [{"name": "x", "cells": ["A1"], "note": 3}], "x",
        [{"name": "x", "cells": ["A1"]}, {"name": "y", "cells": ["A1"]}],
    ],
)  # fmt: skip
def test_an_error_in_json_names_the_key(stages: object) -> None:
    data = {**design_to_json(parse_layout(HEAD, "plan", KIT)), "stages": stages}
    with pytest.raises(InputError) as caught:
        design_from_json(data, KIT)
    assert (caught.value.place or "").startswith("stages")
