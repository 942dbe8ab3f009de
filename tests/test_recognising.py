"""Which fabric a scrap is of, on scraps whose colours are laid out place by place, without a photograph."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from stash.fabric import Fabric, Print, Stripe
from stash.recognition.impression import Impression, Run
from stash.recognition.light import coded
from stash.recognition.recognising import recognise
from vision.estimate import Estimate

RED, WHITE, BLUE, GREEN = "#96282c", "#e8dcc4", "#23426f", "#2f6b4a"
STEP_MM = 0.25
Rows = tuple[tuple[str, float], ...]

DECK: Rows = ((RED, 12.0), (WHITE, 6.0), (BLUE, 9.0), (WHITE, 4.0))
TICK: Rows = ((WHITE, 14.0), (GREEN, 8.0))


def fabric(name: str, rows: Rows) -> Fabric:
    """A striped fabric as a photograph makes it known."""
    ends = np.cumsum([width for _, width in rows])
    stripes = tuple(
        Stripe(label=str(k), width_mm=width, centre_mm=float(end) - width / 2, hex=hex_, width_u95_mm=0.1)
        for k, ((hex_, width), end) in enumerate(zip(rows, ends, strict=True))
    )
    return Fabric(
        id=name, name=name, print=Print(kind="stripe", across=Estimate(float(ends[-1]), 0.1), stripes=stripes)
    )


def plain(name: str, hex_: str) -> Fabric:
    """A plain fabric of a colour that was photographed."""
    print_ = Print(kind="plain", extra={"colours": [{"hex": hex_, "share": 1.0}]})
    return Fabric(id=name, name=name, print=print_, extra={"hex": hex_})


def scrap(rows: Rows, start_mm: float, length_mm: float, *, light: float = 1.0, whole: bool = False) -> Impression:
    """A scrap cut from the sequence at a place; ``whole``: its repeat and stripes were measured, too."""
    ends = np.cumsum([width for _, width in rows])
    places = start_mm + np.arange(0, length_mm, STEP_MM)
    which = np.searchsorted(ends, places % ends[-1], side="right")
    colours = np.clip(coded([hex_ for hex_, _ in rows])[which] * light, 0, 1)
    edges = (np.flatnonzero(np.diff(which)) + 0.5) * STEP_MM
    run = Run(colours=colours, step_mm=STEP_MM, start_mm=0.0, direction_deg=0.0, edges_mm=edges)
    if whole:
        stripes = fabric("", rows).print.stripes
        run = replace(run, repeat=Estimate(float(ends[-1]), 0.1), stripes=stripes, origin_mm=-start_mm)
    return Impression(kind="stripe", runs=(run,), pixels=colours[::2], extent_mm=length_mm)


def plain_scrap(hex_: str, *, light: float = 1.0) -> Impression:
    """A scrap of one colour."""
    return Impression(kind="plain", pixels=np.repeat(coded([hex_]) * light, 40, axis=0), extent_mm=60.0)


def turned(seen: Impression) -> Impression:
    """The scrap turned half round: its run is met from the other end."""
    (run,) = seen.runs
    return replace(seen, runs=(replace(run, colours=run.colours[::-1], edges_mm=run.length_mm - run.edges_mm[::-1]),))


FABRICS = (fabric("deck", DECK), fabric("tick", TICK), plain("linen", BLUE))


@pytest.mark.parametrize("start_mm", [0.0, 5.0, 17.5, 28.0])
@pytest.mark.parametrize("length_mm", [28.0, 70.0])
def test_a_part_of_the_sequence_is_known_and_lies_where_it_was_cut(start_mm: float, length_mm: float) -> None:
    """Geometry: a scrap cut out of a sequence of 31 mm lies on it at the place of the cut, whole repeat or not."""
    (said,) = recognise([scrap(DECK, start_mm, length_mm)], FABRICS)
    assert said.candidates[0].fabric.id == "deck"
    laid = said.candidates[0].fit.laid
    assert laid is not None
    assert not laid.reverse
    assert abs((laid.start_mm - start_mm + 15.5) % 31.0 - 15.5) <= 0.3


def test_either_way_round() -> None:
    """Geometry: cloth turned half round shows its sequence backwards, and is the same cloth."""
    (said,) = recognise([turned(scrap(DECK, 3.0, 40.0))], FABRICS)
    assert said.verdict == "sure"
    laid = said.candidates[0].fit.laid
    assert laid is not None
    assert laid.reverse


@pytest.mark.parametrize("light", [0.85, 1.0, 1.08])
def test_light_of_another_strength_changes_nothing(light: float) -> None:
    """A photograph darker or lighter by half a stop (2^(0.5/2.2) = 1.17 as stored) shows the same cloth."""
    (said,) = recognise([scrap(DECK, 3.0, 80.0, light=light, whole=True)], FABRICS)
    assert (said.verdict, said.candidates[0].fabric.id) == ("sure", "deck")


def test_a_stripe_wider_by_a_millimetre_is_another_fabric() -> None:
    """Widths known to 0.1 mm tell a stripe of 13 mm from one of 12 mm, colours and repeat being the same."""
    wider: Rows = ((RED, 13.0), (WHITE, 6.0), (BLUE, 8.0), (WHITE, 4.0))
    both = (*FABRICS, fabric("wider", wider))
    for rows, name in ((DECK, "deck"), (wider, "wider")):
        (said,) = recognise([scrap(rows, 4.0, 80.0, whole=True)], both)
        assert (said.verdict, said.candidates[0].fabric.id) == ("sure", name)


def test_twins_are_asked_about() -> None:
    """Two fabrics that are kept with the very same print cannot be told apart: both are named, neither is taken."""
    (said,) = recognise([scrap(DECK, 4.0, 80.0, whole=True)], (*FABRICS, fabric("twin", DECK)))
    assert said.verdict == "unsure"
    assert {row.fabric.id for row in said.candidates} == {"deck", "twin"}


def test_cloth_of_no_fabric_is_new() -> None:
    """A print that no fabric has is called new where its repeat shows, and asked about where it does not."""
    other: Rows = ((GREEN, 5.0), (RED, 11.0), (GREEN, 3.0), (BLUE, 6.0))
    assert recognise([scrap(other, 4.0, 80.0, whole=True)], FABRICS)[0].verdict == "new"
    assert recognise([scrap(other, 4.0, 21.0)], FABRICS)[0].verdict == "unsure"


def test_washed_cloth_is_not_called_new() -> None:
    """Cloth that has shrunk by 3 % (common for cotton) is no other cloth for that: its fabric is named."""
    shrunk = tuple((hex_, width * 0.97) for hex_, width in DECK)
    (said,) = recognise([scrap(shrunk, 4.0, 80.0, whole=True)], FABRICS)
    assert said.verdict == "unsure"
    assert said.candidates[0].fabric.id == "deck"


def test_nothing_is_new_for_a_wrong_repeat_alone() -> None:
    """Where a part of the sequence was taken for its repeat, but its colours lie as the fabric's do, she is asked."""
    seen = scrap(DECK, 4.0, 80.0)
    (run,) = seen.runs
    (said,) = recognise([replace(seen, runs=(replace(run, repeat=Estimate(7.2, 0.05)),))], FABRICS)
    assert said.verdict == "unsure"
    assert said.candidates[0].fabric.id == "deck"


def test_a_colour_alone_is_not_sure_among_like_ones() -> None:
    """Two blues that lie 2.7 CIEDE2000 apart (by the published formula) cannot be told apart in unknown light."""
    (said,) = recognise([plain_scrap(BLUE)], (*FABRICS, plain("other", "#284a79")))
    assert said.verdict == "unsure"
    assert {row.fabric.id for row in said.candidates} == {"linen", "other"}


def test_light_of_known_scraps_helps_plain_ones() -> None:
    """Beside a striped scrap that shows how dark the photograph is, plain cloth is surer to be what it is."""
    striped = scrap(DECK, 4.0, 80.0, light=0.85, whole=True)
    alone = recognise([plain_scrap(BLUE, light=0.85)], FABRICS)[0].candidates[0].share
    beside = recognise([striped, plain_scrap(BLUE, light=0.85)], FABRICS)[1].candidates[0].share
    assert beside > alone


def test_no_fabric_whose_colours_are_unknown_is_guessed() -> None:
    """A fabric of which no colour is known is never named, nor is cloth called new that may be of it by its repeat; an
    empty stash makes everything new."""
    bare = Fabric(id="bare", name="bare", print=Print(kind="stripe"))
    other = replace(bare, print=Print(kind="stripe", across=Estimate(40.0, 0.1)))
    seen = scrap(DECK, 4.0, 80.0, whole=True)
    (said,) = recognise([seen], [bare])
    assert (said.verdict, said.candidates) == ("unsure", ())
    assert recognise([seen], [other])[0].verdict == "new"
    assert recognise([seen], [])[0].verdict == "new"


@pytest.mark.parametrize("whole", [True, False])
def test_among_five_hundred_fabrics(whole: bool) -> None:
    """However many fabrics are kept, each scrap comes to the one that it was cut from: widths and colours drawn at
    random are hardly ever alike."""
    rng = np.random.default_rng(7)

    def drawn(name: str) -> tuple[Rows, Fabric]:
        colours = [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in rng.integers(20, 236, (3, 3))]
        rows = tuple(zip(colours, (float(width) for width in rng.uniform(5, 20, 3)), strict=True))
        return rows, fabric(name, rows)

    many = [drawn(f"f{k}") for k in range(500)]
    for k in (0, 123, 499):
        (said,) = recognise([scrap(many[k][0], 4.0, 90.0, light=0.9, whole=whole)], [one for _, one in many])
        assert said.candidates[0].fabric.id == f"f{k}"
        assert said.verdict == "sure"
