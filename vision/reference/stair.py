"""A scale told from the stairs that its ticks make when all wholes are laid on one another.

Near the line on which ticks stand all of them show; farther out the shortest end, then the next, until only wholes and
their numbers are left. So of the mean of all wholes the rows next to the line come round as often as the finest ticks
do, those beyond half as often, and so on: sixteen, eight, four and two times an inch; twenty, ten and two times a
centimetre (common practice of all rulers). Hardly anything else makes two such steps side by side, and nothing makes
those of both units.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from vision.reference.beat import Line, spread, straight_lines
from vision.reference.comb import Comb
from vision.reference.division import DIVISIONS, INCH_MM, Division
from vision.reference.epoch import Fold, Levels, Round, folded, rounds
from vision.reference.strip import stretches

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: The stairs of an inch and of a centimetre, by how often ticks come in one, from the finest that is seen on.
INCH_STAIRS = ((32, 16, 8, 4, 2), (16, 8, 4, 2), (8, 4, 2))
CM_STAIRS = ((20, 10, 2), (10, 2))
CM_MM = 10.0
#: A step is where its wave stands out by so many standard deviations, and by so many times any other that is not its
#: overtone, up to so many times as fine as itself, over so many rows in a row.
SEEN, ALONE, UP_TO, LEAST_ROWS = 5.0, 1.5, 1.45, 3
#: Rows looked at together, px; as a share of a centimetre where its parts are sought, whose ticks are that long.
ROWS, ROWS_SHARE = 3, 0.15
#: So many steps of a stair are seen at least; the next begins beyond the one before, with so many rows between them,
#: and this share of a whole, at most.
LEAST_STEPS, MOST_BETWEEN, BETWEEN_SHARE = 2, 3, 0.1
#: A whole is none where every second one has something else, by so many standard deviations, nor where nothing comes
#: once in it.
OTHER = 6.0
#: Numbers stand beyond the ticks, so many times as far as these reach (common practice).
NUMBERS = 2.0
#: Ticks of the wholes are sought within this share of the finest ticks' spacing, in so many steps.
ASIDE, PLACES = 0.4, 81
#: What the coarser step shows stands on what the finer one does, but for this share of the finest spacing.
MOST_ASIDE = 0.25
#: The finest parts of a whole.
MOST_PARTS = 40
#: Wholes whose ticks stand off the others' course by more than so many standard deviations are hidden.
SOUND_SIGMAS = 4.0
#: Rows beside each other err alike, for the picture is soft: a slope over them errs so many times as far as their
#: scatter says (three rows that err as one make the square root of three; the ends of the ticks are softer).
ROWS_ALIKE = 2.0
#: So many sound ones are needed, whose ticks scatter by at most this share of the finest spacing.
FEWEST, MOST_SCATTER = 4, 0.15
#: A tick's ink is summed up from its middle to so many shares of the spacing beside it, where its number goes on.
ABOUT = (-0.3, -0.15, 0.0, 0.15, 0.3)
#: Ticks are not known better than this, px.
LEAST_SIGMA_PX = 0.02
#: Beside so many lines stairs are looked for (time).
LINES = 12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stair:
    """A scale seen whole by whole: its ticks as a comb, and the way it is divided.

    ``sigma_px`` is one standard deviation by which all ticks of a whole are off together at either end, ``lean_px``
    that by which all ticks of the scale lean together.
    """

    comb: Comb
    division: Division
    sigma_px: float
    lean_px: float


@dataclass(frozen=True, slots=True)
class _Step:
    """The rows, from ``low`` to before ``high``, in which something comes ``parts`` times a whole."""

    parts: int
    low: int
    high: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Band:
    """Where ticks stand in a band of rows whose middle is ``row``: the first, counted in wholes, in the mean of all,
    with one standard deviation; by how much after that (N,) those of each whole do, in wholes, with their scatter about
    a steady course; and which keep to it."""

    row: float
    place: float
    sigma: float
    shift: Floats
    scatter: float
    sound: Flags


def read_stairs(levels: Levels, combs: Sequence[Comb] = (), *, unit: str = "auto") -> Iterator[Stair]:
    """The scales whose stairs stand beside combs that tell too little by themselves, or beside the straight lines of a
    pyramid."""
    lines = [_foot_line(comb) for comb in combs] + spread(straight_lines(levels), 0)[:LINES]
    for seen in rounds(levels, lines):
        fold = folded(levels[0], seen)
        steps = _stairs(fold, unit)
        if steps and _is_whole(fold, steps) and not _is_half(levels, seen, steps):
            stair = _read(fold, steps)
            if stair is not None:
                yield stair


def _foot_line(comb: Comb) -> Line:
    """The line on which the ticks of a comb stand."""
    feet, _ = comb.bases()
    axis = (feet[-1] - feet[0]) / np.hypot(*(feet[-1] - feet[0]))
    length = float((feet[-1] - feet[0]) @ axis)
    return Line(start=feet[0], axis=axis, length=length, edge_px=length)


def _stairs(fold: Fold, unit: str) -> list[_Step]:
    """The steps of a stair, from the finest on; none where none are seen, or those of both units."""
    views = [_pooled(fold, ROWS), _pooled(fold, max(ROWS, round(ROWS_SHARE * fold.seen.whole_px)))]
    found: dict[int, tuple[int, int]] = {}
    for parts in {parts for stair in (*INCH_STAIRS, *CM_STAIRS) for parts in stair}:
        if parts >= fold.waves.shape[2]:
            continue
        mean, noise = views[parts in (10, 20)]
        size = np.abs(mean)
        others = [k for k in range(1, min(size.shape[1], int(parts * UP_TO) + 1)) if k % parts]
        seen = (size[:, parts] > SEEN * noise[:, parts]) & (size[:, parts] > ALONE * size[:, others].max(axis=1))
        run = _plainest(seen, size[:, parts] / noise[:, parts])
        if run is not None:
            found[parts] = run
    between = MOST_BETWEEN + BETWEEN_SHARE * fold.seen.whole_px
    inch = max((_going_on(stair, found, between) for stair in INCH_STAIRS if unit != "mm"), key=len, default=[])
    cm = max((_going_on(stair, found, between) for stair in CM_STAIRS if unit != "inch"), key=len, default=[])
    if (len(inch) >= LEAST_STEPS) == (len(cm) >= LEAST_STEPS):
        return []
    return inch if len(inch) >= LEAST_STEPS else cm


def _pooled(fold: Fold, rows: int) -> tuple[NDArray[np.complex128], Floats]:
    """The mean waves of so many rows each, and the standard deviation of these."""
    mean, noise = fold.mean, fold.noise / math.sqrt(fold.waves.shape[1])
    near = uniform_filter1d(mean.real, rows, axis=0) + 1j * uniform_filter1d(mean.imag, rows, axis=0)
    # neighbouring rows err alike in part: a picture is sampled, and compressed
    return near, np.asarray(np.sqrt(uniform_filter1d(noise**2, rows, axis=0) * min(1.0, 1.5 / rows)), dtype=np.float64)


def _plainest(seen: Flags, told: Floats) -> tuple[int, int] | None:
    """Of stretches of rows that show something the one that shows it most plainly: its first row, and that after its
    last."""
    runs = [run for run in stretches(seen) if run[1] - run[0] >= LEAST_ROWS]
    return max(runs, key=lambda run: float(told[run[0] : run[1]].max()), default=None)


def _going_on(stair: tuple[int, ...], found: dict[int, tuple[int, int]], between: float) -> list[_Step]:
    """The steps of a stair from its first on that lie side by side, all the same way."""
    steps: list[_Step] = []
    way = 0
    for parts in stair:
        if parts not in found:
            break
        step = _Step(parts, *found[parts])
        if steps:
            last = steps[-1]
            turn = 1 if step.low + step.high > last.low + last.high else -1
            gap = step.low - last.high if turn > 0 else last.low - step.high
            if abs(gap) > between or (way and turn != way):
                break
            way = turn
        steps.append(step)
    return steps


def _is_whole(fold: Fold, steps: list[_Step]) -> bool:
    """Whether something comes once in a whole: its number, or its longest tick."""
    return _has(fold, range(1, 6, 2), steps)


def _is_half(levels: Levels, seen: Round, steps: list[_Step]) -> bool:
    """Whether every second whole has something that the others have not."""
    twice = replace(seen, whole_px=2 * seen.whole_px)
    return twice.count < 2 or _has(folded(levels[0], twice), range(1, 10, 2), steps)


def _has(fold: Fold, harmonics: range, steps: list[_Step]) -> bool:
    """Whether any row in a few, where ticks stand or a number may, shows one of the waves plainly."""
    low, high = min(step.low for step in steps), max(step.high for step in steps)
    far = round(NUMBERS * (high - low))
    rows = slice(low, high + far) if _way(steps) > 0 else slice(max(0, low - far), high)
    mean, noise = _pooled(fold, ROWS)
    plain = np.abs(mean[rows, harmonics]) > OTHER * noise[rows, harmonics]
    return any(high - low >= LEAST_ROWS for column in plain.T for low, high in stretches(column))


def _way(steps: list[_Step]) -> int:
    """1 where coarser steps lie farther from the line, else -1."""
    return 1 if steps[1].low + steps[1].high > steps[0].low + steps[0].high else -1


def _read(fold: Fold, steps: list[_Step]) -> Stair | None:
    """The scale as a comb of its finest ticks; None where its wholes do not tell where they stand."""
    seen, finest, way = fold.seen, steps[0].parts, _way(steps)
    near = np.arange(steps[0].low, steps[0].high)
    far = np.setdiff1d(np.arange(min(s.low for s in steps[1:]), max(s.high for s in steps[1:])), near)
    if far.size < LEAST_ROWS:
        return None
    profile = np.fft.irfft(fold.mean, fold.samples, axis=1)
    rows = np.concatenate([near, far])
    dark = bool((profile[rows] ** 3).sum() <= 0)
    lower, upper = _band(fold, near, finest, finest, dark), _band(fold, far, steps[1].parts, finest, dark)
    lean = _lean(fold, near, lower, upper, finest)
    sound = lower.sound & upper.sound
    if lean is None or sound.sum() < FEWEST or max(lower.scatter, upper.scatter) > MOST_SCATTER / finest:
        return None
    whole = _longest(profile, rows, way, lower.place, finest, dark)
    index, place = _numbered(np.flatnonzero(sound), lower.place, whole, finest)
    shift = np.floor(place).astype(np.int64)
    ends = np.stack(
        [
            _point(seen, place + lower.shift[shift], lower.row),
            _point(seen, place + lean[0] + upper.shift[shift], upper.row),
        ],
        axis=1,
    )
    places = ends.mean(axis=1)
    slope = (ends[:, 1] - ends[:, 0]) @ seen.line.axis / (upper.row - lower.row)
    slope = np.asarray(np.polyval(np.polyfit(index, slope, 1), index), dtype=np.float64)
    along = (places - seen.line.start) @ seen.line.axis
    spacing = np.abs(np.polyval(np.polyder(np.polyfit(index, along, 3)), index))
    ink = profile[near].mean(axis=0)
    return Stair(
        comb=Comb(
            index=index,
            places_px=places,
            ends_px=ends,
            reach_px=_reach(steps, index),
            lean=slope[:, None] * seen.line.axis + seen.normal,
            spacing_px=spacing,
            axis=seen.line.axis,
            tick=seen.normal,
            period_px=float(np.median(spacing)),
            middle_px=0.5 * (lower.row + upper.row),
            band_px=float(near.size),
            sigma_px=max(0.5 * math.hypot(lower.scatter, upper.scatter) * seen.whole_px, LEAST_SIGMA_PX),
            evenness=0.0,
            contrast=float(np.ptp(ink)),
            dark=dark,
        ),
        division=_division(finest),
        sigma_px=max(lower.scatter, upper.scatter, LEAST_SIGMA_PX / seen.whole_px) * seen.whole_px,
        lean_px=lean[1] * seen.whole_px,
    )


def _division(finest: int) -> Division:
    """The usual way to divide a whole into so many parts."""
    whole_mm = CM_MM if finest in (stair[0] for stair in CM_STAIRS) else INCH_MM
    return next(d for d in DIVISIONS if d.top == finest and math.isclose(d.base_mm * finest, whole_mm))


def _band(fold: Fold, rows: Ints, parts: int, finest: int, dark: bool) -> _Band:
    """What rows in which something comes ``parts`` times a whole tell of where ticks stand in them."""
    place, sigma, row = _phase(fold, rows, parts, dark)
    shift = _shifts(fold, rows, finest)
    course = _course(np.arange(shift.size), shift)
    scatter = 1.4826 * float(np.median(np.abs(shift - course)))
    sound = np.abs(shift - course) <= SOUND_SIGMAS * max(scatter, LEAST_SIGMA_PX / fold.seen.whole_px)
    return _Band(row=row, place=place, sigma=sigma, shift=shift, scatter=scatter, sound=sound)


def _lean(fold: Fold, near: Ints, lower: _Band, upper: _Band, finest: int) -> tuple[float, float] | None:
    """How far after a tick's part in the lower band that in the upper one stands, in wholes, and one standard
    deviation of it; None where what stands in the upper one stands between the ticks of the lower one.

    The rows of the lower band tell it too, less well; but where they surely tell otherwise, something besides ticks
    stands in the upper one, such as numbers.
    """
    waves, apart = fold.mean[near, finest], upper.row - lower.row
    turn = float(np.angle((waves[1:] * waves[:-1].conj()).sum()))
    level = waves * np.exp(-1j * turn * np.arange(near.size))
    slope, scatter = _sloping(near, np.angle(level * level.sum().conj()))
    own = -(turn + slope) / (2 * math.pi * finest) * apart
    own_sigma = ROWS_ALIKE * scatter / (2 * math.pi * finest) * abs(apart)
    aside = upper.place - lower.place - own
    aside -= round(aside * finest) / finest
    if abs(aside) > MOST_ASIDE / finest:
        return None
    sigma = math.hypot(lower.sigma, upper.sigma)
    return (own, own_sigma) if abs(aside) > SOUND_SIGMAS * math.hypot(sigma, own_sigma) else (own + aside, sigma)


def _sloping(rows: Ints, values: Floats) -> tuple[float, float]:
    """The slope of values (N,) over rows by least squares, and its standard error."""
    off = rows - rows.mean()
    power = float(off @ off)
    slope = float(off @ values) / power
    rest = values - values.mean() - slope * off
    return slope, math.sqrt(float(rest @ rest) / max(rows.size - 2, 1) / power)


def _longest(profile: Floats, rows: Ints, way: int, first: float, finest: int, dark: bool) -> int:
    """Which of the ticks from ``first`` on, counted in parts of a whole, is the whole's: the longest, and its number
    stands beyond it."""
    beyond = np.arange(rows.max() + 1, rows.max() + 1 + rows.size)
    if way < 0:
        beyond = np.arange(rows.min() - rows.size, rows.min())
    shown = np.concatenate([rows, beyond[(beyond >= 0) & (beyond < len(profile))]])
    ink = (-profile if dark else profile)[shown].sum(axis=0)
    at = first + (np.arange(finest)[:, None] + np.array(ABOUT)) / finest
    return int(np.argmax(np.interp(at, np.arange(ink.size) / ink.size, ink, period=1.0).sum(axis=1)))


def _numbered(wholes: Ints, first: float, whole: int, finest: int) -> tuple[Ints, Floats]:
    """Numbers (N,) of the finest ticks in some wholes, a whole's own a multiple of ``finest``, and their places (N,) in
    wholes, in order."""
    inside = np.sort((first + np.arange(finest) / finest) % 1)
    place = (wholes[:, None] + inside).ravel()
    return np.rint((place - first) * finest).astype(np.int64) - whole, place


def _reach(steps: list[_Step], index: Ints) -> Floats:
    """From which row to which (N, 2) ticks reach, by their kind; the whole's are taken to be a step longer."""
    way, finest = _way(steps), steps[0].parts
    base, end = (steps[0].low, steps[0].high) if way > 0 else (steps[0].high, steps[0].low)
    far = np.full(index.size, float(end))
    for step in steps[1:]:
        far[index % (finest // step.parts) == 0] = step.high if way > 0 else step.low
    far[index % finest == 0] += way * (steps[-1].high - steps[-1].low)
    return np.sort(np.stack([np.full(index.size, float(base)), far], axis=1), axis=1)


def _point(seen: Round, wholes: Floats, row: float) -> Floats:
    along = seen.along_px(wholes)
    return np.asarray(seen.line.start + along[:, None] * seen.line.axis + (row + 0.5) * seen.normal, dtype=np.float64)


def _phase(fold: Fold, rows: Ints, parts: int, dark: bool) -> tuple[float, float, float]:
    """Where, in wholes from 0, the first peak of ink lies of what comes ``parts`` times a whole in rows, by all its
    overtones, one standard deviation of it, and the row at which it lies there: where ticks lean, they pass the place
    in one row only, the middle of all as they count towards it."""
    order = np.arange(parts, min(fold.waves.shape[2], MOST_PARTS + 1), parts)
    waves = (-1 if dark else 1) * fold.mean[rows][:, order].sum(axis=0)
    noise = np.sqrt((fold.noise[rows][:, order] ** 2).sum(axis=0) * 1.5 / fold.waves.shape[1])
    weight = np.abs(waves) / noise**2
    places = np.arange(0, 1 / parts, 1 / (PLACES * MOST_PARTS))
    told = (np.exp(2j * np.pi * order[None, :] * places[:, None]) @ (waves * weight)).real
    sigma = 1 / math.sqrt(2 * float(((2 * np.pi * order) ** 2 * np.abs(waves) ** 2 / noise**2).sum()))
    share = ((fold.mean[rows][:, order] * waves.conj()).real * order**2 / noise**2).sum(axis=1)
    share = np.maximum((-1 if dark else 1) * share, 0.0)
    return float(places[int(np.argmax(told))]), sigma, float((rows * share).sum() / share.sum())


def _shifts(fold: Fold, rows: Ints, finest: int) -> Floats:
    """By how much of a whole the ticks of each (N,) stand after those of all the others, in some rows."""
    top = min(int(UP_TO * finest) + 1, fold.waves.shape[2])
    waves, mean = fold.waves[rows][..., 1:top], fold.mean[rows][:, None, 1:top]
    weight = 1 / fold.noise[rows][:, 1:top] ** 2
    count = waves.shape[1]
    others = (count * mean - waves) / (count - 1)
    cross = (waves * others.conj() * weight[:, None]).sum(axis=0)
    tries = np.linspace(-ASIDE, ASIDE, PLACES) / finest
    turned = np.exp(2j * np.pi * np.arange(1, top)[:, None] * tries)
    value = (cross @ turned).real
    at = np.clip(value.argmax(axis=1), 1, PLACES - 2)
    every = np.arange(count)
    before, here, after = value[every, at - 1], value[every, at], value[every, at + 1]
    curve = np.minimum(before + after - 2 * here, -1e-9)
    shift = tries[at] + 0.5 * (before - after) / curve * (tries[1] - tries[0])
    return np.asarray(shift, dtype=np.float64)


def _course(number: Ints, shift: Floats) -> Floats:
    """The steady course (a cubic) along which most wholes' shifts lie."""
    sound = np.ones(number.size, np.bool_)
    for _ in range(4):
        course = np.polyval(np.polyfit(number[sound], shift[sound], min(3, int(sound.sum()) - 2)), number)
        off = np.abs(shift - course)
        sound = off <= SOUND_SIGMAS * max(1.4826 * float(np.median(off[sound])), 1e-4)
    return np.asarray(course, dtype=np.float64)
