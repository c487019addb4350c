import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from rimewatch.alarms import AlarmState, from_json, to_json
from rimewatch.alarms.codec import alarm_from_json, alarm_to_json
from rimewatch.vocabulary import Rule

Make = Callable[..., Any]


@pytest.fixture
def busy_desk(open_desk: Make, shop_of: Make, step: Make, key: Make) -> Any:
    """A bad evening: something of everything the state can hold."""
    desk = open_desk(shop_of(step(0, "first", 900), step(1800, "owner")), recovery_s=1800)
    desk.wrong("18:00:00", peak_c=6.1, severity=2, lots=("L1", "L2"))
    desk.wrong("18:00:01", "case-2", since_ms=desk.at("17:45:00"), fish_c=0.1 + 0.2)
    desk.acknowledge("18:02:00", "case-2", back_within_s=1e6, who="Zoë")
    desk.wrong("18:03:00", None, Rule.POWER_LOSS, units=("case-3", "freezer-1"))
    for unit in ("case-3", "freezer-1"):
        desk.suppress("18:03:00", key(unit, Rule.STALE), key(None, Rule.POWER_LOSS))
    desk.wrong("18:04:00", "case-3", Rule.STALE)
    desk.shelve("18:05:00", "22:00:00", "walk-in", Rule.DOOR)
    desk.wrong("18:06:00", "walk-in", Rule.DOOR)
    desk.out_of_service("18:07:00", "case-4")
    desk.wrong("18:08:00", "case-5", Rule.BATTERY)
    desk.acknowledge("18:09:00", "case-5", Rule.BATTERY)
    desk.right("18:10:00", "case-5", Rule.BATTERY)
    desk.right("18:15:00", None, Rule.POWER_LOSS)
    desk.until("18:26:00")
    desk.right("18:27:00")
    return desk


def test_codec_gives_back_a_busy_state_exactly(busy_desk: Any) -> None:
    """Every kind of thing the engine remembers survives a restart."""
    state = busy_desk.state
    for part in (
        "alarms",
        "closed",
        "conditions",
        "shelves",
        "out_of_service",
        "suppressed",
        "lifting",
    ):
        assert getattr(state, part), f"the example holds no {part}"

    assert from_json(to_json(state)) == state


def test_codec_reads_a_state_that_knew_off_delays(busy_desk: Any) -> None:
    """An earlier version wrote down what waited to return; it never let anything wait."""
    plain = json.loads(to_json(busy_desk.state)) | {"clearing": []}

    assert from_json(json.dumps(plain)) == busy_desk.state


def test_codec_restart_in_the_middle_sends_the_same_messages(busy_desk: Any) -> None:
    """A service that stops and reads its state again goes on as if it had not."""
    _, unbroken = busy_desk.engine.advance(busy_desk.state, busy_desk.at("23:00:00"))
    restored = from_json(to_json(busy_desk.state))
    _, resumed = busy_desk.engine.advance(restored, busy_desk.at("23:00:00"))

    assert resumed == unbroken
    assert len(unbroken) > 5


def test_codec_equal_states_give_equal_text(busy_desk: Any) -> None:
    """The text does not depend on the order in which things came."""
    state = busy_desk.state
    turned = replace(
        state,
        alarms=dict(reversed(state.alarms.items())),
        conditions=dict(reversed(state.conditions.items())),
        suppressed=dict(reversed(state.suppressed.items())),
    )

    assert turned == state
    assert to_json(turned) == to_json(state)


def test_codec_restart_does_not_change_the_order_of_messages(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Two alarms due at one instant are told in one order, whichever came first."""
    desk = open_desk(shop_of(step(0, "first", 900)))
    desk.wrong("18:00:00", "walk-in")
    desk.wrong("18:00:00", "case-1")

    _, unbroken = desk.engine.advance(desk.state, desk.at("18:15:00"))
    _, resumed = desk.engine.advance(from_json(to_json(desk.state)), desk.at("18:15:00"))

    assert resumed == unbroken
    assert unbroken[0].key.unit == "case-1"


def test_codec_empty_state_survives() -> None:
    """A new shop has nothing to remember."""
    assert from_json(to_json(AlarmState())) == AlarmState()


def test_codec_refuses_a_number_that_is_not_finite(busy_desk: Any) -> None:
    """JSON has no infinity; it is refused rather than written as something else."""
    busy_desk.wrong("19:00:00", "case-6", rate_c_per_h=float("inf"))

    with pytest.raises(ValueError, match="not JSON compliant"):
        to_json(busy_desk.state)


def test_codec_refuses_another_format_by_name(busy_desk: Any) -> None:
    """A state written by another version is not guessed at."""
    plain = json.loads(to_json(busy_desk.state))
    plain["format"] = 999

    with pytest.raises(ValueError, match=r"in format 999; expected \d+: it was written by another"):
        from_json(json.dumps(plain))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "null",
        "[]",
        "{}",
        '{"format": 1}',
        '{"format":1,"alarms":[{"key":{"rule":"no-such-rule","unit":"case-1"}}]}',
    ],
)
def test_codec_refuses_what_is_no_state(text: str) -> None:
    """Any other text is refused with one kind of error."""
    with pytest.raises(ValueError, match="the alarms' state cannot be read"):
        from_json(text)


def test_codec_gives_back_each_alarm_of_the_record_exactly(busy_desk: Any) -> None:
    """What the pages show of an alarm is what was written of it."""
    alarms = list(busy_desk.record.values())

    assert len(alarms) > 3
    assert [alarm_from_json(alarm_to_json(alarm)) for alarm in alarms] == alarms


@pytest.mark.parametrize("text", ["", "null", "[]", "{}", '{"key":{"rule":"no-such-rule"}}'])
def test_codec_refuses_what_is_no_alarm(text: str) -> None:
    """Any other text is refused with one kind of error."""
    with pytest.raises(ValueError, match="the alarm cannot be read"):
        alarm_from_json(text)
