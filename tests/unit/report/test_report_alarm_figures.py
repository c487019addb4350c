"""The monthly figures of the alarms, beside their benchmarks."""

from dataclasses import replace
from datetime import time

from report_nights import shop

from document_parts import table
from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.lifecycle import State
from rimewatch.alarms.metrics import measure
from rimewatch.report.alarm_figures import figures_document
from rimewatch.report.document import Document
from rimewatch.report.document_text import document_text
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import Night
from rimewatch.vocabulary import MS_PER_DAY, Priority, Rule, UnitId

FROM_MS = 1_772_344_800_000  # 1 March 2026, 00:00 in Chicago
KEY = AlarmKey(unit=UnitId("case-1"), rule=Rule.HOLDING)


def alarm(raised_s: float, *, acknowledged_s: float | None = None, lasts_s: float = 60.0) -> Alarm:
    """Return an alarm of the month."""
    raised_ms = FROM_MS + round(raised_s * 1000)
    return Alarm(
        id=f"a{raised_ms}",
        key=KEY,
        units=(UnitId("case-1"),),
        priority=Priority.HIGH,
        state=State.NORMAL,
        since_ms=raised_ms,
        raised_ms=raised_ms,
        opened_ms=raised_ms,
        condition=Condition(key=KEY, since_ms=raised_ms),
        acknowledged_ms=None
        if acknowledged_s is None
        else raised_ms + round(acknowledged_s * 1000),
        returned_ms=raised_ms + round(lasts_s * 1000),
        woke=True,
        repeats_sent=2,
    )


def month(*alarms: Alarm) -> Document:
    """Return the figures of March."""
    night = Night(begins=time(21), ends=time(6), wake_for=frozenset({Priority.HIGH}))
    figures = measure(alarms, FROM_MS, FROM_MS + 31 * MS_PER_DAY)
    return figures_document(replace(shop(), night=night), figures)


def lines(*alarms: Alarm) -> dict[str, str]:
    """Return each figure and its benchmark by its name."""
    rows = table(month(*alarms), "Figures").rows
    return {name: " ".join(filter(None, (figure, benchmark))) for name, figure, benchmark in rows}


def test_figures_of_a_calm_month_stand_beside_their_benchmarks() -> None:
    """Three alarms, answered in 2 and 10 minutes; one never was."""
    found = lines(alarm(0, acknowledged_s=120), alarm(90_000, acknowledged_s=600), alarm(900_000))

    assert found["raised"] == "3"
    assert found["a day, on average"] == (
        "0.1 control room: up to 150, to be cut from 300 (IEC 62682)"
    )
    assert found["of priority high"] == "3 (100%) about 5 %"
    assert found["until acknowledged, median"] == "6 min"
    assert found["until acknowledged, longest"] == "10 min"
    assert found["never acknowledged"] == "1"
    assert found["that sounded in the night"] == "3"
    assert found["repeats sent"] == "6"


def test_figures_of_a_bad_month_name_what_cries_wolf() -> None:
    """A probe that flickers at its limit, and the flood it makes."""
    flicker = [alarm(10.0 * n, lasts_s=5.0) for n in range(20)]
    figures = measure(flicker, FROM_MS, FROM_MS + MS_PER_DAY)
    text = document_text(figures_document(shop(), figures))

    assert "– 1 alarms chatter; none should" in text
    assert "Chattering: case-1: fish too warm." in text
    assert "Flood: 20 alarms from Sun 1 March 00:01 CST" in text
    assert "IEC 62682" in text


def test_figures_of_a_month_without_alarms_divide_by_nothing() -> None:
    """The best month of all."""
    found = lines()

    assert "Nothing is beyond what a control room would accept." in document_text(month())
    assert found["raised"] == "0"
    assert found["until acknowledged, median"] == "–"
    assert found["of priority high"] == "0 about 5 %"
