"""Draws up the parts of a coat: its body, and a border for every edge."""

from __future__ import annotations

from typing import Final

from stash.errors import InputWrong
from stash.garment.binding import SEAM_LOSS, WIDEST_ON_A_CURVE_MM, square_for
from stash.garment.coat import Coat, Figures, figures
from stash.garment.hiding import hidden_spans
from stash.garment.part import Edge
from stash.garment.rule import RUNS, ruled
from stash.garment.spec import PanelSpec, StripSpec
from stash.lengths import both, inches, parse_length

#: Binding round the neck is a single layer, cut four times its finished width (common practice).
_BINDING_FOLDS: Final = 4

_INCH_MM: Final = 25.4

#: The reinforcement ironed on where a side cut ends, mm (1 1/2 in square, common practice).
PATCH_MM: Final = 38.1


def parts_of(coat: Coat, seam_mm: float) -> tuple[tuple[StripSpec, ...], tuple[PanelSpec, ...]]:
    """The border strips and the panels of a coat, lengths finished. Raises InputWrong where it cannot be a coat."""
    sizes = figures(coat)
    panels = [
        PanelSpec(
            id="body",
            fabric=coat.main,
            width_mm=coat.width_mm,
            length_mm=coat.length_mm,
            seam_mm=0.0,
            turn=coat.turn,
        )
    ]
    strips = [
        _border(coat, sizes, "front-left", "front", sizes.front_edge_mm, pair="fronts"),
        _border(coat, sizes, "front-right", "front", sizes.front_edge_mm, pair="fronts"),
        _border(coat, sizes, "join-left", "join", sizes.join_mm),
        _border(coat, sizes, "join-right", "join", sizes.join_mm),
        _border(coat, sizes, "sleeve-left", "sleeve", sizes.sleeve_opening_mm, pair="sleeves"),
        _border(coat, sizes, "sleeve-right", "sleeve", sizes.sleeve_opening_mm, pair="sleeves"),
        _border(coat, sizes, "hem", "hem", sizes.hem_mm),
    ]
    if coat.neck == "stand":
        strips.append(_border(coat, sizes, "neck", "neck", sizes.neckline_mm, width_mm=coat.neck_width_mm))
    if coat.neck == "binding":
        panels.append(_neck_binding(coat, sizes, seam_mm))
    if coat.bust_by == "gap" and coat.bust_mm > 0 and coat.backing:
        panels += [_backing(coat, sizes, side) for side in ("left", "right")]
    return tuple(ruled(strips, coat.neighbours)), tuple(panels)


def _border(
    coat: Coat, sizes: Figures, part_id: str, edge: Edge, length_mm: float, *, width_mm: float | None = None,
    pair: str | None = None,
) -> StripSpec:  # fmt: skip
    hidden = hidden_spans(coat, sizes, edge, length_mm)
    return StripSpec(
        id=part_id,
        fabric=coat.border,
        stripe=coat.stripe,
        length_mm=length_mm,
        width_mm=coat.border_width_mm if width_mm is None else width_mm,
        make=coat.make,
        joins=coat.joins if hidden else 0,
        shortest_mm=coat.shortest_mm,
        pair=pair,
        edge=edge,
        hide_mm=hidden or None,
    )


def neck_binding_width_mm(coat: Coat) -> float:
    """The finished width of binding at the neck. Raises InputWrong where it would not lie flat round the curve."""
    width = WIDEST_ON_A_CURVE_MM if coat.neck_width_mm is None else coat.neck_width_mm
    if width > WIDEST_ON_A_CURVE_MM:
        raise InputWrong(
            f"a binding {inches(width)} wide will not lie flat round the neck, which takes at most "
            f"{inches(WIDEST_ON_A_CURVE_MM)}",
            'make neck_width smaller, or take neck = "stand"',
        )
    return width


def neck_binding_bias_mm(coat: Coat, sizes: Figures, seam_mm: float) -> tuple[float, float]:
    """The bias the neck takes, (length, cut width) in mm: the neckline and a seam at each end."""
    return sizes.neckline_mm + 2 * seam_mm, _BINDING_FOLDS * neck_binding_width_mm(coat)


def _neck_binding(coat: Coat, sizes: Figures, seam_mm: float) -> PanelSpec:
    length, cut = neck_binding_bias_mm(coat, sizes, seam_mm)
    side = square_for(length / (1 - SEAM_LOSS) / _INCH_MM, cut / _INCH_MM)
    side_mm = parse_length(f"{side} in")
    return PanelSpec(id="neck-binding", fabric=coat.main, width_mm=side_mm, length_mm=side_mm, seam_mm=0.0, turn=True)


def _backing(coat: Coat, sizes: Figures, side: str) -> PanelSpec:
    return PanelSpec(
        id=f"join-backing-{side}",
        fabric=coat.backing,
        width_mm=coat.bust_mm + 2 * coat.overlap_mm,
        length_mm=sizes.chest_mm,
        seam_mm=0.0,
        turn=True,
    )


def told(coat: Coat, seam_mm: float) -> tuple[str, ...]:
    """What the maker should know of this coat, a sentence each; common practice where no figure is named."""
    sizes = figures(coat)
    notes = [
        f"Finished: {both(sizes.girth_mm)} round the body, back {both(sizes.back_mm)} and front {both(sizes.front_mm)} "
        f"from the shoulder fold, sleeves {both(sizes.sleeve_beyond_body_mm)} beyond the body.",
        f"Fold at {both(sizes.fold_mm)} and cut in {both(sizes.side_cut_mm)} from each side at "
        f"{both(sizes.cut_height_mm)}, all counted up from the hem.",
        "Edges are butted under a laid-on band or bound; sewn right sides together instead, the seams shorten the "
        f"front and narrow the sleeves by {both(2 * seam_mm)}.",
        f"Iron a fusible patch {inches(PATCH_MM)} square over the end of each side cut before cutting: "
        "there is no seam allowance in that corner.",
    ]
    if coat.neck == "binding":
        length, cut = neck_binding_bias_mm(coat, sizes, seam_mm)
        notes.append(
            f"The neck is bound with bias from the square of the main cloth: {inches(length, toward='up')} of it, cut "
            f"{inches(cut)} wide, {inches(neck_binding_width_mm(coat))} when finished."
        )
    if coat.neck == "stand":
        notes.append(
            f"The neck has a stand: a straight strip as long as the neckline, {both(sizes.neckline_mm)}; "
            "a straight band laid flat round a curve would not lie."
        )
    if coat.neighbours is not None:
        notes.append(RUNS)
    if coat.bust_mm > 0:
        notes.append(_bust_note(coat, sizes))
    return tuple(notes)


def _bust_note(coat: Coat, sizes: Figures) -> str:
    if coat.bust_by == "wedge":
        return (
            f"Turn the upper front under from nothing at centre front to {both(coat.bust_mm)} at the side folds, and "
            "on to the sleeve ends."
        )
    needed = coat.bust_mm + 2 * coat.overlap_mm
    return (
        f"At the join the lower fronts hang {both(coat.bust_mm)} lower at centre front and meet the upper ones at the "
        f"side folds; back the opening with strips {both(needed)} wide and {both(sizes.chest_mm)} long, one a side."
    )


def warned(coat: Coat) -> tuple[str, ...]:
    """What may go wrong with this coat as it is measured."""
    needed = coat.bust_mm + 2 * coat.overlap_mm
    if coat.bust_by == "gap" and coat.bust_mm > 0 and coat.border_width_mm < needed:
        return (
            f"The band over the join is {inches(coat.border_width_mm)} wide and cannot bridge the opening, which needs "
            f"{inches(needed, toward='up')} at centre front: widen it, lessen the bust room, or make it by wedge.",
        )
    return ()
