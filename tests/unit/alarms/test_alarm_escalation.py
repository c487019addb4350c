"""Who is told what, to the second.

Times are UTC on 2026-03-02; Chicago is six hours behind, so the night is 03:00Z to 12:00Z.
"""

from collections.abc import Callable
from typing import Any

import pytest
from freezegun import freeze_time

from rimewatch.alarms import Event, State
from rimewatch.clock import SystemClock
from rimewatch.vocabulary import Rule

Make = Callable[..., Any]


def test_escalation_unacknowledged_alarm_tells_each_step_and_repeats(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """The on-call phone at once and every 15 min; the owner after 30 min and every 20 min."""
    desk = open_desk(shop_of(step(0, "first", 900), step(1800, "owner", 1200)))

    desk.wrong("18:00:10")
    desk.until("19:15:00")

    assert desk.messages == [
        "18:00:10 first raised",
        "18:15:10 first repeat",
        "18:30:10 owner escalated",
        "18:30:10 first repeat",
        "18:45:10 first repeat",
        "18:50:10 owner repeat",
        "19:00:10 first repeat",
        "19:10:10 owner repeat",
    ]
    assert [send.nth for send in desk.sent] == [0, 1, 0, 2, 3, 1, 4, 2]
    assert desk.alarm().repeats_sent == 6
    assert desk.engine.next_due_ms(desk.state) == desk.at("19:15:10")


def test_escalation_acknowledged_alarm_says_only_that_it_returned(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """After somebody has seen it nobody is called again; when it is over all who knew hear it."""
    desk = open_desk(
        shop_of(step(0, "first", 900), step(600, "owner first", None), step(3600, "repair"))
    )

    desk.wrong("18:00:00")
    desk.until("18:20:00")
    desk.acknowledge("18:20:00")
    desk.until("20:00:00")
    desk.right("20:00:30")
    desk.until("23:00:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:10:00 owner escalated",
        "18:10:00 first escalated",
        "18:15:00 first repeat",
        "20:00:30 first returned",
        "20:00:30 owner returned",
    ]
    (alarm,) = desk.record.values()
    assert (alarm.raised_ms, alarm.acknowledged_ms, alarm.returned_ms) == (
        desk.at("18:00:00"),
        desk.at("18:20:00"),
        desk.at("20:00:30"),
    )
    assert alarm.acknowledged_by == "Mia"
    assert alarm.state is State.NORMAL
    assert desk.state.alarms == {}
    assert desk.engine.next_due_ms(desk.state) is None


def test_escalation_message_due_in_the_moment_of_acknowledging_is_not_sent(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Repeated *until* acknowledged: the repeat of that very second stays unsent."""
    desk = open_desk(shop_of(step(0, "first", 900), step(900, "owner")))

    desk.wrong("18:00:00")
    desk.acknowledge("18:15:00")
    desk.until("18:15:00")

    assert desk.messages == ["18:00:00 first raised"]


def test_escalation_event_after_dues_sends_them_at_their_own_time_first(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """An acknowledgement an hour later does not swallow what was due before it."""
    desk = open_desk(shop_of(step(0, "first", 1800)))

    desk.wrong("18:00:00")
    desk.acknowledge("19:00:01")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:30:00 first repeat",
        "19:00:00 first repeat",
    ]


def test_escalation_late_first_step_says_raised_when_it_fires(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Where even the first step waits, its message is still the first word."""
    desk = open_desk(shop_of(step(600, "owner"), step(300, "first"), step(300, "cook")))

    desk.wrong("18:00:00")
    desk.until("19:00:00")

    assert desk.messages == [
        "18:05:00 first raised",
        "18:05:00 cook raised",
        "18:10:00 owner escalated",
    ]


def test_escalation_several_steps_at_once_are_all_raised(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Two steps without delay are two first words; a name twice in one step is one message."""
    desk = open_desk(shop_of(step(0, "first first"), step(0, "owner first")))

    desk.wrong("18:00:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:00:00 owner raised",
        "18:00:00 first raised",
    ]


def test_escalation_brief_alarm_is_returned_once_to_those_who_knew(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Over before the second step: the owner never hears of it, at the start or the end."""
    desk = open_desk(shop_of(step(0, "first", 900), step(600, "owner")))

    desk.wrong("18:00:00")
    desk.right("18:09:59")
    desk.until("23:00:00")
    desk.right("23:00:00")

    assert desk.messages == ["18:00:00 first raised", "18:09:59 first returned"]
    assert desk.alarm().state is State.RETURNED_UNACKNOWLEDGED


def test_escalation_alarm_nobody_was_told_of_does_not_return_to_anybody(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Over before the first message: silence from beginning to end."""
    desk = open_desk(shop_of(step(60, "first")))

    desk.wrong("18:00:00")
    desk.right("18:00:59")
    desk.until("19:00:00")

    assert desk.messages == []
    assert not desk.alarm().told


def test_engine_condition_said_again_changes_nothing(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """A rule may say the same with every reading: one alarm, one message."""
    desk = open_desk(shop_of(step(0, "first")))
    desk.wrong("18:00:00", since_ms=desk.at("17:45:00"))
    before = desk.state

    for minute in range(1, 10):
        desk.wrong(f"18:0{minute}:00", since_ms=desk.at("17:45:00"))

    assert desk.state == before
    assert desk.messages == ["18:00:00 first raised"]
    assert desk.alarm().since_ms == desk.at("17:45:00")
    assert desk.alarm().id == f"case-1:holding:{desk.at('18:00:00')}"


def test_engine_what_fell_due_is_sent_when_a_rule_has_nothing_new_to_say(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """The same facts, or "right" where nothing was wrong: the repeats due before are sent."""
    desk = open_desk(shop_of(step(0, "first", 600)))
    since_ms = desk.at("18:00:00")

    desk.wrong("18:00:00", since_ms=since_ms)
    desk.wrong("18:15:00", since_ms=since_ms)
    assert desk.messages == ["18:00:00 first raised", "18:10:00 first repeat"]

    desk.right("18:25:00", "case-2")
    assert desk.messages[2:] == ["18:20:00 first repeat"]


def test_engine_active_alarm_takes_over_the_latest_facts(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """A message carries the facts of its own moment."""
    desk = open_desk(shop_of(step(0, "first", 900)))
    since_ms = desk.at("18:00:00")

    desk.wrong("18:00:00", since_ms=since_ms, peak_c=5.4)
    desk.wrong("18:10:00", since_ms=since_ms, peak_c=7.1)
    desk.until("18:15:00")

    assert [send.condition.peak_c for send in desk.sent] == [5.4, 7.1]
    assert desk.alarm().condition.peak_c == 7.1


def test_engine_new_occurrence_after_return_is_an_alarm_of_its_own(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """By default each excursion is told, however soon it follows the last."""
    desk = open_desk(shop_of(step(0, "first")))

    desk.wrong("18:00:00")
    desk.right("18:10:00")
    desk.wrong("18:10:01")
    desk.acknowledge("18:11:00")
    desk.right("18:12:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:10:00 first returned",
        "18:10:01 first raised",
        "18:12:00 first returned",
    ]
    first, second = desk.record.values()
    assert first.acknowledged_ms is None
    assert second.acknowledged_ms == desk.at("18:11:00")


def test_engine_alarm_over_several_units_names_them_all(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Power lost on two units is one alarm of no one unit, that lists both."""
    desk = open_desk(shop_of(step(0, "first")))

    desk.wrong("18:00:00", None, Rule.POWER_LOSS, units=("case-1", "walk-in"))
    desk.wrong("18:05:00", None, Rule.POWER_LOSS, units=("case-1", "freezer-1", "walk-in"))

    assert desk.messages == ["18:00:00 first raised"]
    assert desk.sent[0].key.unit is None
    alarm = desk.alarm(None, Rule.POWER_LOSS)
    assert alarm.id == f"-:power-loss:{desk.at('18:00:00')}"
    assert desk.record[alarm.id].units == ("case-1", "freezer-1", "walk-in")


def test_engine_acknowledging_what_is_not_there_does_nothing(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """No alarm, no acknowledgement; and the first of two stands."""
    desk = open_desk(shop_of(step(0, "first")))
    desk.acknowledge("17:00:00")
    assert desk.changes == []

    desk.wrong("18:00:00")
    desk.acknowledge("18:01:00", who="Mia")
    desk.acknowledge("18:02:00", who="Theo")

    assert desk.alarm().acknowledged_by == "Mia"
    assert desk.alarm().acknowledged_ms == desk.at("18:01:00")


def test_engine_returned_alarm_can_still_be_acknowledged(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """In the morning somebody confirms what was over in the night; then it is gone."""
    desk = open_desk(shop_of(step(0, "first")))

    desk.wrong("18:00:00")
    desk.right("18:05:00")
    desk.acknowledge("19:00:00")

    assert desk.state.alarms == {}
    (alarm,) = desk.record.values()
    assert alarm.acknowledged_ms == desk.at("19:00:00")
    assert [change.event for change in desk.changes if change.event is not None] == [
        Event.OCCURRED,
        Event.RETURNED,
        Event.ACKNOWLEDGED,
    ]


def test_engine_reads_no_clock(open_desk: Make, shop_of: Make, step: Make, night_of: Make) -> None:
    """The same night gives the same messages whatever the machine's clock says meanwhile.

    The frozen clocks stand in other centuries and jump an hour each time they are read.
    """

    def play() -> Any:
        desk = open_desk(shop_of(step(0, "first", 900), step(1800, "owner", 600), night=night_of()))
        desk.wrong("02:00:00")
        desk.wrong("02:00:00", rule=Rule.STALE)
        desk.shelve("02:30:00", "03:30:00")
        desk.until("04:00:00")
        desk.acknowledge("04:01:00", back_within_s=600)
        desk.until("05:00:00")
        desk.right("05:00:00")
        return desk

    usual = play()
    for century in ("1899-12-31T23:59:59Z", "2199-06-30T12:00:00Z"):
        with freeze_time(century, auto_tick_seconds=3600):
            assert abs(SystemClock().now_ms() - usual.at("02:00:00")) > 100 * 365 * 86_400_000
            elsewhen = play()
        assert elsewhen.sent == usual.sent
        assert elsewhen.changes == usual.changes
        assert elsewhen.state == usual.state
    assert len(usual.sent) > 10


# --- settings that cannot be followed ------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((-1, "first", None), r"after_s is -1; expected 0 or more"),
        ((float("nan"), "first", None), r"after_s is nan; expected 0 or more"),
        ((0, "first", 0), r"repeat_s is 0; expected at least 1"),
        ((0, "first", 0.2), r"repeat_s is 0\.2; expected at least 1"),
    ],
)
def test_engine_refuses_an_escalation_it_cannot_follow(
    open_desk: Make, shop_of: Make, step: Make, arguments: Any, message: str
) -> None:
    """A repeat of no length would never end; the message names value and cure."""
    with pytest.raises(ValueError, match=message):
        open_desk(shop_of(step(*arguments)))


def test_engine_refuses_a_negative_recovery(open_desk: Make, shop_of: Make) -> None:
    """A delay below nothing is a mistake."""
    with pytest.raises(ValueError, match="recovery_s is -1; expected 0 or more"):
        open_desk(shop_of(), recovery_s=-1)


def test_engine_state_from_a_longer_escalation_is_carried_on(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Restarted with a step and a repeat taken out of the settings, nothing breaks."""
    old = open_desk(shop_of(step(0, "first", 900), step(60, "owner", 900)))
    old.wrong("18:00:00")
    old.until("18:05:00")

    new = open_desk(shop_of(step(0, "first")))
    new.state = old.state
    new.until("20:00:00")
    new.right("20:00:00")

    assert new.messages == ["20:00:00 first returned", "20:00:00 owner returned"]


def test_engine_alarm_of_one_unit_concerns_that_unit(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Whoever reads the record sees where it was, though the rule named no list of units."""
    desk = open_desk(shop_of(step(0, "first")))

    desk.wrong("18:00:00")
    desk.wrong("18:00:00", None, Rule.POWER_LOSS)

    assert desk.alarm().units == ("case-1",)
    assert desk.alarm(None, Rule.POWER_LOSS).units == ()
