"""A plan carries its garments, and several garments share one list of parts."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stash.garment.coat import Coat
from stash.garment.editing import drawn
from stash.garment.file import read_garment, read_pattern, resolve
from stash.garment.resolved import to_document, to_documents, together, told_apart
from stash.garment.spec import PanelSpec, Pattern, StripSpec
from stash.garment.writing import write_garment_toml
from stash.lengths import parse_length
from tests.garment.test_file import COAT, HEM


def test_a_plan_says_what_its_garment_is() -> None:
    """Through JSON every part keeps its sizes to a millionth of a millimetre, its pair and its edge."""
    garment = read_garment(COAT + '[[strip]]\nid = "hem"\nextra = ["0.35 in", "0 in"]')
    document = json.loads(json.dumps(to_document(garment)))
    assert {row["id"] for row in document["strips"] + document["panels"]} == {part.id for part in garment.parts}
    for row, strip in zip(document["strips"], garment.strips, strict=True):
        assert row["length_mm"] == pytest.approx(strip.length_mm, abs=1e-6)
        assert (row["pair"], row["edge"], tuple(row["extra_mm"])) == (
            strip.pair, strip.edge, pytest.approx(strip.extra_mm)
        )  # fmt: skip


def test_garments_planned_together_share_no_ids() -> None:
    """Parts of the same id are told apart by their garment; pairs stay within it; one garment alone keeps its ids."""
    jacket = read_garment('name = "Jacket"\n' + HEM + 'pair = "rings"')
    skirt = read_garment('name = "Skirt"\n' + HEM + HEM.replace('"hem"', '"waist"') + 'pair = "rings"')
    both = together([jacket, skirt, skirt])
    ids = [part.id for garment in both for part in garment.parts]
    assert ids == ["Jacket: hem", "Skirt: hem", "Skirt: waist", "Skirt 2: hem", "Skirt 2: waist"]
    pairs = {strip.pair for garment in both for strip in garment.strips if strip.pair}
    assert len(pairs) == 3
    assert together([jacket]) == (jacket,)
    assert told_apart(["A", "A", "A 2", "B", "A"]) == ["A", "A 3", "A 2", "B", "A 4"]
    assert len(to_documents(both)) == 3


_SIXTEENTHS = st.integers(1, 2000).map(lambda count: parse_length(f"{count}/16 in"))
_ENDS = st.sampled_from(["start", "end"])
_WORDS = st.text(min_size=1, max_size=20).filter(lambda text: text.isprintable())


@given(
    name=_WORDS,
    seam=_SIXTEENTHS,
    strip=st.builds(
        StripSpec,
        id=_WORDS,
        fabric=_WORDS,
        stripe=_WORDS,
        length_mm=_SIXTEENTHS,
        width_mm=st.none() | _SIXTEENTHS,
        make=st.sampled_from(["flat", "folded", "bound", None]),
        extra_mm=st.none() | st.tuples(_SIXTEENTHS, _SIXTEENTHS),
        joins=st.none() | st.integers(0, 9),
        pair=st.none() | _WORDS,
        mirror=st.none() | _WORDS,
        outward=st.sampled_from(["left", "right", None]),
        hide_mm=st.none() | st.lists(st.tuples(_SIXTEENTHS, _SIXTEENTHS), min_size=1, max_size=3).map(tuple),
        corner=st.none() | st.lists(st.tuples(_WORDS, _ENDS, _WORDS, _ENDS), min_size=1, max_size=2).map(tuple),
        leave_out=st.none() | st.booleans(),
    ),
    panel=st.builds(PanelSpec, id=_WORDS, width_mm=_SIXTEENTHS, turn=st.none() | st.booleans()),
)
def test_a_written_garment_file_reads_back(name: str, seam: float, strip: StripSpec, panel: PanelSpec) -> None:
    """Whatever a pattern says, the file written from it says the same (TOML 1.0 by the standard library's reader)."""
    pattern = Pattern(name=name, seam_mm=seam, strips=(strip,), panels=(panel,))
    assert read_pattern(write_garment_toml(pattern)) == pattern


def test_a_written_coat_reads_back() -> None:
    """A coat's file gives the same coat and the same parts."""
    pattern = read_pattern(COAT)
    assert isinstance(pattern.coat, Coat)
    again = read_pattern(write_garment_toml(pattern))
    assert again == pattern
    assert resolve(again) == resolve(pattern)


def test_a_part_keeps_its_name_where_its_namesake_is_left_out() -> None:
    """Both garments have a hem. Drawn up again without the skirt's, the jacket's is there still, under its name."""
    jacket = read_garment('name = "Jacket"\n' + HEM)
    skirt = read_garment('name = "Skirt"\n' + HEM + HEM.replace('"hem"', '"waist"'))
    again = drawn(together([jacket, skirt]))
    assert again is not None
    parts = again.parts([{"part": "Skirt: hem", "key": "leave_out", "value": True}])
    assert parts is not None
    assert [part.id for part in parts] == ["Jacket: hem", "waist"]
