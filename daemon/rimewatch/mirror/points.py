"""From what the journal holds to points of the database.

The same reading always gives the same point: measurement, tags and time are its key
there, so that sending it again changes nothing. No tag says what may change (a firmware,
a battery, a cause): that would make a second series of it. Every field is a float or a
text, and bears its unit; the first write of a field fixes its type for good.

Not every database keeps the newest of two values of one time; some keep either. So what ends gets
a point of its own at its end, with the figures that had grown until then under names of their own,
and how units and lots stand is told at the instant at which it was looked at. Pure.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final, TypedDict

from rimewatch.alarms.alarm import Alarm
from rimewatch.evaluation.figures import figure
from rimewatch.evaluation.ledger import Ledger
from rimewatch.evaluation.store import Span
from rimewatch.evaluation.unit_now import UnitNow, UnitState
from rimewatch.journal.readings import FullSpan
from rimewatch.report.lot_document import reason_names
from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import MS_PER_S, Measures, Standing


class Point(TypedDict):
    """One point, in the form that the client library takes."""

    measurement: str
    tags: dict[str, str]
    fields: dict[str, float | str]
    time: int
    """Milliseconds since the epoch."""


READING: Final = "reading"
GOVERNING: Final = "governing"

STATE_CODES: Final[Mapping[UnitState, int]] = {
    UnitState.HELD: 0,
    UnitState.EARLY: 1,
    UnitState.WARM: 2,
    UnitState.SILENT: 3,
    UnitState.UNHEARD: 4,
    UnitState.OUT: 5,
}
"""How a unit stands as a number, for databases that keep no texts."""

LOT_CODES: Final[Mapping[Standing, int]] = {
    Standing.PROVEN: 0,
    Standing.DOUBT: 1,
    Standing.UNPROVEN: 2,
    Standing.AGAINST: 3,
}
"""What may be said of a lot as a number: the larger, the less."""

FIELD: Final[Mapping[Measures, str]] = {
    Measures.AIR: "value_c",
    Measures.PRODUCT: "value_c",
    Measures.HUMIDITY: "percent",
    Measures.DOOR: "open",
    Measures.WATER: "wet",
}
"""The field that holds a reading's value: °C, percent, or 1 for yes and 0 for no."""


def reading_points(shop: str, probe: Probe, readings: FullSpan) -> Iterator[Point]:
    """Yield a point for each reading: its value, and what the probe sent (``raw``).

    Args:
        shop: The tag that tells shops apart.
        probe: The probe, as configured.
        readings: Its readings.
    """
    field = FIELD[probe.measures]
    tags = {
        "shop": shop,
        "unit": probe.unit,
        "probe": probe.id,
        "measures": probe.measures.value,
    }
    columns = (readings.times_ms.tolist(), readings.values.tolist(), readings.raws.tolist())
    for at_ms, value, raw in zip(*columns, strict=True):
        yield {
            "measurement": READING,
            "tags": tags,
            "fields": {field: value, "raw": raw},
            "time": at_ms,
        }


def governing_points(shop: str, probe: Probe, felt: Span) -> Iterator[Point]:
    """Yield a point for each reading of a governing probe: the temperature of its fish.

    Args:
        shop: The tag that tells shops apart.
        probe: The probe, as configured.
        felt: Its governing temperatures.
    """
    tags = {"shop": shop, "unit": probe.unit, "probe": probe.id}
    for at_ms, value in zip(felt.times_ms.tolist(), felt.values.tolist(), strict=True):
        yield {
            "measurement": GOVERNING,
            "tags": tags,
            "fields": {"value_c": figure(value, 3)},
            "time": at_ms,
        }


def unit_point(
    shop: str,
    unit: Unit,
    now: UnitNow,
    at_ms: int,
    *,
    alarms: Sequence[Alarm] = (),
    door_open: bool | None = None,
) -> Point:
    """Return how a unit stands at an instant, and its limits.

    Args:
        shop: The tag that tells shops apart.
        unit: The unit.
        now: How it stands.
        at_ms: The instant, milliseconds UTC.
        alarms: Those that are active and about it, alone or with others.
        door_open: Whether its door was last heard to be open; None: nothing tells.
    """
    state = now.state(at_ms)
    return {
        "measurement": "unit",
        "tags": {"shop": shop, "unit": unit.id},
        "fields": _fields(
            limit_c=unit.limit_c,
            operating_limit_c=unit.operating_limit_c,
            state=state.value,
            state_code=STATE_CODES[state],
            door_open=door_open,
            alarms=len(alarms),
            unacknowledged=sum(alarm.answered_ms is None for alarm in alarms),
        ),
        "time": at_ms,
    }


def book_points(shop: str, ledger: Ledger) -> Iterator[Point]:
    """Yield the points of a ledger's excursions and alarms.

    An excursion stands at its start, an alarm at its raising, with all that is known of it; at
    its end a second point says that it is over. An alarm over several units stands with each.

    Args:
        shop: The tag that tells shops apart.
        ledger: The ledger.
    """
    for account in ledger.units.values():
        for item in account.excursions:
            tags = {
                "shop": shop,
                "unit": item.unit.id,
                "rule": item.rule.value,
                "probe": item.probe,
            }
            yield {
                "measurement": "excursion",
                "tags": tags,
                "fields": _fields(
                    peak_c=item.peak_c,
                    above_s=item.above_s,
                    lasted_s=_between_s(item.start_ms, item.end_ms),
                    open=True,
                    alarmed=item.alarmed,
                    cause=item.cause.value,
                ),
                "time": item.start_ms,
            }
            if item.end_ms is not None:
                yield {
                    "measurement": "excursion",
                    "tags": tags,
                    "fields": _fields(
                        open=False,
                        final_peak_c=item.peak_c,
                        final_above_s=item.above_s,
                        final_alarmed=item.alarmed,
                    ),
                    "time": max(item.end_ms, item.start_ms + 1),
                }
    for alarm in ledger.alarms:
        units = alarm.units if alarm.key.unit is None else (alarm.key.unit,)
        for unit in units:
            tags = {"shop": shop, "unit": unit, "rule": alarm.key.rule.value}
            yield {
                "measurement": "alarm",
                "tags": tags,
                "fields": _fields(
                    active=True,
                    woke=alarm.woke,
                    units=len(units),
                    returned_after_s=_between_s(alarm.raised_ms, alarm.returned_ms),
                    acknowledged_after_s=_between_s(alarm.raised_ms, alarm.answered_ms),
                    priority=alarm.priority.value,
                    detail=alarm.condition.detail,
                ),
                "time": alarm.raised_ms,
            }
            if alarm.returned_ms is not None:
                yield {
                    "measurement": "alarm",
                    "tags": tags,
                    "fields": _fields(active=False, final_woke=alarm.woke),
                    "time": max(alarm.returned_ms, alarm.raised_ms + 1),
                }


def lot_points(shop: str, ledger: Ledger, at_ms: int) -> Iterator[Point]:
    """Yield a point for each lot on the books, as it stands at an instant.

    Args:
        shop: The tag that tells shops apart.
        ledger: The ledger.
        at_ms: The instant, milliseconds UTC.
    """
    for lot in ledger.lots:
        story, hold, received = lot.story, lot.story.hold, lot.story.entries.received
        yield {
            "measurement": "lot",
            "tags": {"shop": shop, "lot": story.lot},
            "fields": _fields(
                credited_h=0.0 if hold is None else figure(hold.credited_h, 6),
                required_h=None if hold is None else hold.required_h,
                ice_days=figure(story.ice_days, 4),
                interruptions=0 if hold is None else len(hold.interruptions),
                needs_destruction=lot.needs_destruction,
                state=story.state,
                standing=story.standing.value,
                standing_code=LOT_CODES[story.standing],
                against=",".join(reason_names(story.judgement.against)),
                doubts=",".join(reason_names(story.judgement.doubts)),
                option=None if hold is None else hold.option.value,
                species=None if received is None else received.species,
            ),
            "time": at_ms,
        }


def _fields(**values: float | str | None) -> dict[str, float | str]:
    """Return what is there: every number as a float, every yes or no as 1 or 0."""
    return {
        name: value if isinstance(value, str) else float(value)
        for name, value in values.items()
        if value is not None and value != ""
    }


def _between_s(start_ms: int, end_ms: int | None) -> float | None:
    return None if end_ms is None else (end_ms - start_ms) / MS_PER_S
