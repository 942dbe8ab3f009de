"""The way in without photographs or files: cloth as it is spoken of, and a coat from a few plain answers."""

from __future__ import annotations

import pytest

from stash.ask.build import build
from stash.ask.cloth import parse_cloth, slug
from stash.ask.question import Question, questions
from stash.ask.spoken import in_figures
from stash.ask.talk import MOST_TRIES, converse
from stash.errors import InputWrong
from stash.fabric import Fabric
from stash.garment.file import read_pattern, resolve
from stash.garment.writing import write_garment_toml
from stash.piece import Piece, across_axis

INCH = 25.4
CLOTH = "58 × 54 in; from the left selvage red ¾, white ¼, blue 1, white ¼"


def _seen(fabric: Fabric, piece: Piece, x: float, y: float) -> str | None:
    """The colour at a point of a piece, straight from the definition of the stash document."""
    across = fabric.print.across
    assert across is not None
    assert piece.stripe_direction_deg is not None
    n = across_axis(piece.stripe_direction_deg)
    at = (x * n[0] + y * n[1] - piece.stripe_origin_mm) % across.value
    for stripe in fabric.print.stripes:
        if abs((at - stripe.centre_mm + across.value / 2) % across.value - across.value / 2) < stripe.width_mm / 2:
            return stripe.colour
    return None


def test_the_cloth_of_the_ten_minute_test() -> None:
    """A repeat of 2 1/4 in of four stripes, the two white ones alike; 58 in wide and 54 long; units said once."""
    fabric, (piece,) = parse_cloth(CLOTH)
    assert fabric.print.across is not None
    assert fabric.print.across.value == pytest.approx(2.25 * INCH)
    assert [(s.label, s.colour, s.width_mm / INCH) for s in fabric.print.stripes] == [
        ("A", "red", pytest.approx(0.75)),
        ("B", "white", pytest.approx(0.25)),
        ("C", "blue", pytest.approx(1)),
        ("B", "white", pytest.approx(0.25)),
    ]
    assert piece.outline_mm[2] == (pytest.approx(58 * INCH), pytest.approx(54 * INCH))


@pytest.mark.parametrize(
    ("edge", "steps"),
    [
        ("left", lambda t, w, h: (t, h / 2)),
        ("right", lambda t, w, h: (w - t, h / 2)),
        ("top", lambda t, w, h: (w / 2, t)),
        ("bottom", lambda t, w, h: (w / 2, h - t)),
    ],
)
def test_stripes_lie_where_they_are_said_to(edge: str, steps) -> None:
    """From each edge, walking inwards, the colours come in the order and at the distances said (y down, x right)."""
    fabric, (piece,) = parse_cloth(f"50 x 40 cm; from the {edge} red 3, white 1, blue 2")
    for distance, colour in ((15, "red"), (35, "white"), (50, "blue"), (75, "red"), (95, "white"), (110, "blue")):
        assert _seen(fabric, piece, *steps(distance, 500, 400)) == colour


def test_a_first_stripe_that_starts_inside_the_edge() -> None:
    """Starting 2 cm from the left edge, red covers 2 to 5 cm."""
    fabric, (piece,) = parse_cloth("50 x 40 cm; starting 2 cm from the left edge red 3, white 1, blue 2")
    assert [_seen(fabric, piece, x, 9) for x in (10, 25, 45, 55)] == ["blue", "red", "red", "white"]


@pytest.mark.parametrize(
    ("text", "across_in", "colours"),
    [
        ("58 by 54 inches. red three quarters, white a quarter, and again", 1, "red,white"),
        ("58 x 54 in; red 1, white 1, red 1, white 1, red 1, white 1", 2, "red,white"),
        ("58 x 54 in; red 1, white 1, red 1", 2, "red,white"),
        ("58 x 54 in: inch-wide red stripes, inch-wide white", 2, "red,white"),
        ("58 × 54 in; 1½ in of dark red then half an inch of cream and so on", 2, "dark red,cream"),
        ("60 in x 1½ yd; red one and a half inches, white half an inch", 2, "red,white"),
        ("147 x 137 cm; red 2,54, white 2.54", 2, "red,white"),
        ("1.47 m x 1.37 m; red 25.4 mm, white 25.4", 2, "red,white"),
    ],
)
def test_cloth_is_spoken_of_in_many_ways(text: str, across_in: float, colours: str) -> None:
    """Units said once hold on, words are numbers, and a list that goes round more than once is one repeat."""
    fabric, _ = parse_cloth(text)
    assert fabric.print.across is not None
    assert fabric.print.across.value == pytest.approx(across_in * INCH)
    assert [stripe.colour for stripe in fabric.print.stripes] == colours.split(",")


def test_several_pieces_and_plain_cloth() -> None:
    """A count and further sizes make as many pieces, with ids of their own; cloth without stripes keeps its name."""
    fabric, pieces = parse_cloth("two lengths of 58 x 54 in and 20 by 30 in; red 1, white 1")
    assert len({piece.id for piece in pieces}) == len(pieces) == 3
    assert all(piece.fabric == fabric.id for piece in pieces)
    plain, _ = parse_cloth("60 × 72 in plain indigo linen")
    assert (plain.print.kind, plain.name) == ("plain", "plain indigo linen")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("hello", "no size"),
        ("", "no size"),
        ("-3 x 4 in", "no size"),
        ("58 x 54; red 1, white 1", "has no unit"),
        ("0 x 54 in; red 1, white 1", "no cloth in it"),
        ("58 x 54 in; red, white", "have no widths"),
        ("58 x 54 in; 1, 2", "has no colour"),
        ("58 x 54 in; red 1, red 2", "run together"),
        ("58 x 54 in; red 1, white 1, white 2, blue 1", "side by side"),
        ("58 x 54 in; red 1 2, white 1", "not a colour and a width"),
        ("58 x 54 in; red 0, white 1", "no width"),
        ("58 x 54 in; red 100 in, white 1", "more than the cloth"),
    ],
)
def test_cloth_that_is_not_understood(text: str, words: str) -> None:
    """What is not surely understood is refused with a remedy; striped cloth never passes for plain."""
    with pytest.raises(InputWrong, match=words) as caught:
        parse_cloth(text)
    assert caught.value.remedy
    assert "\n" not in str(caught.value)


def test_numbers_as_they_are_spoken() -> None:
    """Number words become figures, and words that are none stay."""
    assert in_figures("Three quarters of an inch") == "3/4 inch"
    assert in_figures("one and a half inches") == "1 1/2 inches"
    assert in_figures("two lengths, half a yard") == "2 lengths, 1/2 yard"
    assert in_figures("an eighth") == "1/8"
    assert in_figures("bone and stone") == "bone and stone"


def _scripted(answers: dict[str, list[str]], heard: list[str]):
    def asker(question: Question, default: str | None, complaint: str | None) -> str:
        if complaint:
            heard.append(complaint)
        waiting = answers.get(question.id, [])
        return waiting.pop(0) if waiting else ""

    return asker


def test_one_answer_and_the_defaults_make_a_coat() -> None:
    """Only the cloth must be said; the rest has a default, and the coat's girth is the chest, its ease and no more."""
    texts = converse(_scripted({"border": [CLOTH], "bust": ["38 in"]}, []))
    assert set(texts) == {question.id for question in questions()}
    outcome = build(texts)
    assert outcome.garment.figures_mm["girth"] == pytest.approx((38 + 6) * INCH, abs=0.5 * INCH)
    assert {part.fabric for part in outcome.garment.parts} == set(outcome.fabrics)
    assert {piece.fabric for piece in outcome.pieces} == set(outcome.fabrics)
    assert len(outcome.garment.strips) == 8


def test_nonsense_is_asked_again_and_a_strange_measure_doubted_once() -> None:
    """One sentence and the question again; a chest of 380 in is doubted and taken when she stays with it."""
    heard: list[str] = []
    script = {"border": ["what?", CLOTH], "stripe": ["green", "Blue"], "bust": ["380 in"] * 2, "joins": ["lots", "two"]}
    texts = converse(_scripted(script, heard))
    assert len(heard) == 4
    assert all(not sentence[0].islower() and "\n" not in sentence for sentence in heard)
    assert (texts["stripe"], texts["bust"], texts["joins"]) == ("Blue", "380 in", "two")
    with pytest.raises(InputWrong, match="could be read"):
        converse(_scripted({"border": ["x"] * (MOST_TRIES + 1)}, []))


def test_given_answers_are_not_asked() -> None:
    """All as options: nothing is asked; an unknown one or nonsense is refused with the question's name."""
    given = {question.id: "" for question in questions()} | {"border": CLOTH}

    def nobody(question: Question, default: str | None, complaint: str | None) -> str:
        raise AssertionError(question.id)

    assert build(converse(nobody, given)) == build({"border": CLOTH})
    with pytest.raises(InputWrong, match="there is no question"):
        build({"border": CLOTH, "chest": "38 in"})
    with pytest.raises(InputWrong, match="bust: "):
        build({"border": CLOTH, "bust": "-3 in"})
    with pytest.raises(InputWrong, match="border: this one has no answer"):
        build({})


def test_what_was_asked_can_be_saved() -> None:
    """The garment file written from the answers gives the same garment."""
    indigo = {"main": "60 x 72 in plain indigo", "hem": "28 in"}
    for extra in ({}, {"main": "none"}, {"child": "yes", "hem": "knee"}, indigo):
        outcome = build({"border": CLOTH} | extra)
        assert resolve(read_pattern(write_garment_toml(outcome.pattern)), where="the coat") == outcome.garment
    assert not build({"border": CLOTH, "main": "none"}).garment.panels


def test_the_same_cloth_for_coat_and_border_keeps_its_pieces_apart() -> None:
    """Two cloths that sound alike are two fabrics with pieces of their own."""
    outcome = build({"border": CLOTH, "main": CLOTH})
    assert len(outcome.fabrics) == 2
    assert len({piece.id for piece in outcome.pieces}) == 2


def test_an_id_ends_with_a_whole_word() -> None:
    """A long name gives an id of at most 40 letters that breaks no word and does not end in "and"."""
    assert slug("Red ticking") == "red-ticking"
    assert slug("Dark reddish orange and dark greenish blue stripe") == "dark-reddish-orange-and-dark-greenish"
    assert slug("One two three four five six seven ei and nine") == "one-two-three-four-five-six-seven-ei"
    assert slug("x" * 60) == "x" * 40
    assert slug("\u05d1\u05d3") == "cloth"
