"""Whether scraps come to their fabrics, on a few photographs; ``tests.accuracy.recognise`` counts many."""

from __future__ import annotations

import pytest

from stash.recognition.recognising import Recognition
from tests.accuracy.recognise import Tried, judged, photographed, stash_of
from tests.makers.cloth import PlainPrint
from tests.makers.drapery import KINDS, NEAR, OTHER_DE, prints


def test_fabrics_are_forty_and_some_are_near_others() -> None:
    """The stash of the figure holds forty prints, no two the same, twelve of them one change away from another; plain
    ones lie apart by what anybody sees."""
    made = prints(1)
    assert len(made) == len(KINDS) + len(NEAR) == 40
    assert len(set(map(repr, made))) == 40
    assert sum(isinstance(one, PlainPrint) for one in made) == KINDS.count("plain")
    assert OTHER_DE[0] > 5.0


def test_what_counts_as_wrong() -> None:
    """Only what is said without a doubt can be wrong: a taken fabric that is another's, or a known one called new."""
    unsure = Recognition(verdict="unsure", candidates=(), new=0.5)
    new = Recognition(verdict="new", candidates=(), new=1.0)
    assert Tried(truth="f1", kind="stripe", said=unsure).outcome == "asked, other"
    assert Tried(truth="f1", kind="stripe", said=new).outcome == "new, WRONG"
    assert Tried(truth=None, kind="stripe", said=new).outcome == "new, right"


@pytest.mark.slow
def test_scraps_come_to_their_fabrics() -> None:
    """Of four striped fabrics photographed in their own light, scraps in other light are named rightly, each first in
    its list, and none is taken wrongly."""
    fabrics = stash_of(3, count=4)
    tried, _ = judged(photographed(fabrics, 31), [row for row, _ in fabrics])
    known = [one.outcome for one in tried if one.truth is not None]
    assert len(known) >= 4
    assert set(known) <= {"taken, right", "asked, first"}
    assert known.count("taken, right") >= len(known) / 2
    assert not any("WRONG" in one.outcome for one in tried)
