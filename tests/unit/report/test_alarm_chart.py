"""The picture beside an alarm: of the right unit, the right hours, the right line."""

import io

import numpy as np
import pytest
from PIL import Image

from handmade import ms, probe, shop, unit
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.readings import Reading
from rimewatch.report import alarm_chart, chart
from rimewatch.report.alarm_chart import SHOWN_MS, alarm_chart_png, warm_up
from rimewatch.report.curve import Curve
from rimewatch.shop import Unit
from rimewatch.vocabulary import ProbeId, UnitId

SHOP = shop(
    unit("freezer-1", "freezer", lag_s=3600),
    probe("left", "freezer-1"),
    probe("right", "freezer-1", "product"),
    probe("core", "freezer-1", "product"),
)
FREEZER = UnitId("freezer-1")
END_MS = ms("2026-03-02T12:00:00Z")


def store(**celsius: float) -> MemoryStore:
    found = MemoryStore()
    for name, value in celsius.items():
        for minute in range(0, 12 * 60, 5):
            at_ms = END_MS - minute * 60_000
            found.add(
                Reading(
                    probe=ProbeId(name), observed_ms=at_ms, arrived_ms=at_ms, raw=value, value=value
                )
            )
    return found


def test_picture_is_small_and_the_same_for_the_same_readings() -> None:
    """A phone's data plan is no concern of the watch."""
    first = alarm_chart_png(SHOP, store(core=-21.0), FREEZER, END_MS, line_c=None)
    second = alarm_chart_png(SHOP, store(core=-21.0), FREEZER, END_MS, line_c=None)

    assert first is not None
    assert first == second
    assert len(first) < 30_000
    assert Image.open(io.BytesIO(first)).size == (960, 480)


def test_unit_without_a_reading_in_these_hours_has_no_picture() -> None:
    """An empty frame tells nobody anything."""
    late_ms = END_MS + 2 * SHOWN_MS

    assert alarm_chart_png(SHOP, store(core=-21.0), FREEZER, late_ms, line_c=None) is None


def test_picture_shows_the_warmest_probe_up_to_its_instant_and_the_line_in_question(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A hold is lost above its option's line, not above the freezer's limit."""
    drawn: list[tuple[Unit, Curve]] = []

    def see(unit: Unit, curve: Curve, *_: object) -> bytes:
        drawn.append((unit, curve))
        return b"png"

    monkeypatch.setattr(chart, "_draw", see)
    at_ms = END_MS - 60 * 60_000
    alarm_chart_png(SHOP, store(right=-25.0, core=-19.5), FREEZER, at_ms, line_c=-20.0)
    alarm_chart_png(SHOP, store(right=-17.0, core=-19.5), FREEZER, at_ms, line_c=None)

    assert [unit.limit_c for unit, _ in drawn] == [-20.0, -18.0]
    assert [float(curve.governing_c[-1]) for _, curve in drawn] == [-19.5, -17.0]
    times_ms = drawn[0][1].times_ms
    assert (int(times_ms[0]), int(times_ms[-1])) == (at_ms - SHOWN_MS, at_ms)
    assert bool(np.all(np.isfinite(drawn[0][1].measured_c)))


def test_warming_up_draws_as_an_alarm_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is imported late by a picture is imported then, not in the night."""
    sizes: list[object] = []

    def see(*found: object) -> bytes:
        sizes.append(found[-1])
        return b"png"

    monkeypatch.setattr(chart, "_draw", see)
    warm_up(SHOP)

    assert sizes == [alarm_chart.PICTURE]
