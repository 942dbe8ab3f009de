"""A program killed without warning (SIGKILL) in the middle of changing a stash: what the stash holds afterwards.

    python -m tests.bench.kill --kills 200

The same changes (import, add with a photograph, cut, measure again, give away and back, undo, restore) are made once
undisturbed, and the fingerprint of the stash after each is kept. Then a program makes them anew and tells each once it
is done; it is killed at a random moment. The stash must be exactly as after the last change told or after the one under
way, its journal too; every row and photograph must be sound; and the changes must go on from there.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import signal
import struct
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from stash.catalogue.booking import book_cut
from stash.catalogue.door import open_stash
from stash.catalogue.examination import examine
from stash.catalogue.stash import Stash
from stash.keeping import give_away, give_back
from stash.measuring import Asked
from stash.photograph import KeptPhoto
from stash.piece import Piece
from stash.remeasure import Told, remeasure
from tests.catalogue.sample import plan_document, stash_document
from tests.catalogue.studio import NoServer, running

#: Changes of one round; with the photographs of 50 kB each takes some 10 ms.
ROUND = (
    "import", "add", "cut", "remeasure", "add", "undo", "import", "give", "return", "add", "undo", "restore", "add",
)  # fmt: skip
_OUTLINE = ((0.0, 0.0), (200.0, 0.0), (200.0, 100.0))
_FORK = multiprocessing.get_context("fork")


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A stash as a fingerprint of all its cloth and the length of its journal."""

    digest: str
    entries: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What one kill left: changes told before it, the kind under way, and what is wrong (empty: nothing)."""

    told: int
    kind: str
    wrong: str


def change(stash: Stash, number: int, backup: Path) -> None:
    """The change of that number."""
    kind = ROUND[number % len(ROUND)]
    if kind == "import":
        document = stash_document()
        document["pieces"].append({**document["pieces"][0], "id": f"more-{number}"})
        stash.import_document(document)
    elif kind == "add":
        photo = KeptPhoto(jpeg=random.Random(number).randbytes(50_000))
        stash.add(None, [Piece(id="", fabric="ticking", outline_mm=_OUTLINE)], photo=photo)
    elif kind == "cut":
        book_cut(stash, plan_document(stash))
    elif kind == "remeasure":
        remeasure(stash, "t1-1", Told(width="30 cm", length="40 cm", edges=("left",)), Asked())
    elif kind == "give":
        give_away(stash, [f"more-{number - 1}"])
    elif kind == "return":
        give_back(stash, [f"more-{number - 2}"])
    elif kind == "undo":
        stash.undo()
    else:
        stash.restore(backup, replace=True)


def state(stash: Stash) -> State:
    """The stash as it is."""
    return State(digest=stash.digest(), entries=len(stash.journal()))


def expected(where: str, backup: Path, changes: int) -> list[State]:
    """The states before the first change and after each, undisturbed."""
    stash = open_stash(where)
    states = [state(stash)]
    for number in range(changes):
        change(stash, number, backup)
        states.append(state(stash))
    return states


def killed(where: str, backup: Path, states: Sequence[State], after_s: float) -> Outcome:
    """One program, killed so long after its first change began."""
    reading, writing = os.pipe()
    program = _FORK.Process(target=_go_on, args=(where, backup, len(states) - 1, writing))
    program.start()
    os.close(writing)
    os.read(reading, 4)
    time.sleep(after_s)
    if program.pid is not None and program.is_alive():
        os.kill(program.pid, signal.SIGKILL)
    program.join()
    told = len(_all(reading)) // 4
    return Outcome(told=told, kind=ROUND[told % len(ROUND)], wrong=_wrong(where, backup, states, told))


def _go_on(where: str, backup: Path, changes: int, pipe: int) -> None:
    os.write(pipe, struct.pack("i", -1))
    for number in range(changes):
        change(open_stash(where), number, backup)
        os.write(pipe, struct.pack("i", number))


def _all(pipe: int) -> bytes:
    with os.fdopen(pipe, "rb") as end:
        return end.read()


def _wrong(where: str, backup: Path, states: Sequence[State], told: int) -> str:
    stash = open_stash(where)
    found = state(stash)
    allowed = states[told : told + 2]
    if found not in allowed:
        return f"after {told} changes told there are {found.entries} entries, or other cloth than there must be"
    faults = examine(where)
    if faults:
        return faults[0].problem
    done = told + allowed.index(found)
    if done + 1 < len(states):
        change(stash, done, backup)
        if state(stash) != states[done + 1]:
            return f"change {done} after the kill did not do what it does"
    return ""


def survey(fresh: Callable[[], str], folder: Path, kills: int, seed: int, changes: int = 60) -> Iterator[Outcome]:
    """So many kills, each on a new stash, at moments spread evenly over the time that all the changes take."""
    backup = folder / "base.zip"
    base = open_stash(folder / "base")
    base.import_document(stash_document())
    base.add(None, [Piece(id="old", fabric="ticking", outline_mm=_OUTLINE)], photo=KeptPhoto(jpeg=b"old"))
    base.backup(backup)
    begun = time.monotonic()
    states = expected(fresh(), backup, changes)
    whole_s = time.monotonic() - begun
    dice = random.Random(seed)
    for _ in range(kills):
        yield killed(fresh(), backup, states, dice.uniform(0, 0.8 * whole_s))


@contextmanager
def away(folder: Path) -> Iterator[None]:
    """What a server's stash lays into the user's folders goes into this one meanwhile."""
    names = {"XDG_CACHE_HOME": str(folder / "cache"), "XDG_DATA_HOME": str(folder / "data")}
    before = {name: os.environ.get(name) for name in names}
    os.environ.update(names)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def main() -> None:
    """Prints a line for each kind of catalogue, and one for each kill that left something wrong."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0] if __doc__ else None)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=["file", "server"])
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as name, away(Path(name)):
        folder = Path(name)
        numbers = iter(range(10_000))
        if asked.only != "server":
            _tell("file", survey(lambda: str(folder / f"s{next(numbers)}"), folder, asked.kills, asked.seed))
        if asked.only == "file":
            return
        try:
            with running() as studio, tempfile.TemporaryDirectory() as other:
                _tell("server", survey(studio.fresh, Path(other), asked.kills, asked.seed))
        except NoServer as reason:
            print(f"server: not tried: {reason}")


def _tell(kind: str, outcomes: Iterator[Outcome]) -> None:
    found = list(outcomes)
    kinds = ", ".join(f"{name} {sum(one.kind == name for one in found)}" for name in dict.fromkeys(ROUND))
    wrong = [one for one in found if one.wrong]
    for one in wrong:
        print(f"  {kind}, killed in {one.kind} after {one.told} changes: {one.wrong}")
    verdict = f"{len(wrong)} left something wrong" if wrong else "nothing lost, nothing half done"
    print(f"{kind}: {len(found)} kills ({kinds} under way): {verdict}")


if __name__ == "__main__":
    main()
