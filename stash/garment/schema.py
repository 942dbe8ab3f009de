"""The shape of a garment file, key by key. The only file of this room that needs pydantic."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StrictBool, StringConstraints
from pydantic_core import PydanticCustomError
from pydantic_core.core_schema import ValidationInfo

from stash.errors import InputWrong
from stash.garment.coat import NECK_BACK_MM, NECK_FRONT_MM, NECK_HALF_MM, OVERLAP_MM
from stash.garment.spec import MOST_JOINS, SEAM_MM
from stash.lengths import parse_length


def _length(value: Any, info: ValidationInfo) -> float:
    try:
        return parse_length(value, what=info.field_name or "the length")
    except InputWrong as wrong:
        raise PydanticCustomError("length", "{problem}", {"problem": wrong.problem, "remedy": wrong.remedy}) from wrong


def _more_than_nothing(value: Any, info: ValidationInfo) -> float:
    length = _length(value, info)
    if length <= 0:
        problem = f'{info.field_name} is "{value}", and must be more than nothing'
        raise PydanticCustomError("length", "{problem}", {"problem": problem, "remedy": "give a longer one"})
    return length


Size = Annotated[float, BeforeValidator(_more_than_nothing)]
Allowance = Annotated[float, BeforeValidator(_length)]
Word = Annotated[str, StringConstraints(strict=True, min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]*$")]
Joins = Annotated[int, Field(strict=True, ge=0, le=MOST_JOINS)]
MakeWord = Literal["flat", "folded", "bound"]
SpanPair = tuple[Allowance, Allowance]
EndWord = Literal["start", "end"]
Meeting = tuple[Word, EndWord, Word, EndWord]


class Table(BaseModel):
    """A table of the file. A key that it does not know is a mistake."""

    model_config = ConfigDict(extra="forbid")


class CoatTable(Table):
    """``[coat]``: the one-rectangle coat by its measures."""

    width: Size
    length: Size
    sleeve_depth: Size
    main: Word
    border: Word
    stripe: Word
    border_width: Size
    facing: Allowance = 0.0
    bust: Allowance = 0.0
    bust_by: Literal["gap", "wedge"] = "gap"
    neck_half: Size = NECK_HALF_MM
    neck_front: Size = NECK_FRONT_MM
    neck_back: Allowance = NECK_BACK_MM
    neck: Literal["stand", "binding", "plain"] = "stand"
    neck_width: Size | None = None
    make: MakeWord = "flat"
    joins: Joins = 0
    shortest: Size | None = None
    turn: StrictBool = True
    overlap: Allowance = OVERLAP_MM
    backing: Word | None = None
    child: StrictBool = False
    neighbours: Literal["mirror", "outward", "round"] | None = None


class StripTable(Table):
    """``[[strip]]``: a strip of border. Where a coat has a part of the same id, keys left out keep the coat's."""

    id: Word
    fabric: Word | None = None
    stripe: Word | None = None
    length: Size | None = None
    width: Size | None = None
    seam: Allowance | None = None
    make: MakeWord | None = None
    cut_width: Size | None = None
    stripe_at: Allowance | None = None
    extra: tuple[Allowance, Allowance] | None = None
    joins: Joins | None = None
    shortest: Size | None = None
    pair: Word | None = None
    edge: Literal["front", "sleeve", "join", "neck", "hem", "inside"] | None = None
    leave_out: StrictBool | None = None
    mirror: Word | None = None
    outward: Literal["left", "right"] | None = None
    hide: Annotated[tuple[SpanPair, ...], Field(min_length=1)] | None = None
    corner: Annotated[tuple[Meeting, ...], Field(min_length=1)] | None = None


class PanelTable(Table):
    """``[[panel]]``: a rectangle."""

    id: Word
    fabric: Word | None = None
    width: Size | None = None
    length: Size | None = None
    seam: Allowance | None = None
    align: Literal["print", "grain"] | None = None
    turn: StrictBool | None = None
    leave_out: StrictBool | None = None


class GarmentTable(Table):
    """A whole garment file."""

    name: Word = "garment"
    seam: Allowance = SEAM_MM
    coat: CoatTable | None = None
    strip: list[StripTable] = Field(default_factory=list)
    panel: list[PanelTable] = Field(default_factory=list)
