"""One function for each thing a user does: what the command line calls. Nothing here prints."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stash.errors import InputWrong, NotFound, OurFault

if TYPE_CHECKING:
    from stash.ask.build import Outcome
    from stash.catalogue.stash import Stash
    from stash.fabric import Fabric
    from stash.garment.part import Garment
    from stash.interchange.contents import Contents
    from stash.piece import Piece
    from stash.planner.plan import Answer, Plan
    from stash.planner.problem import Problem

#: Seconds that ``enough`` may take where nothing is said.
LIMIT_S = 60.0
#: What of the time is kept for telling what a yes leaves, and not spent on a cheaper plan: seconds, and a share.
TOLD_S, TOLD_SHARE = 4.0, 0.25
#: The share of the time that is for planning in any case.
LEAST_SHARE = 0.5

Progress = Callable[[str], None]
Where = str | os.PathLike[str] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A garment that does not go ``beside`` the more important ones: the plan says why; ``alone`` whether it would."""

    garment: str
    beside: tuple[str, ...]
    plan: Plan
    alone: Answer


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """A question, its answer, and the document that says both. ``garments`` are those that the plan is for."""

    problem: Problem
    garments: tuple[Garment, ...]
    plan: Plan
    document: dict[str, Any]
    remarks: tuple[str, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    names: Mapping[str, str] = field(default_factory=dict)

    def fabric_name(self, fabric_id: str) -> str:
        """What a fabric of the stash is called, its id where that is not known."""
        return self.names.get(fabric_id, fabric_id)


def stash_at(where: Where, *, write: bool = False) -> Stash:
    """The stash at a place (see ``stash.catalogue.door``)."""
    from stash.catalogue.door import open_stash

    return open_stash(where, write=write)


def free_at(where: Where) -> Contents:
    """What the stash at a place holds and no plan has reserved."""
    from stash.catalogue.reservation import available

    return available(stash_at(where).contents())


def usual_place() -> Path:
    """Where the stash is kept when nothing is said: ``$STRIPEWRIGHT_STASH``, else the platform's folder."""
    from stash.catalogue.place import named

    return named(None)


def usual_stash() -> Where:
    """The same as a place that ``stash_at`` takes: the address of a server where that is what the variable names."""
    from stash.catalogue.place import server_in

    return server_in(None) or usual_place()


def tape_file() -> Path:
    """Where what is known of a tape is kept: with the stash that is meant when nothing is said."""
    place = usual_place()  # the platform's folder where the stash is on a server: a tape is her own
    return (place.parent if place.suffix else place) / "tape.json"


def read_garments(files: Sequence[Path]) -> tuple[Garment, ...]:
    """The garments that the files describe, with part ids that no two share.

    Raises:
        NotFound: there is no such file. InputWrong: it cannot be read or is wrong, with every mistake.
    """
    from stash.garment.file import read_garment
    from stash.garment.resolved import together

    return together([read_garment(read_text(file), where=str(file), unnamed=file.stem) for file in files])


def enough_of(
    files: Sequence[Path], where: Where, *, limit_s: float = LIMIT_S, progress: Progress | None = None
) -> Answered:
    """Whether the garments in the files can be cut from the stash, and where, or what would have to change."""
    held = stash_at(where)
    return answer(read_garments(files), held, limit_s=limit_s, progress=progress)


def answer(
    garments: Sequence[Garment],
    held: Stash,
    *,
    limit_s: float = LIMIT_S,
    progress: Progress | None = None,
    room_mm: float | None = None,
    plan_before: str | None = None,
) -> Answered:
    """The answer to whether the garments can be cut from what the stash holds; ``room_mm`` as for ``planned``. What is
    reserved is left out, but for the plan with the fingerprint ``plan_before``."""
    from stash.catalogue.reservation import available

    contents = available(held.contents(), plan_before)
    problem, remarks = question(garments, {fabric.id: fabric for fabric in contents.fabrics}, contents.pieces)
    plan = planned(problem, limit_s=limit_s, progress=progress, garments=garments, contents=contents, room_mm=room_mm)
    return answered(problem, garments, plan, contents, remarks)


def question(
    garments: Sequence[Garment], fabrics: Mapping[str, Fabric], pieces: Sequence[Piece]
) -> tuple[Problem, tuple[str, ...]]:
    """The planner's problem, and what the maker should know about these cloths in these garments.

    Raises InputWrong where a part's fabric or stripe is not there.
    """
    from stash.garment.stock import check_against
    from stash.planner.problem import Problem

    remarks = tuple(remark for garment in garments for remark in check_against(garment, fabrics))
    parts = tuple(part for garment in garments for part in garment.parts)
    wanted = {part.fabric for part in parts}
    return (
        Problem(
            parts=parts,
            fabrics={name: fabrics[name] for name in sorted(wanted)},
            pieces=tuple(piece for piece in pieces if piece.fabric in wanted),
            before=tuple(strip for garment in garments for strip in garment.before if strip.fabric in wanted),
        ),
        remarks,
    )


def left_of(limit_s: float, spent_s: float) -> float:
    """What is left of a time limit; half of it at least, however long it took to open the stash."""
    return max(LEAST_SHARE * limit_s, limit_s - spent_s)


def planned(
    problem: Problem,
    *,
    limit_s: float = LIMIT_S,
    progress: Progress | None = None,
    garments: Sequence[Garment] = (),
    contents: Contents | None = None,
    room_mm: float | None = None,
) -> Plan:
    """The planner's answer, told to the end: with what is in the way of a no and its ways out, what settles an unsure
    answer, and what a yes leaves. Ways out look at the coat's measures where there is one garment, and at all cloth.
    A plan that leaves ``room_mm`` for hands (an eighth of an inch) is taken before one that leaves less."""
    began = time.monotonic()
    from stash.garment.editing import drawn
    from stash.planner.explaining import explained
    from stash.planner.nearby import Stock
    from stash.planner.roomier import ROOM_MM
    from stash.planner.solve import decide

    until = time.monotonic() + left_of(limit_s, time.monotonic() - began)
    keep_s = min(TOLD_S, TOLD_SHARE * limit_s)
    plan = decide(problem, limit_s=until - time.monotonic(), progress=progress, keep_s=keep_s)
    stock = None
    if contents is not None:
        stock = Stock(fabrics={fabric.id: fabric for fabric in contents.fabrics}, pieces=contents.pieces)
    return explained(
        problem, plan, limit_s=until - time.monotonic(), redraw=drawn(garments), stock=stock, progress=progress,
        room_mm=ROOM_MM if room_mm is None else room_mm,
    )  # fmt: skip


def answered(
    problem: Problem,
    garments: Sequence[Garment],
    plan: Plan,
    contents: Contents,
    remarks: tuple[str, ...],
    left_out: tuple[LeftOut, ...] = (),
) -> Answered:
    """The answer with its document, which knows the cloth of ``contents`` by its fingerprints."""
    from stash.fact import washing_remark
    from stash.garment.resolved import to_documents
    from stash.interchange.digest import plan_digests
    from stash.planner.document import plan_document
    from stash.planner.laid import laid_in

    digests = plan_digests(contents, {placement.piece for placement in plan.placements})
    document = plan_document(plan, to_documents(garments), digests, laid_in(problem, plan.placements))
    if left_out:
        document["left_out"] = [_left_out_row(row) for row in left_out]
    used = {placement.piece for placement in plan.placements}
    mixed = washing_remark(piece for piece in contents.pieces if piece.id in used)
    return Answered(
        problem=problem,
        garments=tuple(garments),
        plan=plan,
        document=document,
        remarks=remarks if mixed is None else (*remarks, f"{mixed}."),
        left_out=left_out,
        names={fabric.id: fabric.name for fabric in contents.fabrics},
    )


def _left_out_row(row: LeftOut) -> dict[str, Any]:
    """A garment left out, its lack counted beside the more important ones that go."""
    return {
        "garment": row.garment,
        "answer": row.plan.answer,
        "reason": row.plan.reason,
        "proven": row.plan.proven,
        "beside": list(row.beside),
        "alone": row.alone,
        "short": [asdict(shortage) for shortage in row.plan.short],
        "settle": list(row.plan.settle),
    }


def asked(outcome: Outcome, where: Where, *, limit_s: float = LIMIT_S, progress: Progress | None = None) -> Answered:
    """The answer for cloth and a coat that were told in words. With a place, the cloth is kept in the stash there."""
    from stash.interchange.contents import Contents

    fabrics, pieces = dict(outcome.fabrics), outcome.pieces
    if where is not None:
        held = stash_at(where, write=True)
        fabrics, pieces = _kept(held, outcome)
    problem, remarks = question([outcome.garment], fabrics, pieces)
    contents = Contents(fabrics=tuple(fabrics.values()), pieces=tuple(pieces))
    plan = planned(problem, limit_s=limit_s, progress=progress, garments=[outcome.garment], contents=contents)
    return answered(problem, [outcome.garment], plan, contents, remarks)


def _kept(held: Stash, outcome: Outcome) -> tuple[dict[str, Fabric], tuple[Piece, ...]]:
    """The told cloth, added to the stash unless just the same is there already."""
    from stash.interchange.contents import Contents
    from stash.interchange.writer import stash_document

    told = Contents(fabrics=tuple(outcome.fabrics.values()), pieces=outcome.pieces)
    held.import_document(stash_document(told), source="what was told")
    return dict(outcome.fabrics), outcome.pieces


def write_sheet(plan_file: Path, out: Path, where: Where, *, paper: str = "a4") -> None:
    """The cutting sheet of a plan file, as PDF, SVG or HTML by the ending of ``out``; where parts of it are booked as
    cut, of what is still to cut.

    Raises:
        InputWrong: no plan, another ending, a plan with nothing to cut.
        Conflict: the cloth has changed since the plan was made, or all of it is cut.
    """
    from stash.catalogue.stage_booking import remaining

    document = read_json(plan_file)
    if not isinstance(document, dict):
        raise InputWrong(f"{plan_file} is not a plan", "name a file that was kept with: enough GARMENT.toml --out FILE")
    held = stash_at(where)
    contents, document = held.contents(), remaining(held, document, str(plan_file))
    sheet_of(document, contents.fabrics, contents.pieces, out, paper=paper)


def sheet_of(
    document: Mapping[str, Any], fabrics: Sequence[Fabric], pieces: Sequence[Piece], out: Path, *, paper: str = "a4"
) -> None:
    """The cutting sheet of a plan document for the given cloth."""
    from stash.sheet.sheet import compose, write

    sheet = compose(
        dict(document), {fabric.id: fabric for fabric in fabrics}, {piece.id: piece for piece in pieces}, paper=paper
    )
    try:
        write(sheet, out)
    except OSError as error:
        raise InputWrong(f"{out} cannot be written ({error.strerror or error})", "name another file") from None


def write_target(out: Path, paper: str) -> None:
    """The printed target at true scale. Raises InputWrong where the paper or the ending is not one we write."""
    from stash.measuring import target_board
    from stash.sheet.target import write_target as write

    try:
        write(target_board(), out, paper)
    except OSError as error:
        raise InputWrong(f"{out} cannot be written ({error.strerror or error})", "name another file") from None


def schema(name: str) -> str:
    """The JSON Schema of a document, as text. Raises NotFound."""
    from importlib import resources

    folder = resources.files("stash").joinpath("schema")
    names = sorted(file.name.removesuffix(".json") for file in folder.iterdir() if file.name.endswith(".json"))
    if name not in names:
        raise NotFound(f"there is no schema {name!r}", f"there are {', '.join(names)}")
    return folder.joinpath(f"{name}.json").read_text(encoding="utf-8")


def read_text(file: Path) -> str:
    """A text file. Raises NotFound or InputWrong with what to do."""
    try:
        return file.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise NotFound(f"there is no file {file}", "check the name and the folder") from None
    except UnicodeDecodeError:
        raise InputWrong(f"{file} is not text in UTF-8", "name the right file, or save it as UTF-8") from None
    except OSError as error:
        raise InputWrong(
            f"{file} cannot be read ({error.strerror or error})", "check the name and who may read it"
        ) from None


def read_json(file: Path) -> Any:
    """The JSON document in a file. Raises NotFound or InputWrong."""
    from stash.interchange.reader import parse

    return parse(read_text(file), source=str(file))


def write_text(file: Path, text: str) -> None:
    """Writes a file whole or not at all; a device or pipe as it comes. Raises InputWrong where that cannot be."""
    from stash.catalogue.photo import write_whole

    try:
        if file.exists() and not file.is_file():
            file.write_text(text, encoding="utf-8")
        else:
            write_whole(file.resolve(), text.encode("utf-8"))
    except OSError as error:
        raise InputWrong(f"{file} cannot be written ({error.strerror or error})", "name another file") from None


def not_over(out: Path | None, where: Where, *read: Path) -> None:
    """Raises InputWrong where a file to be written is one of those that are read, or the stash's own document."""
    from stash.catalogue import place

    if place.server_in(where) is None:
        read = (*read, place.named(where))
    for file in read:
        if out is not None and out.resolve() == file.resolve():
            raise InputWrong(f"{out} is read here, and would be written over", "name another file with --out")


def as_json(document: Any) -> str:
    """A document as it goes to a file or to standard output, one value a line at the top."""
    try:
        text = json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False)
    except ValueError as error:
        raise OurFault(
            f"a document holds a value that JSON has no word for ({error})", "send the report file"
        ) from error
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:  # half of a pair of surrogates, which a note may hold and UTF-8 may not
        return json.dumps(document, indent=1)
    return text


def save_garment(outcome: Outcome, file: Path) -> None:
    """Writes the coat that was told in words as a garment file."""
    from stash.garment.writing import write_garment_toml

    write_text(file, write_garment_toml(outcome.pattern))
