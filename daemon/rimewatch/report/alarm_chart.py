"""The last hours of an alarm's unit as a small picture, for the message that tells of it.

It decides nothing and writes no file. One thread draws at a time (see ``chart``).
"""

from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from rimewatch.evaluation.channels import seat_span, stale_ms
from rimewatch.evaluation.contacts import door_times
from rimewatch.evaluation.defrosts import scheduled
from rimewatch.evaluation.governing import governing_readings, seat_of
from rimewatch.evaluation.store import ReadingStore
from rimewatch.report import chart
from rimewatch.report.curve import Curve, Span
from rimewatch.shop import Probe, Shop, Unit
from rimewatch.vocabulary import MS_PER_H, MS_PER_S, UnitId

SHOWN_MS: Final = 6 * MS_PER_H
"""A rise, and enough of what was usual before it to tell them apart (our choice)."""

PICTURE: Final = chart.Size(
    width=480, height=240, density=2.0, text_px=12.0, most_ticks=7, legend=True
)
"""As wide as a phone shows a picture beside a message."""


def alarm_chart_png(
    shop: Shop, store: ReadingStore, unit_id: UnitId, at_ms: int, *, line_c: float | None
) -> bytes | None:
    """Return a PNG of a unit's temperatures up to an instant; None: nothing was measured.

    Args:
        shop: The shop.
        store: Its readings.
        unit_id: The unit.
        at_ms: Where the picture ends.
        line_c: The limit the alarm is about, where it is not the unit's own (a hold's).
    """
    unit = shop.unit[unit_id]
    from_ms = at_ms - SHOWN_MS
    found = [
        (probe, curve)
        for probe in shop.governing_probes(unit_id)
        if (curve := _curve(shop, store, unit, probe, from_ms, at_ms)) is not None
    ]
    if not found:
        return None
    probe, curve = max(found, key=lambda one: float(one[1].governing_c[-1]))
    silence_ms = stale_ms(probe)
    return chart.unit_chart_png(
        unit,
        curve,
        chart.View(from_ms=from_ms, to_ms=at_ms, zone=ZoneInfo(shop.timezone), scale=shop.display),
        line_c=line_c,
        break_s=None if silence_ms == float("inf") else silence_ms / MS_PER_S,
        size=PICTURE,
    )


def warm_up(shop: Shop) -> None:
    """Draw a picture that nobody sees: the first one imports the library, and takes a second."""
    for unit in shop.units[:1]:
        times_ms = np.arange(0, SHOWN_MS + 1, MS_PER_H)
        flat_c = np.full(times_ms.shape, unit.limit_c)
        chart.unit_chart_png(
            unit,
            Curve(times_ms=times_ms, measured_c=flat_c + 1.0, governing_c=flat_c),
            chart.View(from_ms=0, to_ms=SHOWN_MS, zone=ZoneInfo(shop.timezone), scale=shop.display),
            size=PICTURE,
        )


def _curve(
    shop: Shop, store: ReadingStore, unit: Unit, probe: Probe, from_ms: int, to_ms: int
) -> Curve | None:
    felt = governing_readings(shop, store, probe, from_ms, to_ms)
    inside = (felt.times_ms >= from_ms) & (felt.times_ms <= to_ms)
    if not inside.any():
        return None
    return Curve(
        times_ms=felt.times_ms[inside],
        measured_c=seat_span(store, seat_of(shop, probe), from_ms, to_ms).values,
        governing_c=felt.values[inside],
        doors=_rounded(door_times(shop, store, unit.id, from_ms, to_ms)),
        defrosts=_rounded(scheduled(unit, shop.timezone, from_ms, to_ms)),
    )


def _rounded(spans: list[tuple[float, float]]) -> tuple[Span, ...]:
    return tuple((round(start), round(end)) for start, end in spans)
