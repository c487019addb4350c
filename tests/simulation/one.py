"""One seed played and judged, and a failing one made smaller."""

import tempfile
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from simulation.checks import broken
from simulation.plan import Fault, Kind, Plan, plan
from simulation.run import Run
from simulation.world import HOUR


@dataclass(slots=True)
class Outcome:
    """What came of a run."""

    seed: int
    broken: list[str]
    history: list[str] = field(default_factory=list)
    injected: Counter[Kind] = field(default_factory=Counter)
    touched: Counter[Kind] = field(default_factory=Counter)
    sums: Counter[str] = field(default_factory=Counter)


def play_seed(seed: int, folder: Path, *, story: bool = True) -> Outcome:
    """Play a seed's run and judge it."""
    return play_plan(plan(seed), folder, story=story)


def play_plan(planned: Plan, folder: Path, *, story: bool = True) -> Outcome:
    """Play a run and judge it.

    Args:
        planned: The run.
        folder: Where it may have a folder for itself.
        story: Whether to hand over its history.
    """
    with tempfile.TemporaryDirectory(dir=folder) as own:
        run = Run(planned, Path(own))
        run.play()
        wrong = broken(run)
    kept = sum(1 for number in run.broker.acked if number in run.messages)
    return Outcome(
        seed=planned.seed,
        broken=wrong,
        history=run.world.history if story or wrong else [],
        injected=Counter(fault.kind for fault in planned.faults),
        touched=Counter(run.world.touched),
        sums=Counter(
            {
                "played hours": run.world.t_ms // HOUR,
                "messages published": len(run.messages),
                "messages acknowledged": kept,
                "messages delivered more than once": sum(
                    len(times) > 1 for times in run.arrivals_ms.values()
                ),
                "lives of the daemon": run.lives,
                "batches on the disk": len(run.commits),
                "messages shown by phones": len(run.phones.shown),
            }
        ),
    )


def shrunk(planned: Plan, folder: Path) -> Plan:
    """Return a failing run without the faults that it does not take to fail."""
    size = max(1, len(planned.faults) // 2)
    while planned.faults:
        smaller = _smaller(planned, size, folder)
        if smaller is not None:
            planned = smaller
        elif size == 1:
            break
        else:
            size = max(1, size // 2)
    return planned


def _smaller(planned: Plan, size: int, folder: Path) -> Plan | None:
    for start in range(0, len(planned.faults), size):
        leave: list[Fault] = list(planned.faults[start : start + size])
        smaller = planned.without(leave)
        if play_plan(smaller, folder, story=False).broken:
            return smaller
    return None
