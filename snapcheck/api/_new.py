"""Commented files to begin from, out of the installed package."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from snapcheck.api._given import PathLike
from snapcheck.errors import InputError
from snapcheck.outfiles import write_whole
from snapcheck.words import active_language, system_says, tr

#: what one may begin: the files that are written, as (file in ``data/new/LANGUAGE``, or ROOM/FILE of another
#: room's ``data``, and where it goes; {name}: as asked)
STARTERS: dict[str, tuple[tuple[str, str], ...]] = {
    "design": (("design.board", "{name}.board"),),
    "course": (
        ("course.toml", "{name}/course.toml"),
        ("roster.csv", "{name}/roster.csv"),
        ("design.board", "{name}/plans/first-light.board"),
    ),
    "kit": (("kit.toml", "{name}.toml"),),
    "box": (("box/example.toml", "{name}.toml"),),
}
#: folders that are made beside them
_FOLDERS = {"course": ("{name}/submissions",)}


def new(what: str, name: PathLike) -> list[Path]:
    """Write commented files to begin from; nothing that is there is written over.

    Args:
        what: ``design``, ``course``, ``kit`` or ``box``.
        name: of the file or folder, maybe with a path before it.

    Returns:
        the files written, the one to open first at the beginning.

    Raises:
        InputError: there is no such beginning, a file of that name is there, or the place cannot be written.
    """
    if what not in STARTERS:
        raise InputError(
            tr("'{what}' is nothing to begin with.", what=what),
            way_out=tr("Accepted: {names}.", names=", ".join(STARTERS)),
        )
    path = Path(name)
    ending = STARTERS[what][0][1].partition("{name}")[2]  # ".board"; a course's is within its folder
    stem = path.with_suffix("") if path.suffix == ending else path
    if not stem.name:
        raise InputError(tr("the name is empty."), way_out=tr("Give a name such as 'night-lamp'."))
    files = [(source, Path(target.format(name=stem))) for source, target in STARTERS[what]]
    for _, file in files:
        if file.exists():
            raise InputError(
                tr("is there already."), place=file, way_out=tr("Give another name, or move the file away.")
            )
    try:
        for folder in _FOLDERS.get(what, ()):
            Path(folder.format(name=stem)).mkdir(parents=True, exist_ok=True)
        for source, file in files:
            file.parent.mkdir(parents=True, exist_ok=True)
            write_whole(file, _text(source))
    except OSError as error:
        raise InputError(
            tr("cannot be written: {why}.", why=system_says(error)),
            place=error.filename or stem,
            way_out=tr("Choose another place for the file."),
        ) from None
    return [file for _, file in files]


def _text(name: str) -> str:
    """A file of the package, in the reader's language where there is one."""
    room, _, file_of_room = name.rpartition("/")
    if room:
        return (
            resources.files(f"snapcheck.{room}").joinpath(f"data/{file_of_room}").read_text(encoding="utf-8")
        )
    folder = resources.files("snapcheck.api").joinpath("data/new")
    for language in (active_language().partition("_")[0], "en"):
        file = folder.joinpath(f"{language}/{name}")
        if file.is_file():
            return file.read_text(encoding="utf-8")
    raise FileNotFoundError(name)
