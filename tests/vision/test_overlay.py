"""The drawing on the photograph: its geometry, and that it is drawn whatever was or was not found."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tests.vision.test_measure import measured, photo_of, rendered
from vision.caption import footer, headline
from vision.estimate import Estimate
from vision.ink import Pen
from vision.measure import Evidence, Measured
from vision.measurement import Cloth, Measurement, Stripe
from vision.overlay import chords, counted, draw
from vision.photo import Photo
from vision.reference.reading import Reading


def test_chord_of_a_rectangle() -> None:
    """A line x = 3 through a 10 x 4 rectangle is inside it from y = 0 to y = 4."""
    rectangle = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 4.0], [0.0, 4.0]])
    [(start, end)] = chords(rectangle, np.array([1.0, 0.0]), 3.0)
    assert sorted([tuple(start), tuple(end)]) == [(3.0, 0.0), (3.0, 4.0)]


def test_chords_of_a_shape_with_a_notch() -> None:
    """A line across a U is inside it twice."""
    u = np.array([[0, 0], [2, 0], [2, 3], [4, 3], [4, 0], [6, 0], [6, 5], [0, 5]], dtype=float)
    spans = [sorted((float(a[0]), float(b[0]))) for a, b in chords(u, np.array([0.0, 1.0]), 1.0)]
    assert sorted(spans) == [[0.0, 2.0], [4.0, 6.0]]


def test_photograph_stays_beneath_the_drawing() -> None:
    """The drawing is the photograph with bands above and below: places far from any mark are unchanged."""
    photo = photo_of(rendered())
    drawn = draw(photo, measured())
    assert drawn.shape[1] == photo.size_px[0]
    assert drawn.shape[0] > photo.size_px[1]
    top = next(y for y in range(drawn.shape[0] - 20) if np.array_equal(drawn[y : y + 20, -5:], photo.rgb[:20, -5:]))
    assert np.array_equal(drawn[top : top + 20, -20:], photo.rgb[:20, -20:])


def test_drawing_differs_from_the_photograph_at_the_cloths_edge() -> None:
    """The outline is drawn: along the cloth's measured edge the picture changes."""
    found, photo = measured(), photo_of(rendered())
    assert found.evidence.plane is not None
    drawn = draw(photo, found)
    ring = np.asarray(found.evidence.cloths[0].region.outline_mm)
    places = found.evidence.plane.to_px((ring[:-1] + ring[1:]) / 2).round().astype(int)
    top = next(y for y in range(drawn.shape[0] - 20) if np.array_equal(drawn[y : y + 20, -5:], photo.rgb[:20, -5:]))
    changed = [not np.array_equal(drawn[top + y, x], photo.rgb[y, x]) for x, y in places]
    assert np.mean(changed) > 0.9


def test_units_of_a_ruler_are_counted_from_the_left() -> None:
    """A ruler read from right to left is still numbered from the left, as she reads it; clicked points keep theirs."""
    marks = np.array([[300.0, 0.0], [200.0, 0.0], [100.0, 0.0]])
    reading = Reading(
        source="ruler",
        unit="mm",
        marks_px=marks,
        marks_mm=np.array([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]]),
        marks_sigma_px=np.ones(3),
        ticks_px=np.empty((0, 2, 2)),
        ticks_sigma_px=np.empty(0),
        tolerance_relative_u95=0.003,
        names=("0", "", "2"),
        outline_px=np.empty((0, 2)),
    )
    assert counted(reading) == ("2", "", "0")
    assert counted(replace(reading, marks_px=marks[::-1])) == ("0", "", "2")
    assert counted(replace(reading, source="points")) == ("0", "", "2")


@pytest.mark.parametrize("size", [(60, 80), (900, 300)])
def test_nothing_found_is_drawn_too(size: tuple[int, int]) -> None:
    """A photograph in which nothing was found still gives a picture as wide as itself, with the warning under it."""
    photo = Photo(name="x.jpg", rgb=np.full((*size, 3), 120, np.uint8), focal35_mm=None, taken=None)
    nothing = Measured(
        measurement=Measurement(
            photo="x.jpg", scale=None, main=Cloth(outline=None, print=None, skew=None), warnings=("Lay a ruler down.",)
        ),
        evidence=Evidence(),
    )
    assert draw(photo, nothing).shape[1] == size[1]


@pytest.mark.parametrize("width", [800, 1200, 1524])
def test_a_long_headline_stands_whole(width: int) -> None:
    """Both repeats of a motif in millimetres and inches are a long line: nothing of it runs out of the picture, and the
    margin on the right is as empty as that on the left."""
    found = measured().measurement
    repeat = Estimate(116.09, 0.06)
    print_ = replace(found.main.print, kind="motif", across=repeat, along=repeat) if found.main.print else None
    band = np.asarray(headline(replace(found, main=replace(found.main, print=print_)), width))
    margin = round(15 * max(1.0, width / 1200))
    assert np.ptp(band[:, :margin].reshape(-1, 3), axis=0).max() == 0
    assert np.ptp(band[:, -margin:].reshape(-1, 3), axis=0).max() == 0


def test_the_longest_colour_name_stands_whole_below(monkeypatch: pytest.MonkeyPatch) -> None:
    """A name such as "moderate yellowish green" beside a width in hundredths keeps every word, and its column."""
    set_: list[tuple[str, float]] = []
    plain = Pen.text

    def kept(pen: Pen, place: tuple[float, float], text: str, *told: Any, **more: Any) -> None:
        size = pen.size(text, more["height"], bold=more.get("bold", False))[0]
        set_.append((text, (place[0] + size) / pen.unit))
        plain(pen, place, text, *told, **more)

    monkeypatch.setattr(Pen, "text", kept)
    found = measured().measurement
    print_ = found.main.print
    assert print_ is not None
    name, wide = "moderate yellowish green", Estimate(112.35, 0.11)
    stripes = tuple(Stripe(label=label, width=wide, centre_mm=0.0, hex="#508050", colour=name) for label in "ABC")
    footer(replace(found, main=replace(found.main, print=replace(print_, stripes=stripes)), warnings=()), 1200)
    names = [(text, end) for text, end in set_ if "mm" not in text]
    assert " ".join(text for text, _ in names) == " ".join([name] * 3)
    ends = [max(end for _, end in names[k : k + 2]) for k in range(0, 6, 2)]
    assert all(end <= 18 + 392 * (column + 1) for column, end in enumerate(ends))
