"""Evenly spaced places: which belong to one comb."""

from __future__ import annotations

import numpy as np

from vision.reference.even import gathered, ragged


def test_strays_far_beyond_a_comb_are_none_of_its_ticks() -> None:
    """Two places far off, met by chance, are left out of a comb of fifty; what goes on beyond a glare, as long as that
    hid, belongs to it."""
    comb = np.delete(np.arange(50), [11, 12, 30])
    strayed = np.concatenate([[-41, -9], comb, [80]])
    assert strayed[gathered(strayed)].tolist() == comb.tolist()
    hidden = np.concatenate([np.arange(50), np.arange(61, 80)])
    assert gathered(hidden).all()


def test_strokes_met_by_chance_are_ragged_and_a_bent_tape_is_not() -> None:
    """Strokes anywhere within a seventh of a spacing of where ticks would be lie off their neighbours' course; ticks
    seen to a quarter of a pixel on a tape that bends, aslant, do not, though some be hidden."""
    rng = np.random.default_rng(4)
    index = np.sort(rng.choice(70, 45, replace=False))
    for period in (7.0, 25.0):
        chance = period * (index + rng.uniform(-0.15, 0.15, index.size))
        course = period * (index + 0.002 * index**2 + 0.8 * np.sin(index / 9)) + rng.normal(0, 0.25, index.size)
        assert ragged(chance, index)
        assert not ragged(course, index)
        assert not ragged(-course, index)
