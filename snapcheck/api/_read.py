"""Photos to readings, boards to drawings and layout files."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from snapcheck.api._given import (
    Colours,
    board_of,
    kit_of,
    picture_of,
)
from snapcheck.api._results import Drawing, widened
from snapcheck.board import (
    Theme,
    draw_svg,
    write_layout,
)
from snapcheck.kit import Kit
from snapcheck.pipeline import CheckResult
from snapcheck.watch import Cancel, Progress, step, stop_if_asked, watched
from snapcheck.words import tr

if TYPE_CHECKING:
    from snapcheck.api._given import BoardLike, KitLike, PictureLike
    from snapcheck.api._seen import PhotoReading
    from snapcheck.photo import Reading


def read(
    picture: PictureLike,
    *,
    also: Sequence[PictureLike] = (),
    kit: KitLike = None,
    name: str = "",
    colours: Colours = "rgb",
    progress: Progress | None = None,
    cancel: Cancel | None = None,
) -> PhotoReading:
    """What a picture of a build shows.

    Args:
        picture: a path; the bytes of a JPEG, PNG, WebP or HEIC file, or such a file opened for reading; or an
            array, upright, uint8: (h, w, 3) colours, (h, w, 4) with alpha, (h, w) greys.
        also: more pictures of the same build, from other sides: what one hides another shows.
        kit: the cubes: an object, a TOML file's path or text; None: the bundled ones.
        name: of the picture, for messages (usual: the file's own).
        colours: order of an array's channels: ``rgb`` (Pillow, scikit-image) or ``bgr`` (OpenCV).
        progress: is told in words what is being done.
        cancel: an event, or a function, that says when to stop.

    Raises:
        InputError: there is no such file, or the array is no picture.
        PhotoError: it cannot be read as a board: take it again.
        StoppedError: `cancel` said so.
    """
    from snapcheck.api._seen import PhotoReading
    from snapcheck.photo import read_picture

    cubes = kit_of(kit)
    with watched(progress, cancel):
        step(tr("reading the picture"))
        opened, called = picture_of(picture, name, colours)
        stop_if_asked()
        seen = with_others(read_picture(opened, called, cubes), also, cubes, colours)
        return widened(PhotoReading, seen, picture=opened, kit=cubes)


def with_others(first: Reading, also: Sequence[PictureLike], kit: Kit, colours: Colours) -> Reading:
    """What all pictures of one build show together, in the cells of the first."""
    if not also:
        return first
    from snapcheck.photo import read_picture
    from snapcheck.together import together

    readings = [first]
    for picture in also:
        opened, called = picture_of(picture, "", colours)
        stop_if_asked()
        readings.append(read_picture(opened, called, kit))
    return together(readings, kit)


def draw(
    board: BoardLike | CheckResult, *, kit: KitLike = None, theme: Theme = "light", title: str | None = None
) -> Drawing:
    """A board's top view; of a checked build, the build's.

    Args:
        board: object, layout text, JSON, or the path of either.
        kit: see `read`.
        theme: ``light``, or ``dark`` for light strokes on a dark ground.
        title: in words; None: the design's own.

    Raises:
        InputError, DataError: a file or text is missing or wrong; says where.
    """
    if isinstance(board, CheckResult):
        cubes, design = board.kit, replace(board.design, board=board.built)
    else:
        cubes = kit_of(kit)
        design, _ = board_of(board, cubes)
    words = design.title if title is None else title
    return Drawing(draw_svg(design.board, cubes, theme=theme, title=words), words)


def layout(board: BoardLike, *, kit: KitLike = None) -> str:
    """The text of a layout file.

    Args:
        board: a board or a reading: object, layout text, JSON, or the path of either.
        kit: see `check`.

    Raises:
        InputError, DataError: a file or text is missing or wrong.
    """
    cubes = kit_of(kit)
    return write_layout(board_of(board, cubes)[0], cubes)
