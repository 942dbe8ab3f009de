"""Evenly spaced places: which belong to one comb."""

from __future__ import annotations

import numpy as np

from vision.reference.even import gathered


def test_strays_far_beyond_a_comb_are_none_of_its_ticks() -> None:
    """Two places far off, met by chance, are left out of a comb of fifty; what goes on beyond a glare, as long as that
    hid, belongs to it."""
    comb = np.delete(np.arange(50), [11, 12, 30])
    strayed = np.concatenate([[-41, -9], comb, [80]])
    assert strayed[gathered(strayed)].tolist() == comb.tolist()
    hidden = np.concatenate([np.arange(50), np.arange(61, 80)])
    assert gathered(hidden).all()
