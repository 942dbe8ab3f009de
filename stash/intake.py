"""The only door from the stash to the measuring side: a photograph or typed sizes in, a fabric and its pieces out."""

from __future__ import annotations

import io
import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stash.errors import InputWrong, NotCertain
from stash.fabric import Fabric, Print
from stash.matching import Laid, laid_piece, match
from stash.photograph import KeptPhoto
from stash.piece import Piece
from stash.print_seen import print_of, remembered
from stash.turning import turned
from vision.estimate import Estimate

if TYPE_CHECKING:
    from stash.recognition.impression import Impression
    from vision.measure import Measured
    from vision.measurement import Cloth, Measurement
    from vision.measurement import Print as PrintSeen
    from vision.photo import Photo
    from vision.request import MeasureRequest, Side

#: Photographs are kept to be looked at again, not to be measured again: 2000 px show a thread of 0.5 mm on a metre.
KEPT_SIDE_PX = 2000
KEPT_QUALITY = 88

_FOCAL_35MM_TAG, _TAKEN_TAG, _EXIF_IFD = 0xA405, 0x9003, 0x8769
_PATTERNED = frozenset({"stripe", "check", "motif"})
_NOT_PLACED = (
    "The stripe's place on {what} is not known, so nothing can be promised of its stripes: measure from the left edge "
    "to the start of the repeat and add it again with that."
)

_CUT_OFF = (
    "The edge of the picture cuts off {what}: only what is seen was added; photograph it whole, or give --width and "
    "--length."
)

#: Stands for the cloths that one sentence is about, until all are known.
_WHAT = "{what}"
_NO_GRAIN = (
    "The grain of {what} is not known and taken as it lies in the picture: name an edge with --torn or --selvage, or a "
    "thread with --thread, if a part must follow it."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """What to add to a stash. ``fabric`` is None where the pieces are of one that is there already.

    Ids that are "" are given by the stash (see ``Stash.add``). ``warnings`` are whole sentences for her.
    """

    fabric: Fabric | None
    pieces: tuple[Piece, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What she says besides: the name of a new fabric or an existing one, typed sizes, and which edges are known.

    ``size_mm`` (width, length) is given where the photograph shows only a part; ``origin_mm`` is then where the
    repeat starts, from the left edge along n. ``torn`` and ``selvage`` are sides of the upright photograph;
    ``thread_upright`` tells that the thread drawn across the cloth runs up and down in it.
    """

    name: str | None = None
    fabric: Fabric | None = None
    size_mm: tuple[float, float] | None = None
    origin_mm: float | None = None
    torn: Side | None = None
    selvage: Side | None = None
    thread_upright: bool = False
    one_way: bool = False
    both_faces: bool = False

    def __post_init__(self) -> None:
        if (self.name is None) == (self.fabric is None):
            raise InputWrong(
                "the cloth needs either a name or the fabric that it is of", "give one of --name and --fabric"
            )
        if self.size_mm is not None and not all(math.isfinite(side) and side > 0 for side in self.size_mm):
            raise InputWrong("a width or length is not more than zero", "give --width and --length of the cloth")


def measure(path: Path, request: MeasureRequest | None = None) -> tuple[Photo, Measured]:
    """Opens and measures one photograph. Raises vision.errors.VisionError with what was found and what to do."""
    from vision.measure import measure_photo
    from vision.photo import read_photo

    photo = read_photo(path)
    return photo, measure_photo(photo, request)


def kept(photo: Photo) -> KeptPhoto:
    """The photograph as the stash keeps it: smaller, upright, and with nothing of EXIF but date and focal length."""
    from PIL import Image

    picture = Image.fromarray(photo.rgb)
    picture.thumbnail((KEPT_SIDE_PX, KEPT_SIDE_PX), Image.Resampling.LANCZOS)
    exif = Image.Exif()
    details: dict[int, Any] = {}
    if photo.taken is not None:
        details[_TAKEN_TAG] = photo.taken
    if photo.focal35_mm is not None:
        details[_FOCAL_35MM_TAG] = round(photo.focal35_mm)
    exif[_EXIF_IFD] = details
    file = io.BytesIO()
    picture.save(file, format="JPEG", quality=KEPT_QUALITY, exif=exif)
    return KeptPhoto(jpeg=file.getvalue(), taken=photo.taken, focal35_mm=photo.focal35_mm)


def from_sizes(wish: Wish, print_: Print | None = None) -> Intake:
    """A rectangle of the typed size, width along x and length along y, its stripes straight.

    ``print_`` is the print of a new fabric; plain where none is given. On patterned cloth with no origin given, the
    stripe's place is not known, and a warning says so.
    """
    if wish.size_mm is None:
        raise InputWrong("no size is given", "give --width and --length of the cloth, or a photograph of it")
    fabric = _new_fabric(wish, print_ or Print(kind="plain")) if wish.fabric is None else None
    kind = (fabric or wish.fabric or _none()).print.kind
    placed = kind not in _PATTERNED or wish.origin_mm is not None
    piece = _rectangle(wish, direction_deg=0.0 if placed else None)
    return Intake(fabric=fabric, pieces=(piece,), warnings=() if placed else (_NOT_PLACED.format(what="this cloth"),))


def from_measurement(
    measurement: Measurement, wish: Wish, *, cut_off: Sequence[bool] = (), look: Impression | None = None
) -> Intake:
    """The fabric and pieces that a measured photograph shows; ``look`` is what its main cloth looks like.

    ``cut_off`` tells, for the main cloth or for each of ``scraps`` where there are several, whether the picture's
    edge cuts it off (see ``cut_off_in``): what is seen of it is then not all of it.

    Raises:
        NotCertain: the photograph had no scale, no cloth, or a print that could not be measured, and what was typed
            does not stand in for it.
    """
    cloths = measurement.scraps or (measurement.main,)
    if measurement.scale is None and wish.size_mm is None:
        raise NotCertain(
            f"{measurement.photo} shows nothing that sets its scale",
            "photograph it again with a ruler beside the cloth, or type its sizes with --width and --length",
        )
    fabric = None
    if wish.fabric is None:
        seen = measurement.main.print
        if seen is None:
            raise NotCertain(
                f"what is printed on the cloth in {measurement.photo} could not be measured",
                "photograph two whole repeats square-on with the ruler beside them, or type the cloth in with: ask",
            )
        fabric = fabric_of(seen, look, wish)
    reference = fabric or wish.fabric or _none()
    pieces: list[Piece] = []
    warnings: list[str] = list(_repeat_warnings(measurement.main.print, wish))
    if wish.size_mm is not None:
        pieces.append(_sized_piece(measurement.main, wish, reference, warnings))
        cloths = ()
    for number, cloth in enumerate(cloths):
        what = "this cloth" if len(cloths) == 1 else f"cloth {number + 1}"
        if number < len(cut_off) and cut_off[number]:
            warnings.append(_CUT_OFF.format(what=what))
        if cloth.outline is not None:
            pieces.append(_seen_piece(cloth, wish, reference, what, warnings, first=fabric is not None and number == 0))
    if not pieces:
        raise NotCertain(
            f"no cloth was found in {measurement.photo}",
            "photograph it whole on a table of another colour, or give --width and --length",
        )
    return Intake(fabric=fabric, pieces=tuple(pieces), warnings=tuple(warnings))


def pieces_of(
    measurement: Measurement,
    fabrics: Sequence[Fabric | None],
    made: Collection[str],
    wish: Wish,
    *,
    numbers: Sequence[int],
    laid: Sequence[Laid | None],
    cut_off: Sequence[bool] = (),
) -> tuple[tuple[Piece, ...], tuple[str, ...]]:
    """The pieces of a photograph whose cloths are each of a fabric of its own, None where one is left out, and what she
    should mind. ``numbers`` is what the cloths are called by; ``laid``, where each lies in its fabric's repeat by its
    looks, counts where its own repeat does not show.

    The first piece of a fabric whose id is in ``made`` is where its repeat is counted from.
    """
    cloths = measurement.scraps or (measurement.main,)
    pieces: list[Piece] = []
    minds: dict[str, list[int]] = {}
    for at, (cloth, fabric) in enumerate(zip(cloths, fabrics, strict=True)):
        if fabric is None or cloth.outline is None:
            continue
        told = [_CUT_OFF.format(what=_WHAT)] if at < len(cut_off) and cut_off[at] else []
        first = fabric.id in made and all(piece.fabric != fabric.id for piece in pieces)
        of_it = replace(wish, name=None, fabric=fabric)
        pieces.append(_seen_piece(cloth, of_it, fabric, _WHAT, told, first=first, laid=laid[at]))
        for mind in told:
            minds.setdefault(mind, []).append(numbers[at])
    alone = len(cloths) == 1
    told_once = [mind.replace(_WHAT, "this cloth" if alone else _called(which)) for mind, which in minds.items()]
    return tuple(pieces), (*measurement.warnings, *told_once)


def _called(numbers: Sequence[int]) -> str:
    words = [str(number) for number in numbers]
    if len(words) == 1:
        return f"scrap {words[0]}"
    return f"scraps {', '.join(words[:-1])} and {words[-1]}"


def cut_off_in(measured: Measured) -> tuple[bool, ...]:
    """For each cloth, largest first, whether the edge of the picture cuts it off."""
    return tuple(bool(cloth.region.touches_frame) for cloth in measured.evidence.cloths)


def _seen_piece(
    cloth: Cloth,
    wish: Wish,
    fabric: Fabric,
    what: str,
    warnings: list[str],
    *,
    first: bool,
    laid: Laid | None = None,
) -> Piece:
    assert cloth.outline is not None
    piece = Piece(
        id="",
        fabric="" if wish.fabric is None else wish.fabric.id,
        outline_mm=cloth.outline.points_mm,
        outline_u95_mm=cloth.outline.u95_mm,
        holes_mm=cloth.outline.holes_mm,
        stripe_direction_deg=None,
    )
    if fabric.print.kind not in _PATTERNED:
        turn = _grain_turn(cloth, wish)
        return replace(turned(piece, turn), stripe_direction_deg=0.0, extra=_named_edges(wish, turn))
    placed = _placed(piece, cloth, fabric, first=first)
    if placed.stripe_direction_deg is None and laid is not None and fabric.print.along is None:
        known = None if cloth.print is None else cloth.print.across_direction_deg
        placed = laid_piece(piece, laid, 0.0 if known is None else _sway_mm(piece, known))
    if placed.stripe_direction_deg is None:
        warnings.append(_NOT_PLACED.format(what=what))
    if cloth.skew is None:
        warnings.append(_NO_GRAIN.format(what=what))
    turn = _grain_turn(cloth, wish)
    return replace(turned(placed, turn), extra=_named_edges(wish, turn))


def _named_edges(wish: Wish, turn_deg: float = 0.0) -> dict[str, Any]:
    """What the piece's sides are called on the cutting sheet, by the side they face once the piece is turned."""
    around = ("top", "left", "bottom", "right")
    quarters = round(turn_deg / 90.0)
    known = {
        around[(around.index(side) + quarters) % 4]: name
        for side, name in ((wish.torn, "torn"), (wish.selvage, "selvage"))
        if side is not None
    }
    return {"edges": known} if known else {}


def _placed(piece: Piece, cloth: Cloth, fabric: Fabric, *, first: bool) -> Piece:
    """The piece with its direction and origins in the fabric's repeat, as it lies in the picture; as it was if unsure.

    The first piece of a new fabric is where the repeat is counted from, across and along.
    """
    seen = cloth.print
    if seen is None or seen.across is None or seen.across_direction_deg is None or seen.origin_mm is None:
        return piece
    direction, origin = seen.across_direction_deg.value, seen.origin_mm
    if not first:
        if fabric.print.along is not None:
            return piece  # where the print starts along its stripes cannot be told from another piece of it
        found = match(print_of(seen), origin, fabric.print, _difference)
        if found is None:
            return piece
        direction, origin = direction + (180.0 if found.reverse else 0.0), found.origin_mm
    return replace(
        piece,
        outline_u95_mm=math.hypot(piece.outline_u95_mm, _sway_mm(piece, seen.across_direction_deg)),
        stripe_direction_deg=direction if direction <= 180.0 else direction - 360.0,
        stripe_origin_mm=origin,
    )


def _sway_mm(piece: Piece, direction: Estimate) -> float:
    """How far a stripe may lie off at the ends of the piece because its direction is not known exactly (95 %)."""
    xs, ys = [x for x, _ in piece.outline_mm], [y for _, y in piece.outline_mm]
    reach = math.hypot(max(xs) - min(xs), max(ys) - min(ys)) / 2
    return reach * math.tan(math.radians(min(direction.u95, 45.0)))


def _grain_turn(cloth: Cloth, wish: Wish) -> float:
    """The turn, counter-clockwise, that brings the lengthwise grain onto y.

    The grain lies ``skew`` clockwise of the print's axis nearest to it; a quarter turn more where the known edges say
    that the grain lies across the picture.
    """
    direction = cloth.print.across_direction_deg if cloth.print is not None else None
    turn = 0.0
    if cloth.skew is not None and direction is not None:
        turn = (cloth.skew.angle.value - direction.value + 45.0) % 90.0 - 45.0
    lies_across = wish.selvage in ("top", "bottom") or (
        wish.selvage is None and (wish.torn in ("left", "right") or (wish.torn is None and wish.thread_upright))
    )
    if not lies_across:
        return turn
    after = turn + (direction.value if direction is not None else 90.0)
    return turn - 90.0 if after > 0 else turn + 90.0


def _sized_piece(cloth: Cloth, wish: Wish, fabric: Fabric, warnings: list[str]) -> Piece:
    """The typed rectangle; its stripes lie as the picture shows them against the grain."""
    if fabric.print.kind not in _PATTERNED:
        return _rectangle(wish, direction_deg=0.0)
    seen = cloth.print
    if wish.origin_mm is None or seen is None or seen.across_direction_deg is None:
        warnings.append(_NOT_PLACED.format(what="this cloth"))
        return _rectangle(wish, direction_deg=None)
    return _rectangle(wish, direction_deg=lie_of(cloth, wish))


def _rectangle(wish: Wish, *, direction_deg: float | None) -> Piece:
    assert wish.size_mm is not None
    width, length = wish.size_mm
    return Piece(
        id="",
        fabric="" if wish.fabric is None else wish.fabric.id,
        outline_mm=((0.0, 0.0), (width, 0.0), (width, length), (0.0, length)),
        stripe_direction_deg=direction_deg,
        stripe_origin_mm=wish.origin_mm or 0.0,
        extra=_named_edges(wish),
    )


def fabric_of(seen: PrintSeen, look: Impression | None, wish: Wish) -> Fabric:
    """A new fabric with the print that is seen, and with the look that it is recognised by."""
    fabric = _new_fabric(wish, print_of(seen) if look is None else remembered(seen, look))
    colours = fabric.print.extra.get("colours")
    if seen.kind != "plain" or not colours:
        return fabric
    return replace(fabric, extra={**fabric.extra, "hex": colours[0]["hex"]})


def _new_fabric(wish: Wish, print_: Print) -> Fabric:
    assert wish.name is not None
    return Fabric(id="", name=wish.name, print=print_, one_way=wish.one_way, both_faces=wish.both_faces)


def lie_of(cloth: Cloth, wish: Wish) -> float:
    """The direction of a cloth's stripes once its grain lies along y, degrees; 0 where it is not known."""
    direction = None if cloth.print is None else cloth.print.across_direction_deg
    return 0.0 if direction is None else direction.value + _grain_turn(cloth, wish)


def _repeat_warnings(seen: PrintSeen | None, wish: Wish) -> tuple[str, ...]:
    """A sentence where the repeat in the picture is not that of the fabric it is said to be of."""
    known = None if wish.fabric is None else wish.fabric.print.across
    if seen is None or seen.across is None or known is None:
        return ()
    apart = abs(seen.across.value - known.value)
    if apart <= math.hypot(seen.across.u95, known.u95) + 0.01 * known.value:
        return ()
    return (
        f"The repeat in the picture is {seen.across.value:.1f} mm and that of the fabric {known.value:.1f} mm: "
        "make sure that it is the same cloth, washed or unwashed alike.",
    )


def _difference(one: str, other: str) -> float:
    from vision.colour import ciede2000, lab_of

    return float(ciede2000(lab_of(one), lab_of(other)))


def _none() -> Fabric:
    raise AssertionError("a wish has either a name or a fabric")
