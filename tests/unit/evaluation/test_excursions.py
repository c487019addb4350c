"""Which alarm belongs to which excursion, and which excursions belong to a period."""

from dataclasses import replace

import pytest

from handmade import probe, shop, unit
from rimewatch.alarms.alarm import Alarm
from rimewatch.alarms.lifecycle import State
from rimewatch.evaluation.channels import history_of
from rimewatch.evaluation.excursions import Excursion, excursions_of
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.readings import Reading
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.vocabulary import Priority, ProbeId, Rule, UnitId

CASE, WALK_IN = UnitId("case-1"), UnitId("walk-in")
SHOP = shop(
    unit("case-1", operating_limit_c=3.3),
    unit("walk-in", "walk-in"),
    probe(),
    probe("w", "walk-in"),
)
# 2 °C up to 8 °C and back, a minute each way: above 5 °C from 90 s, closed at 155 s.
POINTS = [(0, 2.0), (60, 2.0), (120, 8.0), (180, 2.0), (240, 2.0)]
END_MS = 240_000


def alarm(
    since_s: float,
    returned_s: float | None,
    *,
    unit_id: UnitId | None = CASE,
    rule: Rule = Rule.HOLDING,
    units: tuple[UnitId, ...] = (),
    raised_s: float | None = None,
) -> Alarm:
    """Return an alarm, in seconds."""
    key = AlarmKey(unit=unit_id, rule=rule)
    since_ms = round(since_s * 1000)
    raised_ms = since_ms if raised_s is None else round(raised_s * 1000)
    return Alarm(
        id="a",
        key=key,
        units=units or (() if unit_id is None else (unit_id,)),
        priority=Priority.HIGH,
        state=State.UNACKNOWLEDGED,
        since_ms=since_ms,
        raised_ms=raised_ms,
        opened_ms=raised_ms,
        condition=Condition(key=key, since_ms=since_ms),
        returned_ms=None if returned_s is None else round(returned_s * 1000),
    )


def found(*alarms: Alarm, from_s: float = 0, to_s: float = 240) -> list[Excursion]:
    """Return the case's excursions in a period."""
    store = MemoryStore()
    for at_s, value in POINTS:
        at_ms = at_s * 1000
        store.add(
            Reading(
                probe=ProbeId("air"), observed_ms=at_ms, arrived_ms=at_ms, raw=value, value=value
            )
        )
    history = history_of(SHOP, SHOP.probes[0], store, END_MS)
    return excursions_of(
        SHOP,
        store,
        [history],
        alarms,
        from_ms=round(from_s * 1000),
        to_ms=round(to_s * 1000),
    )


def holding(*alarms: Alarm) -> Excursion:
    """Return the one excursion above the limit."""
    (only,) = [e for e in found(*alarms) if e.rule is Rule.HOLDING]
    return only


def test_excursions_of_both_lines_are_listed_in_order_of_their_start() -> None:
    """The operating limit is passed first."""
    assert [e.rule for e in found()] == [Rule.OPERATING_LIMIT, Rule.HOLDING]
    assert [e.alarmed for e in found()] == [False, False]


def test_excursion_is_alarmed_by_an_alarm_of_its_time_unit_and_rule() -> None:
    """Raised at 120 s, returned at 180 s."""
    assert holding(alarm(90, 180)).alarmed
    assert holding(alarm(90, None)).alarmed


@pytest.mark.parametrize(
    "other",
    [
        alarm(90, 180, unit_id=WALK_IN),
        alarm(90, 180, rule=Rule.OPERATING_LIMIT),
        alarm(90, 180, rule=Rule.STALE),
        alarm(0, 80),
        alarm(156, 240),
        alarm(90, 180, unit_id=None, rule=Rule.POWER_LOSS, units=(WALK_IN,)),
    ],
)
def test_excursion_is_not_alarmed_by_an_alarm_of_something_else(other: Alarm) -> None:
    """Another unit, another rule, before or after."""
    assert not holding(other).alarmed


def test_excursion_counts_as_alarmed_by_a_power_loss_over_its_unit() -> None:
    """One cause, one wake-up; its cause, though, is judged from the readings alone."""
    power = alarm(60, None, unit_id=None, rule=Rule.POWER_LOSS, units=(CASE, WALK_IN))

    assert holding(power).alarmed
    assert holding(power) == replace(holding(), alarmed=True)


def test_excursion_alarmed_only_after_it_was_over_was_found_late() -> None:
    """The backlog came an hour later."""
    late = alarm(90, 3700, raised_s=3600)

    assert (holding(late).alarmed, holding(late).found_late) == (True, True)
    assert not holding(alarm(90, 180, raised_s=120)).found_late
    assert not holding(late, replace(late, id="b", raised_ms=120_000)).found_late


@pytest.mark.parametrize(
    ("from_s", "to_s", "count"),
    # Above 3.3 °C from 73 s, closed at 172 s (2.8 °C); above 5 °C from 90 s, closed at 155 s.
    [(0, 72, 0), (0, 74, 1), (0, 89, 1), (0, 90, 2), (155, 240, 2), (156, 240, 1), (173, 240, 0)],
)
def test_excursions_of_a_period_are_those_that_touch_it(
    from_s: float, to_s: float, count: int
) -> None:
    """Begun before its end, and not over before its start."""
    assert len(found(from_s=from_s, to_s=to_s)) == count
