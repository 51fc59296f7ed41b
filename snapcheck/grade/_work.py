"""One piece of work of a batch, done in a worker process: read a picture, or check a reading.

Jobs carry text and bytes, no open things, so that they travel to another process or machine unchanged.
"""

from __future__ import annotations

import atexit
import base64
import hashlib
import json
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from snapcheck import __version__
from snapcheck.board import design_from_text
from snapcheck.decisions import with_edits
from snapcheck.errors import MissingLibraryError, PhotoError, SnapcheckError
from snapcheck.grade._card import card_text
from snapcheck.grade._facts import facts_of
from snapcheck.grade._likeness import likeness
from snapcheck.grade._pictures import pixels_of
from snapcheck.grade._submissions import File
from snapcheck.kit import bundled_kit, parse_kit
from snapcheck.photo import reading_from_json, reading_to_json
from snapcheck.pipeline import check_build
from snapcheck.places import models_dir
from snapcheck.report import html_to_pdf, report_html
from snapcheck.simulate import Simulator, is_available
from snapcheck.words import active_language, shown, tr, use_language

if TYPE_CHECKING:
    from snapcheck.board import Design
    from snapcheck.grade._course import Course
    from snapcheck.kit import Kit
    from snapcheck.photo import Reading

#: a picture's path to its reading; a picture without a file of its own comes as `data` (bytes) with its name
Reader = Callable[..., "Reading"]
#: form of stored facts; counts up when `Facts` changes, so that old ones are worked out again
FACTS_FORM = 7


@dataclass(frozen=True)
class ReadJob:
    """Read a picture. `data` holds its bytes where the worker may not see the file."""

    sha: str
    file: File
    reader: Reader
    data: bytes | None = None


@dataclass(frozen=True)
class Plan:
    """A design and kit as texts, so that any worker can have them."""

    name: str
    text: str
    kit_text: str | None

    @property
    def digest(self) -> str:
        """Of everything that the words of a check follow from, but the reading."""
        whole = json.dumps(
            [self.text, self.kit_text, __version__, is_available(), FACTS_FORM, active_language()]
        )
        return hashlib.sha256(whole.encode()).hexdigest()


@dataclass(frozen=True)
class CheckJob:
    """Check a reading (JSON text) against a plan, with one set of decisions (lines) after the other.

    What the choices of one photo have in common is worked out once by whoever does them all.

    Attributes:
        tried: the decisions, by the key under which the facts are kept.
    """

    sha: str
    reading: str
    plan: Plan
    tried: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True)
class PageJob:
    """Make the feedback on a build: the report of its check, with the grade in it and `foot` below each page.

    `file` is the picture (None: the board is drawn), `data` its bytes where the worker may not see it.
    """

    key: str
    reading: str
    edits: tuple[str, ...]
    plan: Plan
    front: str
    foot: str
    file: File | None
    pdf: bool
    data: bytes | None = None


Job = ReadJob | CheckJob | PageJob


def facts_key(reading: str, edits: tuple[str, ...], plan_digest: str) -> str:
    """Under which the facts of this check are kept."""
    whole = json.dumps([reading, list(edits), plan_digest])
    return hashlib.sha256(whole.encode()).hexdigest()


def do(job: Job, spoken: tuple[str, Path | None] = ("en", None)) -> dict[str, Any]:
    """Do one job. Whatever goes wrong with it becomes part of the answer; nothing is raised.

    Args:
        spoken: the language of the answer, as `words.speech` has it where the work is given out.
    """
    use_language(*spoken)
    match job:
        case ReadJob():
            return _answer(lambda: _read(job))
        case CheckJob():
            return _answer(lambda: _check(job))
        case PageJob():
            return _answer(lambda: _page(job))


def _answer(work: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """What the work gives, or what went wrong."""
    try:
        return work()
    except SnapcheckError as error:
        state = "retake" if isinstance(error, PhotoError) else "failed"
        return _trouble(state, error.message, error.place, error.way_out)
    except MemoryError:
        return _trouble("failed", tr("the memory does not suffice for this picture."))
    except Exception as error:  # one bad picture must not stop the rest
        told = tr(
            "an unexpected error ({name}); run it again with --log FILE for the details.",
            name=type(error).__name__,
        )
        return {**_trouble("failed", told), "details": "".join(traceback.format_exception(error))}


def _trouble(state: str, message: str, place: str = "", way_out: str = "") -> dict[str, Any]:
    name = shown(Path(place).name, isolate=False) if place else ""
    return {
        "state": state,
        "body": {"message": message, "place": name, "way_out": way_out},
        "likeness": "",
        "card": "",
    }


def lost(job: Job) -> dict[str, Any]:
    """The answer for a job at which the worker died or did not come back, also when tried alone."""
    return _trouble(
        "failed",
        tr("the process that worked on it was killed or did not come back."),
        way_out=tr("Look at the picture; take it again."),
    )


def _read(job: ReadJob) -> dict[str, Any]:
    data = job.file.read() if job.data is None else job.data
    told = {"likeness": likeness(data), "card": card_text(data)}
    try:
        if job.data is None and not job.file.archive:
            reading = job.reader(job.file.place)
        else:
            reading = job.reader(Path(job.file.name), data=data)
    except SnapcheckError as error:
        state = "retake" if isinstance(error, PhotoError) else "failed"
        return {**_trouble(state, error.message, error.place, error.way_out), **told}
    body = {**reading_to_json(reading), "photo": job.file.name}  # a store holds text alone
    return {"state": "read", "body": body, **told}


def _check(job: CheckJob) -> dict[str, Any]:
    """The answer for each set of decisions, by its key."""
    design, kit = plan_of(job.plan)
    reading = reading_from_json(json.loads(job.reading), kit)

    def check(edits: tuple[str, ...]) -> dict[str, Any]:
        result = check_build(with_edits(reading, edits, kit), design, kit, _simulator())
        return {"state": "checked", "body": facts_of(result).to_json()}

    answers = {key: _answer(partial(check, edits)) for key, edits in job.tried.items()}
    details = [found for answer in answers.values() if (found := answer.pop("details", ""))]
    return {"state": "checked", "body": answers, "details": "\n".join(details)}


def _page(job: PageJob) -> dict[str, Any]:
    design, kit = plan_of(job.plan)
    reading = with_edits(reading_from_json(json.loads(job.reading), kit), job.edits, kit)
    result = check_build(reading, design, kit, _simulator())
    page = report_html(result, pixels=_pixels(job), front=job.front, foot=job.foot, lang=active_language())
    body: dict[str, Any] = {"html": page, "pdf": "", "note": ""}
    if job.pdf:
        try:
            body["pdf"] = base64.b64encode(html_to_pdf(page)).decode()
        except MissingLibraryError as error:
            body["note"] = str(error)
    return {"state": "made", "body": body}


def _pixels(job: PageJob) -> Any:
    """The picture, None where it is not to be had (then the board is drawn)."""
    if job.file is None:
        return None
    try:
        return pixels_of(job.file, job.data)
    except SnapcheckError:
        return None


@lru_cache(maxsize=64)
def plan_of(plan: Plan) -> tuple[Design, Kit]:
    """Design and kit out of their texts; the same objects each time."""
    kit = bundled_kit() if plan.kit_text is None else _kit(plan.kit_text)
    return design_from_text(plan.text, plan.name, kit), kit


@lru_cache(maxsize=1)
def _simulator() -> Simulator | None:
    if not is_available():
        return None
    made = Simulator()
    atexit.register(made.close)
    return made


@dataclass(frozen=True)
class KitReader:
    """Reads photos with a course's own kit: its kinds, values, and what it was taught of its artwork."""

    kit_text: str

    def __call__(self, path: Path, *, data: bytes | None = None) -> Reading:
        from snapcheck.photo import read_photo

        return read_photo(path, _kit(self.kit_text), data=data)


@lru_cache(maxsize=4)
def _kit(text: str) -> Kit:
    return parse_kit(text, "kit")


def reader_of(course: Course) -> Reader:
    """What reads a course's photos: the networks, with the course's kit where it has one of its own."""
    from snapcheck.kit import kit_text
    from snapcheck.photo import read_photo

    if course.kit_file is None:
        return read_photo
    return KitReader(kit_text(course.kit_file))


def reader_name(reader: Reader) -> str:
    """By which readings are kept: another reader, other networks or another kit means reading again."""
    if isinstance(reader, KitReader):
        from snapcheck.photo import read_photo

        return f"{reader_name(read_photo)} {hashlib.sha256(reader.kit_text.encode()).hexdigest()[:12]}"
    name = f"{reader.__module__}:{reader.__qualname__}"
    if not reader.__module__.startswith("snapcheck.photo"):
        return name
    whole = hashlib.sha256()
    for file in sorted(models_dir().glob("*.*")):
        if file.suffix in (".onnx", ".json"):
            whole.update(file.read_bytes())
    return f"{name} {__version__} {whole.hexdigest()[:12]}"
