"""From what the journal holds to points of the database.

The same reading always gives the same point: measurement, tags and time are its key
there, so that sending it again changes nothing. No tag says what may change (a firmware,
a battery, a cause): that would make a second series of it. Every field is a float or a
text, and bears its unit; the first write of a field fixes its type for good. Pure.
"""

from collections.abc import Iterator, Mapping
from typing import Final, TypedDict

from rimewatch.evaluation.figures import figure
from rimewatch.evaluation.ledger import Ledger
from rimewatch.journal.readings import FullSpan
from rimewatch.report.lot_document import reason_names
from rimewatch.shop import Probe
from rimewatch.vocabulary import MS_PER_S, LotId, Measures


class Point(TypedDict):
    """One point, in the form that the client library takes."""

    measurement: str
    tags: dict[str, str]
    fields: dict[str, float | str]
    time: int
    """Milliseconds since the epoch."""


READING: Final = "reading"

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


def book_points(shop: str, ledger: Ledger) -> Iterator[Point]:
    """Yield the points of a ledger's excursions and alarms.

    An excursion stands at its start, an alarm at its raising: one point each, which later
    news overwrites.

    Args:
        shop: The tag that tells shops apart.
        ledger: The ledger.
    """
    for account in ledger.units.values():
        for item in account.excursions:
            yield {
                "measurement": "excursion",
                "tags": {
                    "shop": shop,
                    "unit": item.unit.id,
                    "rule": item.rule.value,
                    "probe": item.probe,
                },
                "fields": _fields(
                    peak_c=item.peak_c,
                    above_s=item.above_s,
                    lasted_s=_between_s(item.start_ms, item.end_ms),
                    open=item.end_ms is None,
                    alarmed=item.alarmed,
                    cause=item.cause.value,
                ),
                "time": item.start_ms,
            }
    for alarm in ledger.alarms:
        units = alarm.units if alarm.key.unit is None else (alarm.key.unit,)
        yield {
            "measurement": "alarm",
            "tags": {"shop": shop, "unit": "+".join(units), "rule": alarm.key.rule.value},
            "fields": _fields(
                active=alarm.returned_ms is None,
                woke=alarm.woke,
                returned_after_s=_between_s(alarm.raised_ms, alarm.returned_ms),
                acknowledged_after_s=_between_s(alarm.raised_ms, alarm.answered_ms),
                priority=alarm.priority.value,
                detail=alarm.condition.detail,
            ),
            "time": alarm.raised_ms,
        }


def lot_points(shop: str, ledger: Ledger, received_ms: Mapping[LotId, int]) -> Iterator[Point]:
    """Yield a point for each lot, at its receipt.

    Args:
        shop: The tag that tells shops apart.
        ledger: The ledger.
        received_ms: When each lot came in; one without an entry of that is left out.
    """
    for lot in ledger.lots:
        story, hold, received = lot.story, lot.story.hold, lot.story.entries.received
        if story.lot not in received_ms:
            continue
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
                against=",".join(reason_names(story.judgement.against)),
                doubts=",".join(reason_names(story.judgement.doubts)),
                option=None if hold is None else hold.option.value,
                species=None if received is None else received.species,
            ),
            "time": received_ms[story.lot],
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
