"""The stash document: what is read is written again, and every mistake is told by where it stands."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from stash.errors import InputWrong
from stash.interchange.digest import piece_digest, stash_digest
from stash.interchange.reader import parse, read
from stash.interchange.ring import fault, signed_area_mm2, without_repeats
from stash.interchange.writer import stash_document as write
from tests.catalogue.sample import stash_document


def test_a_document_comes_back_as_it_was() -> None:
    """Reading and writing gives the same document, keys that we do not know at every level included."""
    assert write(read(stash_document())) == stash_document()


def test_a_short_document_is_stable_once_written() -> None:
    """What may be left out is filled in with its plain meaning once, and then stays as it is."""
    short = stash_document()
    for key in ("holes_mm", "flaws_mm", "outline_mm_u95", "along_origin_mm"):
        del short["pieces"][0][key]
    del short["fabrics"][0]["one_way"], short["fabrics"][0]["print"]["across_mm_u95"]
    once = write(read(short))
    assert write(read(once)) == once
    assert once["pieces"][0]["outline_mm_u95"] == 0


def test_a_direction_left_out_is_not_known() -> None:
    """A missing direction is null and never taken for 0: a wrong place told with confidence is the worst answer."""
    document = stash_document()
    del document["pieces"][0]["stripe_direction_deg"]
    assert read(document).pieces[0].stripe_direction_deg is None


WRONG: list[tuple[str, Any, str]] = [
    ("schema", "stash/2", "schema"),
    ("fabrics.0.id", None, "fabrics[0].id"),
    ("fabrics.0.print", ..., "fabrics[0].print"),
    ("fabrics.0.print.kind", "dots", "fabrics[0].print.kind"),
    ("fabrics.0.print.across_mm", -60, "fabrics[0].print.across_mm"),
    ("fabrics.0.print.across_mm", "60", "fabrics[0].print.across_mm"),
    ("fabrics.0.print.across_mm_u95", -1, "fabrics[0].print.across_mm_u95"),
    ("fabrics.0.print.stripes.1.width_mm", 0, "fabrics[0].print.stripes[1].width_mm"),
    ("fabrics.0.print.stripes.1.width_mm", 61, "fabrics[0].print.stripes[1].width_mm"),
    ("fabrics.0.print.stripes.0.hex", "red", "fabrics[0].print.stripes[0].hex"),
    ("fabrics.0.one_way", "no", "fabrics[0].one_way"),
    ("pieces", {}, "pieces"),
    ("pieces.0.fabric", "tickin", "pieces[0].fabric"),
    ("pieces.0.outline_mm", ..., "pieces[0].outline_mm"),
    ("pieces.0.outline_mm", [[0, 0], [10, 0]], "pieces[0].outline_mm"),
    ("pieces.0.outline_mm", [[0, 0], [10, 10], [10, 0], [0, 10]], "pieces[0].outline_mm"),
    ("pieces.0.outline_mm", [[0, 0], [5, 0], [10, 0]], "pieces[0].outline_mm"),
    ("pieces.0.outline_mm", [[0, 0], [10, 0], [10, math.nan]], "pieces[0].outline_mm[2][1]"),
    ("pieces.0.outline_mm", [[0, 0], [10, 0], [10]], "pieces[0].outline_mm[2]"),
    ("pieces.0.outline_mm", [[0, 0], [1e9, 0], [10, 5]], "pieces[0].outline_mm[1][0]"),
    ("pieces.0.flaws_mm.0", [[0, 0], [1, 1]], "pieces[0].flaws_mm[0]"),
    ("pieces.0.outline_mm_u95", -0.1, "pieces[0].outline_mm_u95"),
    ("pieces.0.stripe_origin_mm", ..., "pieces[0].stripe_origin_mm"),
    ("pieces.0.stripe_direction_deg", True, "pieces[0].stripe_direction_deg"),
]


@pytest.mark.parametrize(("where", "value", "path"), WRONG)
def test_a_mistake_is_told_by_its_place(where: str, value: Any, path: str) -> None:
    """Each wrong, missing (...) or impossible value is refused, and the message names the path to it."""
    document = stash_document()
    *way, last = [int(step) if step.isdigit() else step for step in where.split(".")]
    spot: Any = document
    for step in way:
        spot = spot[step]
    if value is ...:
        del spot[last]
    else:
        spot[last] = value
    with pytest.raises(InputWrong) as caught:
        read(document, source="x.json")
    assert caught.value.problem.startswith(f"x.json: {path} ")
    assert caught.value.remedy


def test_an_id_twice_is_refused() -> None:
    """Two pieces of one id cannot be told apart in a plan, so the second is refused."""
    document = stash_document()
    document["pieces"].append(document["pieces"][0])
    with pytest.raises(InputWrong, match=r"pieces\[1\]\.id"):
        read(document)


@pytest.mark.parametrize("text", ["", "{", "[1, 2", '{"a": NaN}', '{"a": 1, "a": 2}', "[" * 100_000, b"\xff\xfe{"])
def test_what_is_not_json_is_refused(text: str | bytes) -> None:
    """RFC 8259 knows no NaN and advises names said once; broken text is refused in one sentence, never a traceback."""
    with pytest.raises(InputWrong) as caught:
        parse(text, source="x.json")
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("document", [None, 3, "stash/1", [], {}, {"schema": "stash/1"}])
def test_what_is_no_stash_is_refused(document: Any) -> None:
    """JSON of another shape is refused."""
    with pytest.raises(InputWrong):
        read(document)


def test_the_digest_knows_content_and_not_order() -> None:
    """The same cloth in another order has the same fingerprint; a corner moved by 0.01 mm has another."""
    one = stash_document()
    one["pieces"].append({**one["pieces"][0], "id": "t2"})
    other = json.loads(json.dumps(one))
    other["pieces"].reverse()
    assert stash_digest(read(one)) == stash_digest(read(other))
    other["pieces"][0]["outline_mm"][2][0] += 0.01
    assert stash_digest(read(one)) != stash_digest(read(other))
    assert piece_digest(read(one).pieces[1]) != piece_digest(read(other).pieces[0])


corner = st.tuples(st.integers(0, 6), st.integers(0, 6)).map(lambda xy: (float(xy[0]), float(xy[1])))


@given(st.lists(corner, min_size=3, max_size=8).map(tuple))
def test_simple_polygons_are_told_as_geos_tells_them(ring: tuple[tuple[float, float], ...]) -> None:
    """Judge: GEOS by way of shapely. Small whole coordinates make touching, folding back and crossing frequent."""
    clean = without_repeats(ring)
    if len(clean) < 3:
        assert fault(clean) is not None
        return
    polygon = Polygon(clean)
    assert (fault(clean) is None) == (polygon.exterior.is_simple and polygon.area > 0)
    if polygon.is_valid:
        assert abs(signed_area_mm2(clean)) == pytest.approx(polygon.area)
