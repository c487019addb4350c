"""Rule ``cooling``: a batch of food must fall through fixed temperatures in fixed times.

Cooked food: from 57 to 21 °C within 2 h, and to 5 °C within 6 h in all. Food made from
ingredients at room temperature: to 5 °C within 4 h [1]. The times count from the moment
the food itself passes 57 °C, or from the entry where it was cooler already; a probe put
into hot food needs some minutes to show it, so the curve is read from its peak on.

Pure: no clock, no I/O. It says how the batch stands, and whether it will come too late;
what becomes of the food is for the person in charge.

References:
    [1] FDA Food Code 2022, 3-501.14(A) and (B).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import log
from typing import Final

from rimewatch.rules import provisions_food_code as food_code
from rimewatch.vocabulary import MS_PER_H, MS_PER_MINUTE, CoolingFood

SETTLES_MS: Final = 30 * MS_PER_MINUTE
"""A probe has taken the food's temperature within this time, and a rate shows after as long
(common practice, no source)."""

_STAGES: Final = {
    CoolingFood.COOKED: (
        (food_code.COOLING_FIRST_C, food_code.COOLING_FIRST_H),
        (food_code.COOLING_FINAL_C, food_code.COOLING_TOTAL_H),
    ),
    CoolingFood.AMBIENT: ((food_code.COOLING_FINAL_C, food_code.COOLING_AMBIENT_H),),
}


class CoolingState(StrEnum):
    """How a batch stands."""

    RUNNING = "running"
    COMPLETE = "complete"
    FAILED = "failed"
    """A stage was not reached in its time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A temperature, and by when the batch must be there."""

    to_c: float
    within_h: float
    deadline_ms: int
    reached_ms: int | None
    """None: not yet, as far as was measured."""

    def missed_by(self, at_ms: int) -> bool:
        """Whether it was not reached in time, as known at an instant."""
        return self.deadline_ms < (at_ms if self.reached_ms is None else self.reached_ms)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cooling:
    """How a batch stands at an instant."""

    state: CoolingState
    started_ms: int | None
    """When the times began to count; None: it is still hotter than where they count from."""
    stages: tuple[Stage, ...]
    """Empty while they do not count yet."""
    started_c: float | None
    last_c: float | None
    last_ms: int | None

    @property
    def next_stage(self) -> Stage | None:
        """The first stage that is not reached yet."""
        return next((stage for stage in self.stages if stage.reached_ms is None), None)

    @property
    def over(self) -> bool:
        """Whether it has come to its last temperature."""
        return bool(self.stages) and self.stages[-1].reached_ms is not None


def judge(
    food: CoolingFood,
    start_ms: int,
    times_ms: Sequence[int],
    celsius: Sequence[float],
    at_ms: int,
    *,
    max_gap_ms: float,
) -> Cooling:
    """Return how a batch stands.

    Args:
        food: What it is; it decides about the times.
        start_ms: When it was put to cool.
        times_ms: Times of the product probe's readings, strictly increasing.
        celsius: Its readings; those before the start or after ``at_ms`` are left out.
        at_ms: The instant asked about.
        max_gap_ms: Over a longer interval nobody knows when it passed a temperature: it
            counts as passed at the end of it.
    """
    curve = [(ms, c) for ms, c in zip(times_ms, celsius, strict=True) if start_ms <= ms <= at_ms]
    if not curve:
        return _standing(food, start_ms, None, [], at_ms, max_gap_ms)
    early = [point for point in curve if point[0] <= start_ms + SETTLES_MS]
    peak = max(early or curve[:1], key=lambda point: point[1])
    if peak[1] <= food_code.COOLING_FINAL_C:  # the probe is not in it, or not yet
        return _standing(food, start_ms, None, [], at_ms, max_gap_ms)
    falling = curve[curve.index(peak) :]
    started_ms: int | None = start_ms
    if food is CoolingFood.COOKED and peak[1] > food_code.COOLING_START_C:
        started_ms = _passed(falling, food_code.COOLING_START_C, max_gap_ms)
    return _standing(food, started_ms, peak[1], falling, at_ms, max_gap_ms)


def will_be_late(cooling: Cooling, around_c: float) -> bool:
    """Return whether the next stage will be missed if it goes on cooling as it has.

    Newton's law of cooling towards the air around it, from the start to the last
    reading; asked too early it says nothing.

    Args:
        cooling: How the batch stands.
        around_c: The air around it, °C.
    """
    stage = cooling.next_stage
    if stage is None or cooling.started_ms is None or cooling.last_ms is None:
        return False
    if cooling.started_c is None or cooling.last_c is None:
        return False
    elapsed_ms = cooling.last_ms - cooling.started_ms
    if elapsed_ms < SETTLES_MS:
        return False
    if cooling.last_c >= cooling.started_c or stage.to_c <= around_c:
        return True
    if cooling.last_c <= around_c:
        return False
    first = cooling.started_c - around_c
    fallen = log(first / (cooling.last_c - around_c))
    needed = log(first / (stage.to_c - around_c))
    return cooling.started_ms + elapsed_ms * needed / fallen > stage.deadline_ms


def _standing(
    food: CoolingFood,
    started_ms: int | None,
    peak_c: float | None,
    falling: Sequence[tuple[int, float]],
    at_ms: int,
    max_gap_ms: float,
) -> Cooling:
    stages = (
        ()
        if started_ms is None
        else tuple(
            Stage(
                to_c=to_c,
                within_h=within_h,
                deadline_ms=started_ms + round(within_h * MS_PER_H),
                reached_ms=_passed(falling, to_c, max_gap_ms),
            )
            for to_c, within_h in _STAGES[food]
        )
    )
    if any(stage.missed_by(at_ms) for stage in stages):
        state = CoolingState.FAILED
    elif stages and stages[-1].reached_ms is not None:
        state = CoolingState.COMPLETE
    else:
        state = CoolingState.RUNNING
    start_c = None if peak_c is None else min(peak_c, food_code.COOLING_START_C)
    return Cooling(
        state=state,
        started_ms=started_ms,
        stages=stages,
        started_c=start_c if food is CoolingFood.COOKED else peak_c,
        last_c=falling[-1][1] if falling else None,
        last_ms=falling[-1][0] if falling else None,
    )


def _passed(falling: Sequence[tuple[int, float]], level_c: float, max_gap_ms: float) -> int | None:
    """Return when a curve that falls from its peak is first at or below a level."""
    before: tuple[int, float] | None = None
    for ms, c in falling:
        if c <= level_c:
            if before is None or ms - before[0] > max_gap_ms:
                return ms
            share = (before[1] - level_c) / (before[1] - c)
            return round(before[0] + share * (ms - before[0]))
        before = (ms, c)
    return None
