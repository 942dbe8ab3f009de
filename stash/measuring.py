"""Measuring as a user asks for it: typed options in, document and overlay out. The other door, beside intake."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from stash.errors import InputWrong
from stash.lengths import parse_length
from vision.estimate import Estimate

if TYPE_CHECKING:
    from stash.sheet.target import Board
    from vision.measure import Measured
    from vision.photo import Photo
    from vision.reference.clicks import Click
    from vision.request import MeasureRequest, Thread

Side = Literal["top", "right", "bottom", "left"]

_NUMBER = r"\s*(-?\d+(?:\.\d+)?)\s*"
_ENDS = re.compile(rf"{_NUMBER},{_NUMBER}\s{_NUMBER},{_NUMBER}")
_PAIR = re.compile(rf"{_ENDS.pattern}=\s*(.+?)\s*")
#: Long side of the overlay that is written, px: sharp on a screen, and small enough to send.
OVERLAY_SIDE_PX = 2400
_OVERLAY_ENDINGS = (".png", ".jpg", ".jpeg")
#: Files of a folder that are taken for photographs.
_PHOTO_ENDINGS = (".jpg", ".jpeg", ".png", ".heic", ".heif", ".tif", ".tiff", ".webp", ".bmp")


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """The options of ``measure`` as they are typed."""

    scale: Literal["auto", "ruler", "target", "card", "points"] = "auto"
    ruler: Literal["auto", "inch", "mm"] = "auto"
    points: tuple[str, ...] = ()
    focal35_mm: float | None = None
    thickness: str | None = None
    torn: Side | None = None
    selvage: Side | None = None
    thread: str | None = None
    weave: bool = False
    tape: Estimate | None = None


def request(asked: Asked) -> MeasureRequest:
    """The request in numbers. Raises InputWrong or vision's CallWrong where options cannot be read or go together."""
    from vision.opencv import require

    require()
    from vision.request import MeasureRequest

    thickness_mm = 0.0
    if asked.thickness is not None:
        thickness_mm = parse_length(asked.thickness, allow_negative=True, what="the thickness")
    return MeasureRequest(
        scale=asked.scale,
        ruler=asked.ruler,
        clicks=tuple(_click(text) for text in asked.points),
        focal35_mm=asked.focal35_mm,
        thickness_mm=thickness_mm,
        torn=asked.torn,
        selvage=asked.selvage,
        thread=None if asked.thread is None else _thread(asked.thread),
        weave=asked.weave,
        tape=asked.tape,
    )


def measured(photo_file: Path, asked: Asked, overlay: Path | None = None) -> dict[str, Any]:
    """The document ``measurement/1`` of one photograph; with ``overlay``, the evidence drawn on it in that file."""
    from stash.intake import measure

    _check_ending(overlay)
    photo, found = measure(photo_file, request(asked))
    if overlay is not None:
        draw_overlay(photo, found, overlay)
    return found.measurement.to_document()


def draw_overlay(photo: Photo, found: Measured, file: Path) -> None:
    """Writes the photograph with what was found drawn on it. Raises InputWrong where the file cannot be written."""
    from PIL import Image

    from stash.catalogue.photo import write_whole
    from vision.overlay import draw

    _check_ending(file)
    picture = Image.fromarray(draw(photo, found))
    picture.thumbnail((OVERLAY_SIDE_PX, OVERLAY_SIDE_PX), Image.Resampling.LANCZOS)
    whole = io.BytesIO()
    picture.save(whole, format=Image.registered_extensions()[file.suffix.lower()])
    try:
        write_whole(file.resolve(), whole.getvalue())
    except OSError as error:
        raise InputWrong(f"{file} cannot be written ({error.strerror or error})", "name another file") from None


def photographs(named: Sequence[Path]) -> tuple[Path, ...]:
    """The photographs that are meant: files as they are named, and those in a folder and the folders below it, sorted,
    but for those named before.

    Raises InputWrong for a folder without any.
    """
    found: list[Path] = []
    for path in named:
        if not path.is_dir():
            found.append(path)
            continue
        within = sorted(one for one in path.rglob("*") if one.suffix.lower() in _PHOTO_ENDINGS and one.is_file())
        if not within:
            endings = ", ".join(ending.removeprefix(".") for ending in _PHOTO_ENDINGS)
            raise InputWrong(f"there is no photograph in the folder {path}", f"name one that holds files of {endings}")
        found.extend(one for one in within if one not in found)
    return tuple(found)


def overlay_files(named: Path | None, photos: Sequence[Path]) -> tuple[Path | None, ...]:
    """Where each photo's overlay goes: the file that was named, or for several photos one for each beside it.

    Raises InputWrong where the name is not a picture's, or a photograph would be drawn over.
    """
    _check_ending(named)
    if named is None:
        return (None,) * len(photos)
    files = (named,) if len(photos) == 1 else tuple(_beside(named, photos))
    whole = {photo.resolve() for photo in photos}
    for file in files:
        if file.resolve() in whole:
            raise InputWrong(f"{file} is a photograph that is measured, and would be drawn over", "name another file")
    return files


def _beside(named: Path, photos: Sequence[Path]) -> Iterator[Path]:
    """A file for each of several photos, named after the one that was named and the photo."""
    taken: set[str] = set()
    for photo in photos:
        name, turn = photo.stem, 1
        while name in taken:  # photographs of two folders may bear one name
            turn += 1
            name = f"{photo.stem}-{turn}"
        taken.add(name)
        yield named.with_name(f"{named.stem}-{name}{named.suffix}")


def on_one_core() -> None:
    """Keeps the image library of this process to one core, where others measure beside it."""
    from vision.opencv import require

    require()
    import cv2

    cv2.setNumThreads(1)


def target_board() -> Board:
    """The printed target's black cells, for the sheet that prints them."""
    from vision.opencv import require

    require()
    from stash.sheet.target import Board
    from vision.reference import target

    return Board(
        width_mm=target.SQUARES[0] * target.SQUARE_MM,
        height_mm=target.SQUARES[1] * target.SQUARE_MM,
        cells_mm=target.black_cells_mm(),
    )


def _check_ending(overlay: Path | None) -> None:
    if overlay is not None and overlay.suffix.lower() not in _OVERLAY_ENDINGS:
        raise InputWrong(f"{overlay} is not the name of a picture", "end it in .png or .jpg")


def _click(text: str) -> Click:
    from vision.reference.clicks import Click

    match = _PAIR.fullmatch(text)
    if match is None:
        raise InputWrong(f"the points {text!r} cannot be read", 'write them as --points "x1,y1 x2,y2 = 12 in"')
    x1, y1, x2, y2 = (float(match[group]) for group in range(1, 5))
    return Click(
        start_px=(x1, y1), end_px=(x2, y2), length_mm=parse_length(match[5], what="the length between the points")
    )


def runs_upright(thread: str) -> bool:
    """Whether a thread, as it is typed, runs up and down in the upright photo rather than across it."""
    (x1, y1), (x2, y2) = _thread(thread).ends_px
    return abs(y2 - y1) > abs(x2 - x1)


def _thread(text: str) -> Thread:
    from vision.request import Thread

    match = _ENDS.fullmatch(text)
    if match is None:
        raise InputWrong(f"the thread {text!r} cannot be read", 'write its two ends as --thread "x1,y1 x2,y2"')
    x1, y1, x2, y2 = (float(match[group]) for group in range(1, 5))
    return Thread(ends_px=((x1, y1), (x2, y2)))
