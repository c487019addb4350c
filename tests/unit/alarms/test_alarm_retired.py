"""What the configuration watches no more: its alarms end, and nobody is told that it is cold."""

from collections.abc import Callable
from typing import Any

import pytest

from rimewatch.alarms import AlarmState
from rimewatch.alarms.lifecycle import State
from rimewatch.rules.condition import AlarmKey
from rimewatch.vocabulary import Rule, UnitId

HOLDING = AlarmKey(unit=UnitId("case-1"), rule=Rule.HOLDING)
STALE = AlarmKey(unit=UnitId("case-1"), rule=Rule.STALE)
POWER = AlarmKey(unit=None, rule=Rule.POWER_LOSS)
LEFT = frozenset({UnitId("case-2")})


@pytest.fixture
def desk(
    open_desk: Callable[..., Any], shop_of: Callable[..., Any], step: Callable[..., Any]
) -> Any:
    """Open a desk with one contact that is told again every quarter of an hour."""
    return open_desk(shop_of(step(0, "first", 900)))


def retired(desk: Any, clock: str, *keys: AlarmKey) -> AlarmState:
    desk._do(desk.engine.retire(desk.state, keys, LEFT, desk.at(clock)))
    state: AlarmState = desk.state
    return state


@pytest.mark.parametrize(
    "meanwhile", ["nothing", "acknowledge", "right", "out_of_service", "shelve", "suppress"]
)
def test_retired_alarm_is_over_whatever_had_befallen_it(desk: Any, meanwhile: str) -> None:
    """It rings no more, waits for nobody, and leaves nothing behind that would ring later."""
    desk.wrong("01:00")
    match meanwhile:
        case "nothing":
            pass
        case "shelve":
            desk.shelve("01:05", "03:00")
        case "suppress":
            desk.suppress("01:05", HOLDING, POWER)
        case event:
            getattr(desk, event)("01:05")
    told = len(desk.sent)
    state = retired(desk, "01:10", HOLDING)
    desk.until("23:00")

    (alarm,) = desk.record.values()
    assert alarm.state is State.NORMAL
    assert alarm.returned_ms == desk.at("01:05" if meanwhile == "right" else "01:10")
    assert len(desk.sent) == told
    assert state == AlarmState(closed=state.closed)
    text = "alarm holding of case-1 ended: the configuration watches it no more"
    assert [logged.text for logged in desk.logged][-1] == text


def test_cause_that_is_retired_suppresses_nothing_any_more(desk: Any) -> None:
    """What another alarm had told of is told now, but for what ended with it."""
    other = AlarmKey(unit=UnitId("case-2"), rule=Rule.HOLDING)
    desk.suppress("01:00", other, HOLDING)
    desk.suppress("01:00", STALE, HOLDING)
    desk.wrong("01:01")
    desk.wrong("01:02", unit="case-2")
    desk.wrong("01:02", rule=Rule.STALE)
    state = retired(desk, "01:10", HOLDING, STALE)

    assert set(state.alarms) == {other}
    assert desk.messages[-1] == "01:10:00 first raised"


def test_common_alarm_goes_on_for_the_units_that_are_left(desk: Any) -> None:
    """And ends with the last of them."""
    units = (UnitId("case-1"), UnitId("case-2"))
    desk.wrong("01:00", unit=None, rule=Rule.POWER_LOSS, units=units)
    state = retired(desk, "01:10")
    assert state.alarms[POWER].units == (UnitId("case-2"),)
    assert state.alarms[POWER].active

    desk._do(desk.engine.retire(desk.state, (), (UnitId("case-9"),), desk.at("01:20")))
    assert not desk.state.alarms
