"""From what the journal holds to points of the database.

The same reading always gives the same point: measurement, tags and time are its key
there, so that sending it again changes nothing. No tag says what may change (a firmware,
a battery, a cause): that would make a second series of it. Every field is a float or a
text, and bears its unit; the first write of a field fixes its type for good. Pure.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Final, TypedDict

from rimewatch.journal.readings import FullSpan
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


def book_points(shop: str, ledger: Mapping[str, Any]) -> Iterator[Point]:
    """Yield the points of a ledger's excursions and alarms.

    An excursion stands at its start, an alarm at its raising: one point each, which later
    news overwrites.

    Args:
        shop: The tag that tells shops apart.
        ledger: As the contract describes it.
    """
    for unit, record in ledger["units"].items():
        for excursion in record["excursions"]:
            yield {
                "measurement": "excursion",
                "tags": {
                    "shop": shop,
                    "unit": unit,
                    "rule": excursion["rule"],
                    "probe": excursion["probe"],
                },
                "fields": _fields(
                    peak_c=excursion["peak_c"],
                    above_s=excursion["above_s"],
                    lasted_s=_between_s(excursion["start"], excursion["end"]),
                    open=excursion["end"] is None,
                    alarmed=excursion["alarmed"],
                    cause=excursion["cause"],
                ),
                "time": _ms(excursion["start"]),
            }
    for alarm in ledger["alarms"]:
        units = [alarm["unit"]] if alarm["unit"] is not None else alarm["units"]
        yield {
            "measurement": "alarm",
            "tags": {"shop": shop, "unit": "+".join(units), "rule": alarm["rule"]},
            "fields": _fields(
                active=alarm["returned"] is None,
                woke=alarm["woke"],
                returned_after_s=_between_s(alarm["raised"], alarm["returned"]),
                acknowledged_after_s=_between_s(alarm["raised"], alarm["acknowledged"]),
                priority=alarm["priority"],
                detail=alarm["detail"],
            ),
            "time": _ms(alarm["raised"]),
        }


def lot_points(
    shop: str, ledger: Mapping[str, Any], received_ms: Mapping[LotId, int]
) -> Iterator[Point]:
    """Yield a point for each lot, at its receipt.

    Args:
        shop: The tag that tells shops apart.
        ledger: As the contract describes it.
        received_ms: When each lot came in; one without an entry of that is left out.
    """
    for lot in ledger["lots"]:
        if lot["lot"] not in received_ms:
            continue
        yield {
            "measurement": "lot",
            "tags": {"shop": shop, "lot": lot["lot"]},
            "fields": _fields(
                credited_h=lot["credited_h"],
                required_h=lot["required_h"],
                ice_days=lot["ice_days"],
                interruptions=len(lot["interruptions"]),
                needs_destruction=lot["needs_destruction"],
                state=lot["state"],
                option=lot["option"],
                species=lot["species"],
            ),
            "time": received_ms[lot["lot"]],
        }


def _fields(**values: float | str | None) -> dict[str, float | str]:
    """Return what is there: every number as a float, every yes or no as 1 or 0."""
    return {
        name: value if isinstance(value, str) else float(value)
        for name, value in values.items()
        if value is not None and value != ""
    }


def _between_s(start: str, end: str | None) -> float | None:
    return None if end is None else (_ms(end) - _ms(start)) / MS_PER_S


def _ms(at: str) -> int:
    return round(datetime.fromisoformat(at).timestamp() * MS_PER_S)
