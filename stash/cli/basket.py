"""The scraps of a photograph on the screen: a table of what each is, a question where one is not sure."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

from stash.basket import Basket, Scrap, Settled, keep, scraps_of, settle
from stash.cli import output
from stash.cli.failure import DONE, UNCERTAIN
from stash.errors import InputWrong
from stash.recognition.evidence import because

if TYPE_CHECKING:
    from stash.adding import Seen
    from stash.catalogue.stash import Stash
    from stash.measuring import Asked
    from stash.recognition.impression import Impression


def take(
    held: Stash,
    photos: Sequence[Path],
    asked: Asked,
    *,
    only: Sequence[int] | None,
    yes: bool,
    look: bool,
    json: bool,
) -> int:
    """Recognises the scraps of photographs and keeps them; the exit status."""
    from stash.adding import see

    watched = sys.stdin.isatty() and not json
    if not (yes or look or watched):
        raise InputWrong(
            "the cloth needs either a name or the fabric that it is of",
            "give one of --name and --fabric, or --yes to have each scrap recognised",
        )
    with output.progress("measuring"):
        shown = [one if only is None else one.only(only) for one in (see(file, asked) for file in photos)]
    baskets: list[Basket] = []
    fabrics = list(held.fabrics())
    try:
        for one in shown:
            scraps = scraps_of(one, fabrics)
            if look:
                baskets.append(Basket(photo=one.measurement.photo, settled=tuple(map(_as_seen, scraps))))
                continue
            settled = settle(one, scraps, fabrics, None if yes else _asker(one))
            if not yes:
                output.lines(_table(one, settled))
                if not _agreed(settled):
                    baskets.append(Basket(photo=one.measurement.photo, settled=tuple(settled)))
                    continue
            baskets.append(keep(held, one, settled, asked))
            fabrics = list(held.fabrics())
    except BaseException:
        for basket in reversed(baskets):
            if basket.added is not None:
                held.undo(only=basket.added.entry.number)
        raise
    _tell(held, shown, baskets, yes=yes, look=look, json=json)
    unsure = any(row.outcome == "left out" and not row.asked for basket in baskets for row in basket.settled)
    return UNCERTAIN if unsure and not look else DONE


def _as_seen(scrap: Scrap) -> Settled:
    return Settled(scrap=scrap, fabric=scrap.said.fabric)


def _tell(held: Stash, shown: Sequence[Seen], baskets: Sequence[Basket], *, yes: bool, look: bool, json: bool) -> None:
    if json:
        rows = [_document(one, basket, held) for one, basket in zip(shown, baskets, strict=True)]
        output.document({"schema": "added/1", "added": rows})
        return
    for one, basket in zip(shown, baskets, strict=True):
        if yes or look:
            output.lines(_table(one, basket.settled, look=look))
        if look:
            continue
        if basket.added is None:
            output.lines([f"Nothing of {basket.photo} was kept."])
            continue
        output.lines([f"Added: {basket.added.entry.summary}."])
        output.lines([f"  Mind: {warning}" for warning in basket.added.warnings])
        left = [str(row.scrap.number) for row in basket.settled if row.outcome == "left out"]
        if left:
            output.lines([_remedy(basket.photo, left)])


def _remedy(photo: str, left: Sequence[str]) -> str:
    which, each = (f"Scrap {left[0]} was", "it is") if len(left) == 1 else (f"Scraps {', '.join(left)} were", "each is")
    return (
        f"{which} left out: say what {each} with: stripewright add {quote(photo)} --only {left[0]} --fabric ID, "
        "or --name NAME"
    )


def _table(one: Seen, settled: Sequence[Settled], *, look: bool = False) -> Iterator[str]:
    """A row or two for each scrap: where it lies, its size, what it is, and why."""
    yield f"{one.measurement.photo}: {len(settled)} scrap{'s' * (len(settled) != 1)}"
    for row, seen in zip(settled, one.looks, strict=True):
        scrap = row.scrap
        width, height = scrap.size_mm
        yield f"  {scrap.number:>2}  {scrap.place:<13} {f'{width:.0f} × {height:.0f} mm':<13}  {_fate(row, look=look)}"
        for candidate in scrap.said.candidates:
            if row.fabric is None or candidate.fabric.id == row.fabric.id:
                odds = "" if row.fabric is not None else f"{candidate.fabric.id} {_hundred(candidate.share)}: "
                yield f"      {odds}{'; '.join(because(seen, candidate))}"


def _fate(row: Settled, *, look: bool) -> str:
    if row.fabric is not None:
        return f"{'new: ' * row.is_new}{row.fabric.name} ({row.fabric.id})"
    if row.scrap.said.verdict == "new":
        return "of no fabric that is kept" if look else "left out: of no fabric that is kept"
    if row.asked:
        return "left out"
    return "not sure" if look else "left out: not sure"


def _hundred(share: float) -> str:
    return f"{min(99, max(1, round(100 * share)))} in 100"


def _asker(one: Seen) -> Any:
    """Puts the question of one scrap on standard error."""

    def ask(scrap: Scrap, usual: str | None, complaint: str | None) -> str:
        if complaint is not None:
            _say(f"  {complaint}")
        else:
            width, height = scrap.size_mm
            where = f"Scrap {scrap.number}, {scrap.place}, {width:.0f} × {height:.0f} mm"
            seen = one.looks[one.numbers.index(scrap.number)]
            if scrap.said.candidates:
                _say(f"{where}: which fabric is it of?")
            else:
                _say(f"{where}: goes with no fabric that is kept; what is it?")
            for number, row in enumerate(scrap.said.candidates, 1):
                _say(f"  {number}  {row.fabric.name}, {_hundred(row.share)}: {'; '.join(because(seen, row))}")
            _say(f"  {_choices(scrap)}")
        print(f"  {f'[{usual}] ' if usual else ''}> ", end="", file=sys.stderr, flush=True)
        return _typed()

    return ask


def _choices(scrap: Scrap) -> str:
    new = f'new NAME (new alone: "{scrap.proposed}"), ' if scrap.proposed is not None else ""
    return f"Say {'its number, ' if scrap.said.candidates else ''}a fabric's id, {new}or leave."


def _agreed(settled: Sequence[Settled]) -> bool:
    """Whether she wants them kept so."""
    count = sum(row.fabric is not None for row in settled)
    if not count:
        return True
    question = f"Keep {'it' if count == 1 else f'these {count}'}? yes or no [yes] > "
    while True:
        print(question, end="", file=sys.stderr, flush=True)
        said = _typed().strip().casefold()
        if said in ("", "y", "yes"):
            return True
        if said in ("n", "no"):
            return False


def _typed() -> str:
    typed = sys.stdin.readline()
    if not typed:
        raise InputWrong("the answers ended before all scraps were settled", "answer here, or give --yes")
    return typed


def _say(text: str) -> None:
    print(output.wrapped(text), file=sys.stderr)


def _document(one: Seen, basket: Basket, held: Stash) -> dict[str, Any]:
    entry = None if basket.added is None else basket.added.entry
    pieces = iter(() if entry is None else entry.pieces_in)
    return {
        "photo": basket.photo,
        "fabrics": [] if entry is None else list(entry.fabrics_in),
        "pieces": [] if entry is None else list(entry.pieces_in),
        "warnings": [] if basket.added is None else list(basket.added.warnings),
        "scraps": [
            {
                **_scrap_document(row, seen),
                **_piece_document(held, next(pieces, None) if row.fabric is not None else None),
            }
            for row, seen in zip(basket.settled, one.looks, strict=True)
        ],
    }


def _piece_document(held: Stash, piece_id: str | None) -> dict[str, Any]:
    """The piece that a scrap became, and the largest rectangles in it; all null where it became none."""
    if piece_id is None:
        return {"piece": None, "rectangle_mm": None, "rectangle_by_stripes_mm": None}
    from stash.rectangle import along_grain, along_stripes

    piece = held.piece(piece_id)
    sides, askew = along_grain(piece), along_stripes(piece)
    return {
        "piece": piece_id,
        "rectangle_mm": [round(side, 1) for side in sides],
        "rectangle_by_stripes_mm": None if askew is None else [round(side, 1) for side in askew],
    }


def _scrap_document(row: Settled, seen: Impression) -> dict[str, Any]:
    said = row.scrap.said
    return {
        "number": row.scrap.number,
        "place": row.scrap.place,
        "area_mm2": round(row.scrap.area_mm2, 1),
        "verdict": said.verdict,
        "outcome": row.outcome,
        "fabric": None if row.fabric is None else row.fabric.id,
        "new": round(said.new, 4),
        "candidates": [
            {
                "fabric": one.fabric.id,
                "likely": round(one.share, 4),
                "colours_de": round(one.fit.colour_de, 2),
                "because": list(because(seen, one)),
            }
            for one in said.candidates
        ],
    }
