"""A cloth tape held against a steel rule once, and what is known of it from then on.

Cloth tapes stretch, and no standard says by how much; a steel rule of class II is true to 0.3 mm and 0.2 mm a metre
(directive 2014/32/EU, MI-008).
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path

from stash.errors import InputWrong, NotFound
from stash.lengths import both, parse_length
from vision.estimate import Estimate

#: How well a person reads where a mark of the tape lies on the rule, at each end, mm at 95 % (common practice).
READ_U95_MM = 0.5
#: Class II: so much, and so much a metre, mm.
RULE_MM, RULE_MM_PER_M = 0.3, 0.2
#: Less than this is too short to show what a tape does, mm.
SHORTEST_MM = 250.0
#: No tape in use is further off than this; what is, was read wrong (our judgement).
MOST_OFF = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class TapeCheck:
    """Between two marks of the tape that say ``says_mm`` the steel rule shows ``is_mm``."""

    says_mm: float
    is_mm: float

    @property
    def true_share(self) -> Estimate:
        """True length over what the tape says, with what reading and rule leave open."""
        rule = RULE_MM + RULE_MM_PER_M * math.ceil(self.is_mm / 1000)
        u95 = math.hypot(math.sqrt(2) * READ_U95_MM, rule) / self.says_mm
        return Estimate(self.is_mm / self.says_mm, u95)

    def sentence(self) -> str:
        """What is known of the tape, in words."""
        off = 100 * (self.true_share.value - 1)
        if abs(off) < 0.005:
            return f"where this tape says {both(self.says_mm)} there are as many: it is true"
        return (
            f"where this tape says {both(self.says_mm)} there are {both(self.is_mm)}: it has "
            f"{'stretched' if off > 0 else 'shrunk'} by {abs(off):.2f} %"
        )


def checked(says: str, is_: str) -> TapeCheck:
    """The check that two typed lengths tell of. Raises InputWrong where they cannot be one."""
    check = TapeCheck(
        says_mm=parse_length(says, what="what the tape says"), is_mm=parse_length(is_, what="what the rule shows")
    )
    if min(check.says_mm, check.is_mm) < SHORTEST_MM:
        raise InputWrong(
            f"{both(min(check.says_mm, check.is_mm))} is too short to show what the tape does",
            f"compare at least {both(SHORTEST_MM)}, better a metre or a yard",
        )
    if abs(check.true_share.value - 1) > MOST_OFF:
        raise InputWrong(
            f"a tape that is {100 * abs(check.true_share.value - 1):.0f} % off would be no tape",
            "compare again, from mark to mark, the tape flat and not pulled",
        )
    return check


def keep(check: TapeCheck, file: Path) -> None:
    """Keeps a check in place of an earlier one. Raises InputWrong where the file cannot be written."""
    fresh = file.with_name(file.name + ".new")
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        fresh.write_text(json.dumps({"says_mm": check.says_mm, "is_mm": check.is_mm}) + "\n", encoding="utf-8")
        fresh.replace(file)
    except OSError as error:
        raise InputWrong(f"{file} cannot be written ({error.strerror or error})", "see who may write there") from None


def kept(file: Path) -> TapeCheck:
    """The check that is kept. Raises NotFound where there is none, InputWrong where the file is not ours."""
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
        return TapeCheck(says_mm=float(told["says_mm"]), is_mm=float(told["is_mm"]))
    except FileNotFoundError:
        raise NotFound(
            "no tape has been checked yet",
            'hold it against a steel rule and say what both show: stripewright tape "1 m" "994 mm"',
        ) from None
    except (OSError, ValueError, KeyError, TypeError):
        raise InputWrong(f"{file} cannot be read", "check the tape again, which writes it anew") from None
