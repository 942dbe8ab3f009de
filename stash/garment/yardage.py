"""How much of another width of cloth to buy: by the printed table, never by area.

Source: a fabric width conversion table that extension services have long handed out (seen twice with identical bodies;
its attribution to Rutgers Cooperative Extension is from memory). It departs from scaling by area by about a tenth
either way, because parts do not flow round corners; a placed plan replaces both.
"""

from __future__ import annotations

from bisect import bisect_right
from fractions import Fraction
from typing import Final

from stash.errors import InputWrong

#: The least width of each column, inches: 35-36, 39, 41-42, 44-45, 50, 52-54, 58-60, 66.
WIDTHS_IN: Final = (35, 39, 41, 44, 50, 52, 58, 66)

_ROWS: Final = (
    "1 3/4|1 1/2|1 1/2|1 3/8|1 1/4|1 1/8|1|7/8",
    "2|1 3/4|1 3/4|1 5/8|1 1/2|1 3/8|1 1/4|1 1/8",
    "2 1/4|2|2|1 3/4|1 5/8|1 1/2|1 3/8|1 1/4",
    "2 7/8|2 1/2|2 1/2|2 1/4|2|1 7/8|1 3/4|1 5/8",
    "5|4 1/4|4 1/8|3 7/8|3 3/8|3 1/8|2 7/8|2 3/4",
)


def _mixed(text: str) -> Fraction:
    return sum((Fraction(word) for word in text.split()), Fraction(0))


#: Yards of equal use, a row for each garment, a column for each width.
YARDS: Final = tuple(tuple(_mixed(cell) for cell in row.split("|")) for row in _ROWS)


def yards_of_width(yards: Fraction, from_width_in: float, to_width_in: float) -> Fraction:
    """The yards of one width that do what ``yards`` of another do: the table's first row that has at least as much.

    Raises InputWrong where a width or the amount is beyond the table.
    """
    here, there = _column(from_width_in), _column(to_width_in)
    for row in YARDS:
        if row[here] >= yards:
            return row[there]
    raise InputWrong(f"{float(yards):g} yd is more than the table of widths knows", "plan the parts on the cloth")


def _column(width_in: float) -> int:
    column = bisect_right(WIDTHS_IN, width_in) - 1
    if column < 0:
        raise InputWrong(
            f"cloth {width_in:g} in wide is narrower than the table of widths knows, 35 in",
            "plan the parts on the cloth itself",
        )
    return column
