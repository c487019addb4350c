"""Batches that cool and food under a timer, as a summary and a record tell of them.

Pure: read from a ledger, laid out as sentences; nothing is decided here.

References:
    [1] FDA Food Code 2022, 3-501.14: cooling.
    [2] FDA Food Code 2022, 3-501.19: time as a public health control.
"""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from rimewatch.report import wording
from rimewatch.report.ledger import Ledger, figure, records, sure_figure, sure_time_ms, time_ms
from rimewatch.vocabulary import CoolingFood, Scale

_FOODS = {
    CoolingFood.COOKED: "cooked food",
    CoolingFood.AMBIENT: "food made at room temperature",
}
_COOLING_STATES = {
    "running": "still cooling",
    "complete": "cooled in time",
    "failed": "not cooled in time",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StageFacts:
    """A temperature that a batch must come to, and by when."""

    to_c: float
    within_h: float
    deadline_ms: int
    reached_ms: int | None
    missed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class CoolingFacts:
    """A batch that was put to cool."""

    unit: str
    lot: str
    food: CoolingFood
    put_in_ms: int
    taken_out_ms: int | None
    state: str
    measured: bool
    stages: tuple[StageFacts, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimedFacts:
    """Food that is held by a timer and not by cold."""

    unit: str
    lot: str
    hours: float
    started_ms: int
    ended_ms: int | None
    ends_ms: int | None
    state: str
    discard_ms: int | None
    warmest_c: float | None
    unmonitored_s: float


def cooling_facts(ledger: Ledger) -> tuple[CoolingFacts, ...]:
    """Return a ledger's batches.

    Raises:
        ValueError: If one lacks a figure or a time.
    """
    return tuple(
        CoolingFacts(
            unit=wording.printable(str(record["unit"])),
            lot=wording.printable(str(record.get("lot") or "")),
            food=CoolingFood(record["food"]),
            put_in_ms=sure_time_ms(record, "put_in"),
            taken_out_ms=time_ms(record, "taken_out"),
            state=str(record["state"]),
            measured=bool(record["measured"]),
            stages=tuple(
                StageFacts(
                    to_c=sure_figure(stage, "to_c"),
                    within_h=sure_figure(stage, "within_h"),
                    deadline_ms=sure_time_ms(stage, "deadline"),
                    reached_ms=time_ms(stage, "reached"),
                    missed=bool(stage["missed"]),
                )
                for stage in records(record, "stages")
            ),
        )
        for record in records(ledger, "cooling")
    )


def timed_facts(ledger: Ledger) -> tuple[TimedFacts, ...]:
    """Return a ledger's timers.

    Raises:
        ValueError: If one lacks a figure or a time.
    """
    return tuple(
        TimedFacts(
            unit=wording.printable(str(record.get("unit") or "")),
            lot=wording.printable(str(record.get("lot") or "")),
            hours=sure_figure(record, "hours"),
            started_ms=sure_time_ms(record, "started"),
            ended_ms=time_ms(record, "ended"),
            ends_ms=time_ms(record, "ends"),
            state=str(record["state"]),
            discard_ms=time_ms(record, "discard"),
            warmest_c=figure(record, "warmest_c"),
            unmonitored_s=figure(record, "unmonitored_s") or 0.0,
        )
        for record in records(ledger, "time_control")
    )


def cooling_words(
    item: CoolingFacts, name: str, zone: ZoneInfo, scale: Scale
) -> tuple[str, tuple[str, ...]]:
    """Return a batch's head and its lines.

    Args:
        item: The batch.
        name: What people call its unit.
        zone: In which times are told.
        scale: In which temperatures are told.
    """
    lot = f", lot {item.lot}" if item.lot else ""
    state = _COOLING_STATES.get(item.state, item.state)
    span = f"Put in {wording.local_moment(item.put_in_ms, zone)}"
    if item.taken_out_ms is not None:
        span += f", taken out {wording.local_moment(item.taken_out_ms, zone)}"
    lines = [f"{span}."]
    if not item.measured:
        lines.append("No product probe measured it: how it cooled is not known.")
    lines.extend(_stage(stage, zone, scale) for stage in item.stages)
    if item.state == "failed":
        lines.append("The person in charge decides about it (FDA Food Code 2022, 3-501.14).")
    return f"{name}{lot} ({_FOODS[item.food]}): {state}", tuple(lines)


def _stage(stage: StageFacts, zone: ZoneInfo, scale: Scale) -> str:
    to = f"{wording.temperature(stage.to_c, scale)} within {stage.within_h:g} h"
    due = wording.local_moment(stage.deadline_ms, zone)
    if stage.reached_ms is None:
        how = f"missed, due {due}" if stage.missed else f"due {due}"
    else:
        how = f"reached {wording.local_moment(stage.reached_ms, zone)}"
        how += f", late, due {due}" if stage.missed else ""
    return f"{to}: {how}."


def timed_words(
    item: TimedFacts, name: str, zone: ZoneInfo, scale: Scale
) -> tuple[str, tuple[str, ...]]:
    """Return a timer's head and its lines.

    Args:
        item: The timer.
        name: What people call its unit; empty: it has none.
        zone: In which times are told.
        scale: In which temperatures are told.
    """
    lot = f"lot {item.lot}" if item.lot else ""
    who = ", ".join(part for part in (name, lot) if part) or "food"
    span = f"Began {wording.local_moment(item.started_ms, zone)}"
    if item.ended_ms is not None:
        span += f", ended {wording.local_moment(item.ended_ms, zone)}"
    if item.ends_ms is not None:
        span += f"; its time is over {wording.local_moment(item.ends_ms, zone)}"
    lines = [f"{span}."]
    if item.warmest_c is not None:
        lines.append(f"Warmest {wording.temperature(item.warmest_c, scale)}.")
    if item.unmonitored_s > 0:
        lines.append(f"Unmonitored for {wording.duration(item.unmonitored_s)}.")
    lines.extend(_timer_notes(item, zone))
    head = f"{who[0].upper()}{who[1:]}: {item.hours:g} h by the clock, {_timer_state(item)}"
    return head, tuple(lines)


def _timer_state(item: TimedFacts) -> str:
    if item.state == "running":
        return "running" if item.ended_ms is None else "ended in time"
    return "to be discarded" if item.state == "discard" else item.state


def _timer_notes(item: TimedFacts, zone: ZoneInfo) -> tuple[str, ...]:
    if item.state == "discard" and item.discard_ms is not None:
        since = wording.local_moment(item.discard_ms, zone)
        early = item.ends_ms is not None and item.discard_ms < item.ends_ms
        why = "it got too warm" if early else "its time was over"
        return (f"Not to be served from {since} on: {why} (FDA Food Code 2022, 3-501.19).",)
    if item.state == "not eligible":
        if item.warmest_c is None:
            return ("Nobody measured the food as it left temperature control.",)
        return ("It was too warm as it left temperature control for a timer to count.",)
    return ()
