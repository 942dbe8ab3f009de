"""A measurement in words, for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from stash.lengths import both, inches, millimetres

#: A bow of less is not seen on a garment, per cent (our judgement).
BOWED_PERCENT = 0.5
#: A weft further askew than this is worth pulling straight, degrees (common practice: 1 % of the width).
ASKEW_DEG = 0.57


def told(document: dict[str, Any]) -> Iterator[str]:
    """The rows of one measurement: the repeat first, then what it rests on, then what to mind."""
    yield f"{document['photo']}: {headline(document['print'], document['scale'])}"
    scale, skew, fabric = document["scale"], document["skew"], document["fabric"]
    if scale is not None:
        yield f"  scale    {_scale(scale)}"
    yield from _print(document["print"])
    if skew is not None:
        yield f"  skew     {skew_sentence(skew)}"
    if document["weft"] is not None:
        yield f"  weft     {weft_sentence(document['weft'])}"
    if fabric is not None:
        xs, ys = zip(*fabric["outline_mm"], strict=True)
        yield f"  cloth    {both(max(xs) - min(xs))} × {both(max(ys) - min(ys))} in the picture"
    for number, scrap in enumerate(document["scraps"], 1):
        xs, ys = zip(*scrap["fabric"]["outline_mm"], strict=True)
        size = f"{both(max(xs) - min(xs))} × {both(max(ys) - min(ys))}"
        yield f"  cloth {number}  {size}; {headline(scrap['print'], scale)}"
    for warning in document["warnings"]:
        yield f"  Mind: {warning}"


def headline(print_: dict[str, Any] | None, scale: dict[str, Any] | None) -> str:
    """What the print is, in one clause."""
    if scale is None:
        return "no scale was found, so nothing is measured."
    if print_ is None:
        return "no print could be measured."
    if print_["kind"] == "plain":
        return "plain cloth, no print."
    if print_["across_mm"] is None:
        return f"a {print_['kind']} whose repeat could not be measured."
    repeat = f"{both(print_['across_mm'])} ± {print_['across_mm_u95']:.1f} mm"
    if print_["kind"] == "stripe":
        return f"the stripes repeat every {repeat}."
    along = print_["along_mm"]
    other = "" if along is None else f" by {both(along)} ± {print_['along_mm_u95']:.1f} mm"
    return f"the {print_['kind']} repeats every {repeat}{other}."


def _scale(scale: dict[str, Any]) -> str:
    counted = {"inch": ", counting inches", "mm": ", counting millimetres"}.get(scale["unit"] or "", "")
    names = {"ruler": "a ruler", "target": "the printed target", "card": "a card", "points": "the points given"}
    return (
        f"from {names[scale['source']]}{counted}: {scale['px_per_mm']:.2f} ± {scale['px_per_mm_u95']:.2f} pixels a "
        f"millimetre; the camera was tilted by {scale['tilt_deg']:.0f}°"
    )


def _print(print_: dict[str, Any] | None) -> Iterator[str]:
    if print_ is None or not print_["stripes"]:
        return
    for which, stripes in (("stripes", print_["stripes"]), ("along", print_["stripes_along"])):
        if stripes:
            listed = ", ".join(
                f"{row['label']} {row['colour']} {inches(row['width_mm'])} in".replace(" in in", " in")
                for row in stripes
            )
            yield f"  {which:<8} {listed}"
    bow = print_["bow_percent"]
    if bow is not None and abs(bow) > max(BOWED_PERCENT, print_["bow_percent_u95"]):
        yield f"  bow      the stripes bend: {abs(bow):.1f} ± {print_['bow_percent_u95']:.1f} % of their length"
    if print_["even"] is not None:
        reads = "even: it reads the same both ways" if print_["even"] else "uneven: it reads one way only"
        yield f"  order    {reads}"


def weft_sentence(weft: dict[str, Any]) -> str:
    """How the weft lies to the selvage, in one clause, and what helps where it plainly lies askew."""
    way = "counter-clockwise" if weft["deg"] >= 0 else "clockwise"
    lies = f"the weft lies {abs(weft['deg']):.2f}° ± {weft['deg_u95']:.2f}° {way} of square to the selvage"
    if abs(weft["deg"]) <= max(ASKEW_DEG, weft["deg_u95"]):
        return lies
    return (
        f"{lies}: pulled askew. Pulling it on the short bias, damp or steamed, often brings it back, unless it is "
        "resin-finished or bonded; the print's own skew to the weft never goes back"
    )


def skew_sentence(skew: dict[str, Any]) -> str:
    """How the print lies to the grain, in one clause."""
    way = "counter-clockwise" if skew["deg"] >= 0 else "clockwise"
    edge = {"torn": "the torn edge", "selvage": "the selvage", "thread": "the drawn thread", "weave": "the weave"}
    against = edge.get(skew["reference"] or "", "the grain")
    over = millimetres(abs(skew["percent"]) * 10)
    return (
        f"the print lies {abs(skew['deg']):.2f}° ± {skew['deg_u95']:.2f}° {way} of {against} "
        f"({abs(skew['percent']):.1f} %, {over} in a metre)"
    )
