"""An acknowledgement lasts as long as what was acknowledged; whoever came later knows of it too.

Times are UTC on 2026-03-02, by day in the shop.
"""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from rimewatch.alarms import Engine, State, from_json, to_json
from rimewatch.shop import Shop
from rimewatch.vocabulary import ContactId, Priority, Rule

Make = Callable[..., Any]


def test_acknowledgement_of_an_urgent_alarm_ends_after_the_shops_time(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Still so two hours later, and nobody has said anything more: it rings again."""
    desk = open_desk(replace(shop_of(step(0, "first", 900)), acknowledged_for_s=7200.0))

    desk.wrong("18:00:00")
    desk.acknowledge("18:05:00")
    desk.until("20:05:00")

    assert desk.messages == ["18:00:00 first raised", "20:05:00 first raised"]
    assert desk.alarm().state is State.UNACKNOWLEDGED


def test_acknowledging_again_begins_the_time_anew(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Whoever looks again need not be called; a promise is kept, were it longer."""
    desk = open_desk(replace(shop_of(step(0, "first", 900)), acknowledged_for_s=7200.0))

    desk.wrong("18:00:00")
    desk.acknowledge("18:05:00")
    desk.acknowledge("19:00:00")
    desk.until("20:59:59")
    assert desk.messages == ["18:00:00 first raised"]

    desk.acknowledge("20:59:59", back_within_s=3 * 3600)
    desk.until("23:59:58")
    assert desk.messages == ["18:00:00 first raised"]


def test_lesser_alarm_that_was_acknowledged_stays_so(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """A battery that somebody will see to tomorrow calls nobody every four hours."""
    desk = open_desk(shop_of(step(0, "first", 900)))

    desk.wrong("10:00:00", "case-1", Rule.BATTERY)
    desk.acknowledge("10:05:00", "case-1", Rule.BATTERY)
    desk.until("23:00:00")

    assert desk.messages == ["10:00:00 first raised"]


def test_alarm_that_says_no_more_by_itself_is_told_anew_when_it_gets_worse(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Without repeats it would have been one message for a whole night."""
    desk = open_desk(shop_of(step(0, "first")))

    desk.wrong("18:00:00", severity=0)
    desk.wrong("19:00:00", severity=1)
    desk.until("22:00:00")

    assert desk.messages == ["18:00:00 first raised", "19:00:00 first raised"]


# --- who came later -----------------------------------------------------------------------


def with_contacts(desk: Any, shop: Shop, *changed: str, at: str) -> list[str]:
    """Go on with another shop, as after a reload; return who is told of what stands."""
    desk.engine = Engine(shop)
    desk.state = from_json(to_json(desk.state))
    before = len(desk.messages)
    desk._do(desk.engine.catch_up(desk.state, [ContactId(one) for one in changed], desk.at(at)))
    told: list[str] = desk.messages[before:]
    return told


def test_contact_who_replaces_another_hears_of_what_stands(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Acknowledged or not; and of its end like everybody who was told."""
    desk = open_desk(shop_of(step(0, "first")))
    desk.wrong("18:00:00", "case-1")
    desk.wrong("18:00:00", "case-2")
    desk.acknowledge("18:05:00", "case-1")

    told = with_contacts(desk, shop_of(step(0, "other")), at="18:10:00")
    assert told == ["18:10:00 other raised", "18:10:00 other raised"]
    assert with_contacts(desk, shop_of(step(0, "other")), at="18:11:00") == []
    desk.right("18:20:00", "case-1")
    assert "18:20:00 other returned" in desk.messages


def test_contact_with_a_new_address_hears_of_what_stands(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """The words went to a telephone that nobody has any more."""
    shop = shop_of(step(0, "first"))
    desk = open_desk(shop)
    desk.wrong("18:00:00")

    assert with_contacts(desk, shop, "first", at="18:10:00") == ["18:10:00 first raised"]
    tokens = [send.token for send in desk.sent]
    assert len(set(tokens)) == 2


def test_contact_who_was_gone_and_comes_back_hears_of_what_stands(
    open_desk: Make, shop_of: Make, step: Make
) -> None:
    """Much may have happened meanwhile, and the address may be another one."""
    desk = open_desk(shop_of(step(0, "first")))
    desk.wrong("18:00:00")
    with_contacts(desk, shop_of(step(0, "other")), at="18:10:00")

    told = with_contacts(desk, shop_of(step(0, "first")), at="21:00:00")

    assert told == ["21:00:00 first raised"]


def test_nobody_is_told_of_what_was_not_told(
    open_desk: Make, shop_of: Make, step: Make, night_of: Make
) -> None:
    """What the night kept back, what is put aside, and whose turn has not come."""
    desk = open_desk(shop_of(step(0, "first"), step(3600, "owner"), night=night_of()))
    desk.wrong("2026-03-03T04:00:00", rule=Rule.OPERATING_LIMIT, priority=Priority.LOW)
    desk.wrong("2026-03-03T04:00:00", "case-2")

    shop = shop_of(step(0, "other"), step(3600, "owner"), night=night_of())
    told = with_contacts(desk, shop, at="2026-03-03T04:10:00")

    assert told == ["03 04:10:00 other raised"]


def test_restart_tells_nobody_again(open_desk: Make, shop_of: Make, step: Make) -> None:
    """Who was told already knows."""
    shop = shop_of(step(0, "first"), step(600, "owner"))
    desk = open_desk(shop)
    desk.wrong("18:00:00")
    desk.until("18:30:00")

    assert with_contacts(desk, shop, at="18:31:00") == []
