"""The description of the interface for programs (OpenAPI 3.1.1, JSON Schema 2020-12): the same table makes
the addresses that the server answers, so that neither can say more than the other."""

from __future__ import annotations

from dataclasses import dataclass, field
from http import HTTPStatus
from typing import Any

from snapcheck import __version__
from snapcheck.web._settings import Limits
from snapcheck.web._store import DONE, FAILED, WAITING, WORKING
from snapcheck.web._tokens import HAND_IN, TEACHER

Schema = dict[str, Any]

#: what a photo may be sent as
PICTURES = ("image/jpeg", "image/png", "image/webp", "image/heic", "image/heif")
#: names of tasks and students in an address; ids of shots and places
NAME = r"^[^/\\\u0000-\u001f\u007f]{1,80}$"
_ID = r"^[A-Za-z0-9_-]{8,40}$"
MOST_REASON, MOST_BY, MOST_CHOICE = 200, 60, 120


@dataclass(frozen=True)
class Operation:
    """One thing that a program may ask for.

    Attributes:
        name: of the method of `Programs` that answers; its `operationId`.
        path, method: where.
        scope: token that is needed at least, "" for none.
        says: what it does.
        ok: status and schema of what is answered.
        refuses: statuses of problems, beside those that everything can meet.
        query: parameters, each ``name: (schema, says, required)``.
        body: JSON form, ``"photo"`` for a picture, None for nothing.
    """

    name: str
    method: str
    path: str
    scope: str
    says: str
    ok: tuple[int, Schema]
    refuses: tuple[int, ...] = ()
    query: dict[str, tuple[Schema, str, bool]] = field(default_factory=dict)
    body: Schema | str | None = None


def _form(needed: Schema, **optional: Schema) -> Schema:
    """An object that holds these members and no others."""
    return {
        "type": "object",
        "properties": {**needed, **optional},
        "required": list(needed),
        "additionalProperties": False,
    }


def _list(of: Schema) -> Schema:
    return {"type": "array", "items": of}


def _ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


_TEXT: Schema = {"type": "string"}
_YES: Schema = {"type": "boolean"}
_COUNT: Schema = {"type": "integer", "minimum": 0}
_MOMENT: Schema = {"type": "string", "format": "date-time"}
_SHARE: Schema = {"type": ["number", "null"], "minimum": 0, "maximum": 1}
_POINTS: Schema = {"type": ["string", "null"], "description": "A decimal number as text, exact."}


def _limited(most: int) -> Schema:
    return {"type": "string", "minLength": 1, "maxLength": most, "pattern": r"\S"}


_STATE: Schema = {
    "type": "string",
    "enum": ["", "working", "done", "failed"],
    "description": 'Of the work that takes longer, since the server was started; "" where it was not begun.',
}
SCHEMAS: dict[str, Schema] = {
    "Problem": {
        "type": "object",
        "description": "RFC 9457.",
        "properties": {
            "type": {"type": "string", "format": "uri-reference"}, "title": _TEXT,
            "status": {"type": "integer", "minimum": 400, "maximum": 599}, "detail": _TEXT,
        },
        "required": ["type", "title", "status", "detail"],
    },
    "Task": _form({"name": _TEXT, "title": _TEXT, "purpose": _TEXT}),
    "Finding": _form(
        {
            "number": {"type": "integer", "minimum": 1},
            "severity": {"type": "string", "enum": ["danger", "fault", "deviation", "note", "question"]},
            "group": _TEXT, "title": _TEXT, "which": _TEXT, "mend": _TEXT, "why": _TEXT, "effect": _TEXT,
            "caution": _TEXT,
        },
        cells=_list(_TEXT), expected=_TEXT, found=_TEXT,
    ),
    "Question": _form({
        "place": _TEXT, "reason": _TEXT, "options": _list(_form({"line": _TEXT, "probability": _SHARE})),
    }),
    "Answer": _form({
        "verdict": {
            "type": "string",
            "enum": ["do-not-power", "does-not-work", "cant-tell", "works-differently", "equivalent", "ready",
                     "still-building"],
        },
        "sentence": _TEXT, "advice": _TEXT, "powered": {**_YES, "description": "May it be powered?"},
        "cautions": _list(_TEXT), "notes": _list(_TEXT), "findings": _list(_ref("Finding")),
        "hidden": {**_COUNT, "description": "Findings that the teacher has not released."},
        "questions": _list(_ref("Question")),
    }),
    "Shot": _form({
        "id": _TEXT, "task": _TEXT, "student": _TEXT, "sent": _MOMENT,
        "state": {"type": "string", "enum": [WAITING, WORKING, DONE, FAILED]},
        "error": {**_TEXT, "description": "Why it could not be read; \"\" else."},
        "waved": {**_TEXT, "description": "Why the teacher lets this build through whatever was found."},
        "submission": {**_TEXT, "description": "Where it lies in the course; \"\": not handed in."},
        "answer": {"oneOf": [_ref("Answer"), {"type": "null"}]},
    }),
    "Grade": _form({
        "student": _TEXT, "name": _TEXT, "task": _TEXT, "points": _POINTS, "most": _POINTS,
        "final": {**_YES, "description": "Nothing of it waits for a person."},
        "there": {**_YES, "description": "Something was handed in."},
    }),
    "Grades": _form({"state": _STATE, "error": _TEXT, "grades": _list(_ref("Grade"))}),
    "Choice": _form({
        "decide": _TEXT, "planned": _YES, "probability": _SHARE, "points": _POINTS,
        "verdict": {"type": ["string", "null"]}, "final": {"type": ["boolean", "null"]},
    }),
    "Place": _form({
        "id": _TEXT, "student": _TEXT, "task": _TEXT, "kind": _TEXT, "place": _TEXT, "question": _TEXT,
        "reason": _TEXT, "points_now": _TEXT, "points_most": _TEXT, "choices": _list(_ref("Choice")),
        "idle": {**_YES, "description": "Every choice leads to the same grade."},
        "decided": {**_TEXT, "description": "What was decided since somebody looked; \"\": nothing."},
    }),
    "Places": _form({"state": _STATE, "error": _TEXT, "places": _list(_ref("Place"))}),
    "Decision": _form({
        "number": _COUNT, "at": _TEXT, "by": _TEXT, "kind": _TEXT, "student": _TEXT, "task": _TEXT,
        "subject": _TEXT, "choice": _TEXT, "reason": _TEXT, "takes_back": {"type": ["integer", "null"]},
        "in_force": _YES,
    }),
}  # fmt: skip

OPERATIONS = (
    Operation("describe", "get", "/v1/openapi.json", "", "This description.", (200, {"type": "object"})),
    Operation(
        "tasks", "get", "/v1/tasks", HAND_IN, "What can be built here.",
        (200, _form({"tasks": _list(_ref("Task"))})),
    ),
    Operation(
        "hand_in", "post", "/v1/tasks/{task}/photos", HAND_IN,
        "Hand in a photo of a build. It is kept when this is answered; its answer is fetched from the "
        "address in `location`. In a course it becomes a submission of the student as soon as it is read.",
        (202, _ref("Shot")), (404, 408, 413, 415, 422, 507),
        {
            "student": ({"type": "string", "pattern": NAME},
                        "Number in the class list: needed in a course, refused without one.", False),
            "with": ({"type": "string", "maxLength": 40},
                     "Id of one's own shot of the same build and task: its photos and this one, from another "
                     "side or of a part, are read together as a new shot.", False),
        },
        "photo",
    ),
    Operation(
        "shot", "get", "/v1/shots/{shot}", HAND_IN,
        "A photo's state and answer: with a token for handing in as much as students are shown, and of its "
        "own photos alone.",
        (200, _ref("Shot")), (404,),
    ),
    Operation(
        "grades", "get", "/v1/grades", TEACHER, "Grades of the course as they were worked out last.",
        (200, _ref("Grades")), (409,),
    ),
    Operation(
        "grade", "post", "/v1/grades", TEACHER, "Grade the course, from now on; one at a time.",
        (202, _ref("Grades")), (409,),
    ),
    Operation(
        "places", "get", "/v1/places", TEACHER, "What waited for a person when somebody looked last.",
        (200, _ref("Places")), (409,),
    ),
    Operation(
        "look", "post", "/v1/places", TEACHER, "Look what waits, from now on; one at a time.",
        (202, _ref("Places")), (409,),
    ),
    Operation(
        "decide", "post", "/v1/places/{place}/decisions", TEACHER,
        "Decide one place: one of its choices, or a line as `snapcheck decide` takes it.",
        (201, _ref("Place")), (400, 404, 409, 413, 415, 422),
        body=_form({
            "decide": _limited(MOST_CHOICE), "reason": _limited(MOST_REASON), "by": _limited(MOST_BY),
        }),
    ),
    Operation(
        "decisions", "get", "/v1/decisions", TEACHER, "Who decided what, oldest first.",
        (200, _form({"decisions": _list(_ref("Decision"))})), (409,),
    ),
)  # fmt: skip
#: parameters in addresses
_IN_PATH = {
    "task": ({"type": "string", "pattern": NAME}, "Name of the task."),
    "shot": ({"type": "string", "pattern": _ID}, "Id of the photo."),
    "place": ({"type": "string", "pattern": _ID}, "Id of the place."),
}


_OPEN = " This server does not encrypt: use it on one computer or in a trusted network."


def description(limits: Limits, tls: bool) -> dict[str, Any]:
    """The document, as plain values."""
    paths: dict[str, Any] = {}
    for one in OPERATIONS:
        paths.setdefault(one.path, {})[one.method] = _told(one, limits)
    return {
        "openapi": "3.1.1",
        "info": {
            "title": "snapcheck",
            "version": __version__,
            "summary": "Hand in photos of builds, fetch answers and grades.",
            "description": "The teacher makes a token at the desk and gives it to the program. Errors are "
            "problem details (RFC 9457) in the language that `accept-language` asks for."
            + (
                ""
                if tls
                else " This server does not encrypt: use it on one computer or in a trusted network."
            ),
            "license": {"name": "GPL-3.0-or-later", "identifier": "GPL-3.0-or-later"},
        },
        "servers": [{"url": "/"}],
        "paths": paths,
        "components": {
            "schemas": SCHEMAS,
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
    }


def _told(one: Operation, limits: Limits) -> dict[str, Any]:
    status, schema = one.ok
    answers: dict[str, Any] = {
        str(status): {
            "description": HTTPStatus(status).phrase,
            "content": {"application/json": {"schema": schema}},
        }
    }
    if one.name == "hand_in":
        answers[str(status)]["headers"] = {"location": {"schema": {"type": "string"}, "required": True}}
    usual = (401, 403, 429) if one.scope else ()
    for problem in sorted({*one.refuses, *usual, 421}):
        answers[str(problem)] = {
            "description": HTTPStatus(problem).phrase,
            "content": {"application/problem+json": {"schema": _ref("Problem")}},
        }
    told: dict[str, Any] = {
        "operationId": one.name,
        "summary": one.says.partition(". ")[0].rstrip(".") + ".",
        "description": one.says + (f" Token: {one.scope}." if one.scope else ""),
        "security": [{"token": []}] if one.scope else [],
        "parameters": [
            {"name": name, "in": "path", "required": True, "schema": s, "description": says}
            for name, (s, says) in _IN_PATH.items() if f"{{{name}}}" in one.path
        ] + [
            {"name": name, "in": "query", "required": required, "schema": s, "description": says}
            for name, (s, says, required) in one.query.items()
        ],
        "responses": answers,
    }  # fmt: skip
    if one.body == "photo":
        photo = {"maxLength": limits.photo_bytes}
        told["requestBody"] = {"required": True, "content": {kind: {"schema": photo} for kind in PICTURES}}
    elif one.body is not None:
        told["requestBody"] = {"required": True, "content": {"application/json": {"schema": one.body}}}
    return told
