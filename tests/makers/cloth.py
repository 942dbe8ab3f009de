"""Cloth: what is printed on it, how it is woven, how its edges were made. All of it analytic, so the truth is exact."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tests.makers.colour import Array, linear

EdgeKind = Literal["cut", "torn", "selvage"]
MotifShape = Literal["dot", "ring", "diamond", "leaf", "square"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Stripes:
    """One repeat of parallel stripes: widths in mm and colours, in order along the across direction."""

    widths_mm: tuple[float, ...]
    colours: tuple[str, ...]

    @property
    def repeat_mm(self) -> float:
        """The whole sequence."""
        return sum(self.widths_mm)

    def light(self, position_mm: Array, footprint_mm: Array | float) -> Array:
        """Mean light (..., 3) over a footprint about each position: the exact integral of the sequence."""
        edges = np.concatenate([[0.0], np.cumsum(self.widths_mm)])
        colours = np.stack([linear(c) for c in self.colours])
        integral = np.concatenate([np.zeros((1, 3)), np.cumsum(colours * np.asarray(self.widths_mm)[:, None], axis=0)])
        fine = np.linspace(0.0, self.repeat_mm, 4097)
        tables = [np.interp(fine, edges, integral[:, k]) for k in range(3)]
        half = np.asarray(footprint_mm, dtype=np.float64) / 2
        low, high = position_mm - half, position_mm + half
        out = np.empty((*np.shape(position_mm), 3), dtype=np.float32)
        for k, total in enumerate(integral[-1]):
            out[..., k] = (self._upto(high, tables[k], total) - self._upto(low, tables[k], total)) / (2 * half)
        return out

    def _upto(self, position: Array, table: Array, total: float) -> Array:
        turns = np.floor(position / self.repeat_mm)
        place = (position / self.repeat_mm - turns) * 4096
        below = np.minimum(place.astype(np.int32), 4095)
        share = place - below
        return turns * total + table[below] * (1 - share) + table[below + 1] * share


@dataclass(frozen=True, slots=True, kw_only=True)
class StripePrint:
    """Lengthwise stripes: the sequence runs across, along the print's x axis."""

    across: Stripes

    def light(self, x_mm: Array, y_mm: Array, footprint_mm: float) -> Array:
        """Light (..., 3) at points of the print's own frame."""
        return self.across.light(x_mm, footprint_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPrint:
    """Stripes both ways, mixed half and half as in a woven check."""

    across: Stripes
    along: Stripes

    def light(self, x_mm: Array, y_mm: Array, footprint_mm: float) -> Array:
        """Light (..., 3) at points of the print's own frame."""
        return (self.across.light(x_mm, footprint_mm) + self.along.light(y_mm, footprint_mm)) / 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Motif:
    """One shape of a motif: its middle and radius as shares of the cell's smaller side."""

    shape: MotifShape
    colour: str
    x: float = 0.0
    y: float = 0.0
    radius: float = 0.25
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MotifPrint:
    """Shapes on a lattice. The cell is ``column_mm`` by ``row_mm``; a half-drop shifts each next column by half a row,
    a brick each next row by half a column."""

    ground: str
    motifs: tuple[Motif, ...]
    column_mm: float
    row_mm: float
    lattice: Literal["straight", "half_drop", "brick"] = "straight"

    @property
    def repeat_mm(self) -> tuple[float, float]:
        """The smallest rectangular repeat (x, y)."""
        return (
            self.column_mm * (2 if self.lattice == "half_drop" else 1),
            self.row_mm * (2 if self.lattice == "brick" else 1),
        )

    def light(self, x_mm: Array, y_mm: Array, footprint_mm: float) -> Array:
        """Light (..., 3) at points of the print's own frame."""
        column, row = x_mm, y_mm
        if self.lattice == "half_drop":
            row = y_mm - self.row_mm / 2 * (np.round(x_mm / self.column_mm) % 2)
        elif self.lattice == "brick":
            column = x_mm - self.column_mm / 2 * (np.round(y_mm / self.row_mm) % 2)
        u = column - self.column_mm * np.round(column / self.column_mm)
        v = row - self.row_mm * np.round(row / self.row_mm)
        unit = min(self.column_mm, self.row_mm)
        light = np.broadcast_to(linear(self.ground), (*np.shape(x_mm), 3)).astype(np.float32)
        for motif in self.motifs:
            cover = np.clip(0.5 - _distance(motif, u / unit, v / unit) * unit / footprint_mm, 0, 1).astype(np.float32)
            light += cover[..., None] * (linear(motif.colour) - light)
        return light


def _distance(motif: Motif, u: Array, v: Array) -> Array:
    """Signed distance to a shape's edge, in units of the cell, negative inside."""
    c, s = math.cos(math.radians(motif.turn_deg)), math.sin(math.radians(motif.turn_deg))
    a, b = c * (u - motif.x) + s * (v - motif.y), -s * (u - motif.x) + c * (v - motif.y)
    r = motif.radius
    if motif.shape == "dot":
        return np.hypot(a, b) - r
    if motif.shape == "ring":
        return np.abs(np.hypot(a, b) - r * 0.75) - r * 0.25
    if motif.shape == "diamond":
        return (np.abs(a) + 0.6 * np.abs(b) - r) / math.hypot(1, 0.6)
    if motif.shape == "square":
        return np.maximum(np.abs(a), np.abs(b)) - r * 0.8
    return np.maximum(np.hypot(a - 0.7 * r, b), np.hypot(a + 0.7 * r, b)) - 1.2 * r  # leaf: two arcs


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainPrint:
    """One colour."""

    colour: str

    def light(self, x_mm: Array, y_mm: Array, footprint_mm: float) -> Array:
        """Light (..., 3) at points of the print's own frame."""
        return np.broadcast_to(linear(self.colour), (*np.shape(x_mm), 3)).astype(np.float32)


AnyPrint = StripePrint | CheckPrint | MotifPrint | PlainPrint


@dataclass(frozen=True, slots=True, kw_only=True)
class Cloth:
    """One cloth on the table: a quadrangle of ``width_mm`` by ``length_mm`` about (x, y), its grain turned by
    ``turn_deg``, its print by ``skew_deg`` more, both counter-clockwise as seen.

    ``edges`` are top, right, bottom, left. ``phase_mm`` shifts the print. ``slant_mm`` moves the bottom edge sideways.
    """

    print: AnyPrint
    width_mm: float
    length_mm: float
    x_mm: float = 0.0
    y_mm: float = 0.0
    turn_deg: float = 0.0
    skew_deg: float = 0.0
    phase_mm: tuple[float, float] = (0.0, 0.0)
    edges: tuple[EdgeKind, EdgeKind, EdgeKind, EdgeKind] = ("torn", "cut", "torn", "cut")
    fray_mm: float = 1.0
    thread_mm: float = 0.5
    weave_depth: float = 0.10
    slub_depth: float = 0.04
    slant_mm: float = 0.0
    seed: int = 0

    def corners_mm(self) -> Array:
        """The four corners (4, 2) on the table: top left, top right, bottom right, bottom left."""
        w, h = self.width_mm / 2, self.length_mm / 2
        s = self.slant_mm
        return self._on_table(np.array([[-w, -h], [w, -h], [w + s, h], [-w + s, h]]))

    def outline_mm(self) -> Array:
        """The outline (N, 2) as it is rendered, with the irregularity of torn and cut edges."""
        w, h, s = self.width_mm / 2, self.length_mm / 2, self.slant_mm
        corners = np.array([[-w, -h], [w, -h], [w + s, h], [-w + s, h]])
        rng = np.random.default_rng([self.seed, 77])
        points = []
        for k, kind in enumerate(self.edges):
            start, end = corners[k], corners[(k + 1) % 4]
            span = end - start
            step = 0.8 if kind == "torn" else 4.0
            t = np.linspace(0, 1, max(3, int(np.hypot(*span) / step)), endpoint=False)
            rough = {"torn": self.fray_mm / 2, "cut": 0.15, "selvage": 0.05}[kind]
            normal = np.array([span[1], -span[0]]) / np.hypot(*span)
            wobble = rng.normal(0, rough, len(t))
            wobble[0] = 0
            points.append(start + t[:, None] * span + wobble[:, None] * normal)
        return self._on_table(np.concatenate(points))

    def light(self, x_mm: Array, y_mm: Array, footprint_mm: float) -> Array:
        """Light (..., 3) of the cloth at points of the table."""
        u, v = _turned(x_mm - self.x_mm, y_mm - self.y_mm, self.turn_deg)
        a, b = _turned(u, v, self.skew_deg)
        light = self.print.light(a + self.phase_mm[0], b + self.phase_mm[1], footprint_mm)
        return light * self._weave(u, v, footprint_mm)[..., None]

    def _weave(self, u: Array, v: Array, footprint_mm: float) -> Array:
        """Over and under of the threads, fading as a pixel comes to span a thread, and the thicker threads here and
        there."""
        fade = max(0.0, float(np.sinc(footprint_mm / self.thread_mm)))
        phase = 2 * math.pi / self.thread_mm
        weave = 1 + self.weave_depth * fade * np.sin(phase * u) * np.sin(phase * v)
        rng = np.random.default_rng([self.seed, 78])
        for along in (u, v):
            slubs = rng.normal(0, self.slub_depth, 4096).astype(np.float32)
            slubs = np.convolve(slubs, np.ones(3) / 3, mode="same")
            weave = weave * (1 + slubs[(along / self.thread_mm / 2).astype(np.int32) % 4096])
        return weave.astype(np.float32)

    def _on_table(self, points: Array) -> Array:
        a = math.radians(self.turn_deg)
        x, y = points[:, 0], points[:, 1]
        return np.column_stack(
            [self.x_mm + x * math.cos(a) + y * math.sin(a), self.y_mm - x * math.sin(a) + y * math.cos(a)]
        )


def _turned(x: Array, y: Array, angle_deg: float) -> tuple[Array, Array]:
    """Coordinates in a frame turned counter-clockwise as seen (y points down)."""
    a = math.radians(angle_deg)
    c, s = np.float32(math.cos(a)), np.float32(math.sin(a))
    return x * c - y * s, x * s + y * c
