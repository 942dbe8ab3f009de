"""What a found plan costs (um): pieces opened, joins, and lanes' ends too short to use."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from stash.planner.price import Weights
from stash.planner.space import Lay
from stash.planner.task import Cut, Task


def opening_um(task: Task, cuts: Sequence[Cut], lays: Sequence[Lay], weights: Weights) -> int:
    """Pieces opened and joins, without the lanes' ends."""
    opened = {task.runs[cut.run].piece for cut in cuts} | {lay.spot.piece for lay in lays}
    joins = sum(weights.join_um(task.needs[cut.need].strip) for cut in cuts if cut.segment > 0)
    return weights.piece_um * len(opened) + joins


def lost_ends_um(task: Task, cuts: Sequence[Cut], weights: Weights) -> int:
    """What is left of used lanes too short to be of use, but for the ease that shears need."""
    load: dict[int, int] = defaultdict(int)
    for cut in cuts:
        load[cut.run] += cut.size_um
    rests = (task.runs[run].length_um - 2 * task.stance.fit_um - used for run, used in load.items())
    return sum(max(0, rest - weights.ease_um) for rest in rests if rest < weights.useful_um)


def cost_um(task: Task, cuts: Sequence[Cut], lays: Sequence[Lay], weights: Weights) -> int:
    """What the plan costs, as the search counts it."""
    return opening_um(task, cuts, lays, weights) + lost_ends_um(task, cuts, weights)
