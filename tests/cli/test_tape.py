"""A tape checked once against a steel rule, and photographs measured with it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from stash.tape import checked
from tests.cli import scene
from tests.cli.conftest import Call


def test_a_checked_tape_changes_every_length_by_what_it_is_off(call: Call, tmp_path: Path) -> None:
    """A tape whose metre is 994 mm long measures a repeat 0.6 % shorter than it says, and knows it better than a tape
    of which nothing is known (0.3 %)."""
    photo = scene.write(tmp_path / "photo.jpg", cloth=True, ruler=True)
    plain = call("measure", photo, "--json").document["print"]
    assert call("tape", "1 m", "994 mm").code == 0
    known = call("measure", photo, "--tape", "--json").document["print"]
    assert known["across_mm"] / plain["across_mm"] == pytest.approx(0.994, abs=2e-4)
    assert known["across_mm_u95"] < plain["across_mm_u95"]
    assert call("measure", photo, "--json").document["print"] == plain


def test_what_is_known_of_the_tape_is_said_again(call: Call) -> None:
    """Without lengths the command says what is kept, in words and as a document."""
    call("tape", "40 in", "40 1/8 in")
    assert "stretched by 0.31 %" in call("tape").out
    document = json.loads(call("tape", "--json").out)
    assert document["true_share"] == pytest.approx(40.125 / 40)


def test_the_doubt_left_is_that_of_reading_and_rule() -> None:
    """A metre read to half a millimetre at both ends against a class II rule (0.5 mm a metre, 2014/32/EU): 0.087 %."""
    assert checked("1 m", "995 mm").true_share.u95 == pytest.approx((0.5**2 * 2 + 0.5**2) ** 0.5 / 1000, rel=1e-6)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "no tape has been checked"),
        (["1 m"], "both"),
        (["10 cm", "10 cm"], "too short"),
        (["1 m", "1 yd"], "compare again"),
        (["1 m", "long"], "rule"),
    ],
)
def test_what_is_no_check_is_refused(call: Call, words: list[str], told: str) -> None:
    """Nothing, one length, too short a length, or one that no tape could have: one sentence, status 2."""
    done = call("tape", *words)
    assert done.code == 2
    assert told in done.err


def test_a_tape_that_was_never_checked_is_refused_before_anything_is_measured(call: Call) -> None:
    """--tape without a check says how to make one."""
    done = call("measure", "missing.jpg", "--tape")
    assert done.code == 2
    assert "stripewright tape" in done.err
