"""Shelved, out of service, suppressed by design: silent, and heard again afterwards.

Times are UTC on 2026-03-02, by day in the shop.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from rimewatch.alarms import Event, State
from rimewatch.entries import Acknowledge
from rimewatch.evaluation.acknowledging import missed
from rimewatch.vocabulary import Rule, UnitId

Make = Callable[..., Any]


@pytest.fixture
def desk(open_desk: Make, shop_of: Make, step: Make) -> Any:
    """A shop that is told at once and every half-hour, its owner after 20 minutes."""
    return open_desk(shop_of(step(0, "first", 1800), step(1200, "owner")))


# --- shelved -----------------------------------------------------------------------------


def test_shelved_alarm_still_active_is_raised_when_the_shelf_ends(desk: Any) -> None:
    """Put aside before it came, it enters the record at the end of the shelf and only then."""
    desk.shelve("18:00:00", "19:00:00")
    desk.wrong("18:10:00", since_ms=desk.at("18:05:00"))
    desk.until("18:59:59")
    assert desk.changes == []
    assert desk.engine.next_due_ms(desk.state) == desk.at("19:00:00")

    desk.until("19:00:00")

    assert desk.messages == ["19:00:00 first raised"]
    alarm = desk.alarm()
    assert (alarm.since_ms, alarm.raised_ms) == (desk.at("18:05:00"), desk.at("19:00:00"))


def test_shelved_alarm_over_before_the_shelf_ends_is_never_raised(desk: Any) -> None:
    """Cleaning day: it was warm and is cold again, and nobody hears of it."""
    desk.shelve("18:00:00", "19:00:00")
    desk.wrong("18:10:00")
    desk.right("19:00:00")
    desk.until("23:00:00")

    assert desk.messages == []
    assert desk.changes == []


def test_shelving_an_active_alarm_silences_it_and_it_starts_again(desk: Any) -> None:
    """The same alarm, unacknowledged once more, with its escalation from the beginning."""
    desk.wrong("18:00:00")
    desk.shelve("18:10:00", "19:00:00")
    assert desk.alarm().state is State.SHELVED
    desk.until("19:25:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "19:00:00 first raised",
        "19:20:00 owner escalated",
    ]
    (alarm,) = desk.record.values()
    assert alarm.state is State.UNACKNOWLEDGED
    assert alarm.raised_ms == desk.at("18:00:00")
    assert alarm.round == 1


def test_shelved_alarm_that_was_told_says_when_it_returns(desk: Any) -> None:
    """Who was told of it is told that it is over; nobody need acknowledge it then."""
    desk.wrong("18:00:00")
    desk.shelve("18:10:00", "19:00:00")
    desk.right("18:30:00")
    desk.until("20:00:00")

    assert desk.messages == ["18:00:00 first raised", "18:30:00 first returned"]
    assert desk.state.alarms == {}


def test_shelf_lasts_for_a_second_occurrence(desk: Any) -> None:
    """A shelf belongs to what is shelved, not to one occurrence of it."""
    desk.wrong("18:00:00")
    desk.shelve("18:10:00", "19:00:00")
    desk.right("18:30:00")
    desk.wrong("18:40:00")
    desk.until("19:00:00")

    assert desk.messages == [
        "18:00:00 first raised",
        "18:30:00 first returned",
        "19:00:00 first raised",
    ]
    assert len(desk.record) == 2


def test_shelved_returned_alarm_leaves_the_list_when_the_shelf_ends(desk: Any) -> None:
    """Returned and shelved before anybody acknowledged: it is put aside, then done with."""
    desk.wrong("18:00:00")
    desk.right("18:05:00")
    desk.shelve("18:10:00", "19:00:00")
    assert desk.alarm().state is State.SHELVED
    desk.until("19:00:00")

    assert desk.state.alarms == {}
    assert desk.messages == ["18:00:00 first raised", "18:05:00 first returned"]


def test_shelf_can_be_lengthened_and_ended_early(desk: Any) -> None:
    """The last word counts."""
    desk.wrong("18:00:00")
    desk.shelve("18:00:01", "18:30:00")
    desk.shelve("18:20:00", "20:00:00")
    desk.until("19:00:00")
    assert desk.messages == ["18:00:00 first raised"]

    desk.unshelve("19:10:00")

    assert desk.messages[1:] == ["19:10:00 first raised"]
    assert desk.state.shelves == {}


def test_shelving_is_written_down(desk: Any) -> None:
    """Shelving must be listed and logged (ISA-18.2, from memory): who, what, how long."""
    desk.shelve("18:00:00", "18:45:00", who="Theo")
    desk.until("19:00:00")

    assert [(line.at_ms, line.text) for line in desk.logged] == [
        (desk.at("18:00:00"), "shelved for 45 min by Theo"),
        (desk.at("18:45:00"), "the shelf has ended"),
    ]
    assert desk.logged[0].key.rule is Rule.HOLDING


def test_shelf_without_length_is_refused(desk: Any) -> None:
    """A shelf that ends before it begins is a mistake."""
    with pytest.raises(ValueError, match=r"a shelf must end later than it begins"):
        desk.shelve("18:00:00", "18:00:00")


def test_taking_from_a_shelf_what_is_not_on_it_does_nothing(desk: Any) -> None:
    """No shelf, nothing to end."""
    desk.wrong("18:00:00")
    desk.unshelve("18:01:00")

    assert desk.messages == ["18:00:00 first raised"]
    assert desk.logged == []


def test_shelf_silences_only_what_it_names(desk: Any) -> None:
    """Another rule of that unit, and the same rule elsewhere, still ring."""
    desk.shelve("18:00:00", "19:00:00")
    desk.wrong("18:10:00", rule=Rule.STALE)
    desk.wrong("18:10:00", "case-2")

    assert desk.messages == ["18:10:00 first raised", "18:10:00 first raised"]


def test_acknowledging_a_shelved_alarm_does_nothing(desk: Any) -> None:
    """What is put aside is looked at when it comes back."""
    desk.wrong("18:00:00")
    desk.shelve("18:10:00", "19:00:00")
    before = desk.state
    desk.acknowledge("18:20:00", back_within_s=600)
    assert desk.state == before
    desk.until("19:00:00")

    assert desk.messages[-1] == "19:00:00 first raised"
    assert desk.alarm().acknowledged_ms is None


def test_acknowledgement_that_meets_no_alarm_is_told_why(desk: Any) -> None:
    """Whoever sent it, by command or over the broker, learns that it did nothing."""
    seen = Acknowledge(at_ms=0, unit=UnitId("case-1"), rule=Rule.HOLDING)
    assert missed(seen, desk.state) == (
        "no alarm case-1 holding is on, so nothing was acknowledged; on now: none"
    )
    desk.wrong("18:00:00")
    assert missed(seen, desk.state) == ""
    assert missed(replace(seen, alarm=desk.alarm().id), desk.state) == ""
    assert "that was meant is over" in missed(replace(seen, alarm="another"), desk.state)
    desk.shelve("18:10:00", "19:00:00")
    assert "is silent already" in missed(seen, desk.state)


# --- out of service -----------------------------------------------------------------------


def test_out_of_service_unit_raises_nothing_until_it_is_back(desk: Any) -> None:
    """Switched off for cleaning, it is warm; back in service and still warm, it is told."""
    desk.out_of_service("18:00:00")
    desk.wrong("18:20:00")
    desk.wrong("18:20:00", rule=Rule.STALE)
    desk.right("18:50:00", rule=Rule.STALE)
    desk.until("19:00:00")
    assert desk.changes == []

    desk.in_service("19:30:00")

    assert desk.messages == ["19:30:00 first raised"]
    assert desk.alarm().raised_ms == desk.at("19:30:00")


def test_out_of_service_silences_what_is_active_and_other_units_ring(desk: Any) -> None:
    """Its alarms fall silent; the case beside it is watched as before."""
    desk.wrong("18:00:00")
    desk.out_of_service("18:05:00")
    desk.wrong("18:06:00", "case-2")
    desk.until("18:40:00")

    assert desk.alarm().state is State.OUT_OF_SERVICE
    assert desk.messages == [
        "18:00:00 first raised",
        "18:06:00 first raised",
        "18:26:00 owner escalated",
        "18:36:00 first repeat",
    ]
    assert {send.key.unit for send in desk.sent[1:]} == {"case-2"}


def test_out_of_service_alarm_over_several_units_is_silent_only_if_all_are(desk: Any) -> None:
    """Power lost on one unit in service and one out of it still rings."""
    desk.out_of_service("18:00:00", "case-1")
    desk.wrong("18:10:00", None, Rule.POWER_LOSS, units=("case-1", "case-2"))
    desk.out_of_service("18:12:00", "case-2")
    assert desk.alarm(None, Rule.POWER_LOSS).state is State.OUT_OF_SERVICE

    desk.in_service("18:14:00", "case-2")

    assert desk.messages == ["18:10:00 first raised", "18:14:00 first raised"]


def test_out_of_service_alarm_is_heard_when_it_spreads_to_a_unit_in_service(desk: Any) -> None:
    """The power is gone on the dead unit alone; then on the next one."""
    desk.out_of_service("18:00:00", "case-1")
    desk.wrong("18:10:00", None, Rule.POWER_LOSS, units=("case-1",))
    assert desk.messages == []

    desk.wrong("18:20:00", None, Rule.POWER_LOSS, units=("case-1", "case-2"))

    assert desk.messages == ["18:20:00 first raised"]


def test_out_of_service_twice_is_written_down_once(desk: Any) -> None:
    """Saying it again changes nothing."""
    desk.out_of_service("18:00:00")
    desk.out_of_service("18:01:00")
    desk.in_service("18:02:00")
    desk.in_service("18:03:00")

    assert [line.text for line in desk.logged] == [
        "case-1 taken out of service by Mia",
        "case-1 put back in service by Mia",
    ]


def test_silence_shows_its_strongest_reason(desk: Any, key: Make) -> None:
    """Shelved, then suppressed, then out of service, and back the same way."""
    holding, power = key("case-1", Rule.HOLDING), key(None, Rule.POWER_LOSS)
    seen = []
    desk.wrong("18:00:00")
    desk.shelve("18:01:00", "18:30:00")
    seen.append(desk.alarm().state)
    desk.suppress("18:02:00", holding, power)
    seen.append(desk.alarm().state)
    desk.out_of_service("18:03:00")
    seen.append(desk.alarm().state)
    desk.in_service("18:04:00")
    seen.append(desk.alarm().state)
    desk.unsuppress("18:05:00", holding, power)
    seen.append(desk.alarm().state)
    desk.until("18:30:00")

    assert seen == [
        State.SHELVED,
        State.SUPPRESSED,
        State.OUT_OF_SERVICE,
        State.SUPPRESSED,
        State.SHELVED,
    ]
    assert desk.messages == ["18:00:00 first raised", "18:30:00 first raised"]
    assert [change.event for change in desk.changes if change.event][1:-1] == [
        Event.SHELVED,
        Event.SUPPRESSED,
        Event.TAKEN_OUT_OF_SERVICE,
        Event.SUPPRESSED,
        Event.SHELVED,
    ]


# --- one cause, one wake-up ---------------------------------------------------------------


def test_suppressed_alarms_of_one_cause_send_one_message(desk: Any, key: Make) -> None:
    """Power lost on two units: the power alarm rings, not the four that follow from it."""
    power = key(None, Rule.POWER_LOSS)
    desk.wrong("18:00:00", None, Rule.POWER_LOSS, units=("case-1", "freezer-1"))
    following = [
        ("case-1", Rule.HOLDING),
        ("case-1", Rule.STALE),
        ("freezer-1", Rule.FREEZER),
        ("freezer-1", Rule.PROJECTION),
    ]
    for unit, rule in following:
        desk.suppress("18:00:00", key(unit, rule), power)
    for unit, rule in following:
        desk.wrong("18:05:00", unit, rule)
    desk.acknowledge("18:06:00", None, Rule.POWER_LOSS)
    desk.until("22:00:00")

    assert desk.messages == ["18:00:00 first raised"]
    assert len(desk.record) == 1


def test_suppressed_alarm_still_so_after_its_cause_is_raised(desk: Any, key: Make) -> None:
    """The power is back and the case is still warm: that has to be told now."""
    desk.wrong("18:00:00", None, Rule.POWER_LOSS, units=("case-1", "case-2"))
    desk.suppress("18:00:00", key("case-1", Rule.HOLDING), key(None, Rule.POWER_LOSS))
    desk.wrong("18:10:00")
    desk.right("18:15:00", None, Rule.POWER_LOSS)

    assert desk.messages == [
        "18:00:00 first raised",
        "18:15:00 first returned",
        "18:15:00 first raised",
    ]
    assert desk.state.suppressed == {}


@pytest.mark.parametrize(
    ("cold_at", "expected"),
    [("18:40:00", []), ("18:45:00", []), ("18:46:00", ["18:45:00 first raised"])],
)
def test_suppression_goes_on_while_units_recover(
    open_desk: Make, shop_of: Make, step: Make, key: Make, cold_at: str, expected: list[str]
) -> None:
    """Half an hour to become cold again after the power is back, before anybody is called."""
    desk = open_desk(shop_of(step(0, "first")), recovery_s=1800)
    desk.wrong("18:00:00", None, Rule.POWER_LOSS, units=("case-1", "case-2"))
    desk.suppress("18:00:00", key("case-1", Rule.HOLDING), key(None, Rule.POWER_LOSS))
    desk.wrong("18:10:00")
    desk.right("18:15:00", None, Rule.POWER_LOSS)
    desk.right(cold_at)
    desk.until("20:00:00")

    assert desk.messages[2 : 2 + len(expected)] == expected
    assert len(desk.record) == 1 + len(expected)


def test_suppression_stays_if_the_power_goes_again_while_units_recover(
    open_desk: Make, shop_of: Make, step: Make, key: Make
) -> None:
    """A second outage in the recovery is told; what follows from it still is not."""
    desk = open_desk(shop_of(step(0, "first")), recovery_s=1800)
    desk.wrong("18:00:00", None, Rule.POWER_LOSS, units=("case-1", "case-2"))
    desk.suppress("18:00:00", key("case-1", Rule.HOLDING), key(None, Rule.POWER_LOSS))
    desk.wrong("18:10:00")
    desk.right("18:15:00", None, Rule.POWER_LOSS)
    desk.wrong("18:20:00", None, Rule.POWER_LOSS, units=("case-1", "case-2"))
    desk.until("23:00:00")

    assert [send.key.rule for send in desk.sent] == [Rule.POWER_LOSS] * 3


def test_suppressed_by_two_causes_needs_both_to_end(desk: Any, key: Make) -> None:
    """Silent as long as one of its causes speaks for it."""
    holding = key("case-1", Rule.HOLDING)
    desk.suppress("18:00:00", holding, key(None, Rule.POWER_LOSS))
    desk.suppress("18:00:00", holding, key("case-1", Rule.PROJECTION))
    desk.wrong("18:10:00")
    desk.unsuppress("18:20:00", holding, key(None, Rule.POWER_LOSS))
    assert desk.messages == []

    desk.unsuppress("18:30:00", holding, key("case-1", Rule.PROJECTION))

    assert desk.messages == ["18:30:00 first raised"]


def test_suppressed_alarm_is_heard_when_its_cause_ends_though_others_are_still_suppressed(
    desk: Any, key: Make
) -> None:
    """The power is back; that another case is foretold to be warm is no reason for silence."""
    desk.wrong("18:00:00", None, Rule.POWER_LOSS, units=("case-1", "freezer-1"))
    desk.suppress("18:00:00", key("case-1", Rule.HOLDING), key(None, Rule.POWER_LOSS))
    desk.wrong("18:05:00", "case-2", Rule.PROJECTION)
    desk.suppress("18:05:00", key("case-2", Rule.HOLDING), key("case-2", Rule.PROJECTION))
    desk.wrong("18:10:00")
    desk.wrong("18:10:00", "case-2")
    desk.right("18:15:00", None, Rule.POWER_LOSS)

    assert desk.messages[2:] == ["18:15:00 first returned", "18:15:00 first raised"]
    assert desk.sent[-1].key == key("case-1", Rule.HOLDING)


def test_suppressing_twice_by_one_cause_is_lifted_once(desk: Any, key: Make) -> None:
    """Said with every reading, it is still one suppression."""
    holding, power = key("case-1", Rule.HOLDING), key(None, Rule.POWER_LOSS)
    desk.suppress("18:00:00", holding, power)
    desk.suppress("18:01:00", holding, power)
    desk.wrong("18:02:00")
    desk.unsuppress("18:03:00", holding, power)

    assert desk.messages == ["18:03:00 first raised"]


def test_suppressing_an_alarm_by_itself_is_refused(desk: Any, key: Make) -> None:
    """It would never be heard."""
    holding = key("case-1", Rule.HOLDING)
    with pytest.raises(ValueError, match=r"holding of case-1 cannot suppress itself"):
        desk.suppress("18:00:00", holding, holding)
