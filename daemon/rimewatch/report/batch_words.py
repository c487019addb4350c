"""Batches that cool and food under a timer, as a summary and a record tell of them.

Pure: laid out as sentences; nothing is decided here.

References:
    [1] FDA Food Code 2022, 3-501.14: cooling.
    [2] FDA Food Code 2022, 3-501.19: time as a public health control.
"""

from zoneinfo import ZoneInfo

from rimewatch.evaluation.batches import CoolingRecord, TimerRecord
from rimewatch.report import wording
from rimewatch.rules.cooling import CoolingState, Stage
from rimewatch.science.time_control import TimeControlState
from rimewatch.vocabulary import CoolingFood, Scale

_FOODS = {
    CoolingFood.COOKED: "cooked food",
    CoolingFood.AMBIENT: "food made at room temperature",
}
_COOLING_STATES = {
    CoolingState.RUNNING: "still cooling",
    CoolingState.COMPLETE: "cooled in time",
    CoolingState.FAILED: "not cooled in time",
}


def cooling_words(
    item: CoolingRecord, name: str, zone: ZoneInfo, scale: Scale
) -> tuple[str, tuple[str, ...]]:
    """Return a batch's head and its lines.

    Args:
        item: The batch.
        name: What people call its unit.
        zone: In which times are told.
        scale: In which temperatures are told.
    """
    start, standing = item.batch.start, item.standing
    lot = f", lot {wording.printable(start.lot)}" if start.lot else ""
    span = f"Put in {wording.local_moment(start.at_ms, zone)}"
    if item.batch.ended_ms is not None:
        span += f", taken out {wording.local_moment(item.batch.ended_ms, zone)}"
    lines = [f"{span}."]
    if not item.measured:
        lines.append("No product probe measured it: how it cooled is not known.")
    lines.extend(_stage(stage, item.judged_ms, zone, scale) for stage in standing.stages)
    if standing.state is CoolingState.FAILED:
        lines.append("The person in charge decides about it (FDA Food Code 2022, 3-501.14).")
    return f"{name}{lot} ({_FOODS[start.food]}): {_COOLING_STATES[standing.state]}", tuple(lines)


def _stage(stage: Stage, judged_ms: int, zone: ZoneInfo, scale: Scale) -> str:
    to = f"{wording.temperature(stage.to_c, scale)} within {stage.within_h:g} h"
    missed = stage.missed_by(judged_ms)
    due = wording.local_moment(stage.deadline_ms, zone)
    if stage.reached_ms is None:
        how = f"missed, due {due}" if missed else f"due {due}"
    else:
        how = f"reached {wording.local_moment(stage.reached_ms, zone)}"
        how += f", late, due {due}" if missed else ""
    return f"{to}: {how}."


def timed_words(
    item: TimerRecord, name: str, zone: ZoneInfo, scale: Scale
) -> tuple[str, tuple[str, ...]]:
    """Return a timer's head and its lines.

    Args:
        item: The timer.
        name: What people call its unit; empty: it has none.
        zone: In which times are told.
        scale: In which temperatures are told.
    """
    start, verdict = item.timed.start, item.verdict
    lot = f"lot {wording.printable(start.lot)}" if start.lot else ""
    who = ", ".join(part for part in (name, lot) if part) or "food"
    span = f"Began {wording.local_moment(start.at_ms, zone)}"
    if item.timed.ended_ms is not None:
        span += f", ended {wording.local_moment(item.timed.ended_ms, zone)}"
    if verdict is not None:
        span += f"; its time is over {wording.local_moment(verdict.ends_ms, zone)}"
    lines = [f"{span}."]
    if verdict is not None:
        lines.append(f"Warmest {wording.temperature(verdict.warmest_c, scale)}.")
        if verdict.unmonitored_s > 0:
            lines.append(f"Unmonitored for {wording.duration(verdict.unmonitored_s)}.")
    lines.extend(_timer_notes(item, zone))
    head = f"{who[0].upper()}{who[1:]}: {start.hours:g} h by the clock, {_timer_state(item)}"
    return head, tuple(lines)


def _timer_state(item: TimerRecord) -> str:
    match item.state:
        case TimeControlState.RUNNING:
            return "running" if item.timed.ended_ms is None else "ended in time"
        case TimeControlState.DISCARD:
            return "to be discarded"
        case TimeControlState.NOT_ELIGIBLE:
            return "not eligible"


def _timer_notes(item: TimerRecord, zone: ZoneInfo) -> tuple[str, ...]:
    verdict = item.verdict
    if verdict is None:
        return ("Nobody measured the food as it left temperature control.",)
    if verdict.state is TimeControlState.NOT_ELIGIBLE:
        return ("It was too warm as it left temperature control for a timer to count.",)
    if verdict.state is TimeControlState.DISCARD and verdict.discard_ms is not None:
        since = wording.local_moment(verdict.discard_ms, zone)
        why = "it got too warm" if verdict.discard_ms < verdict.ends_ms else "its time was over"
        return (f"Not to be served from {since} on: {why} (FDA Food Code 2022, 3-501.19).",)
    return ()
