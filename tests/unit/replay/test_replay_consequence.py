"""Acknowledged is not forgotten: worse fish, or a promise not kept, calls again."""

from typing import Any

from handmade import ONE_CONTACT, Paper, probe, shop, unit

MINUTE_S = 60.0


def told(ledger: dict[str, Any]) -> list[str]:
    """Return the messages about alarms: time of day and what about."""
    return [f"{m['at'][11:16]} {m['about']}" for m in ledger["messages"] if m["about"] != "summary"]


def rising(to_c: float) -> Paper:
    """A product that is at 2 °C, rises by 1 °C in ten minutes to a temperature, and stays."""
    rise_s = (to_c - 2.0) * 600.0
    points = [(0.0, 2.0), (600.0, 2.0), (600.0 + rise_s, to_c), (10_800.0, to_c)]
    return Paper().curve(points, "fish", every_s=60.0)


CASE = (unit(on_delay_s=300), probe("fish", measures="product"))


def test_fish_past_a_further_line_opens_an_acknowledged_alarm() -> None:
    """Acknowledged at 7 °C; at 10 °C it is another matter, and the phone rings again."""
    paper = rising(12.0).do(50 * MINUTE_S, "acknowledge", unit="case-1", rule="holding")
    ledger = paper.ledger(shop(*CASE, ONE_CONTACT))

    (alarm,) = ledger["alarms"]
    assert told(ledger)[:3] == ["12:45 raised", "13:31 raised", "13:46 repeat"]
    assert alarm["acknowledged"] == "2026-03-02T12:50:00Z"  # that it was seen stays true


def test_fish_that_stays_within_the_lines_leaves_an_acknowledged_alarm_alone() -> None:
    """Somebody is on it; half a degree more is no news."""
    paper = rising(9.5).do(50 * MINUTE_S, "acknowledge", unit="case-1", rule="holding")

    assert told(paper.ledger(shop(*CASE, ONE_CONTACT))) == ["12:45 raised"]


def test_promise_not_kept_opens_the_alarm_again() -> None:
    """Back within half an hour, they said: if it is still so then, it rings."""
    paper = rising(9.0).do(
        50 * MINUTE_S, "acknowledge", unit="case-1", rule="holding", back_within_min=30
    )
    ledger = paper.ledger(shop(*CASE, ONE_CONTACT))

    assert told(ledger)[:3] == ["12:45 raised", "13:20 raised", "13:35 repeat"]


def test_acknowledgement_of_an_alarm_that_is_over_leaves_its_successor_alone() -> None:
    """A link in an old message must not silence what its reader has not seen."""
    paper = rising(9.0).do(
        50 * MINUTE_S, "acknowledge", unit="case-1", rule="holding", alarm="case-1:holding:1"
    )
    ledger = paper.ledger(shop(*CASE, ONE_CONTACT))

    (alarm,) = ledger["alarms"]
    assert alarm["acknowledged"] is None
    assert told(ledger)[:2] == ["12:45 raised", "13:00 repeat"]


DOORS = (
    unit(on_delay_s=300),
    probe("fish", measures="product"),
    probe("door", measures="door", every_s=None),
)


def door_open_beside(kilograms: float, at_stake: str) -> str:
    """Return the priority of a door alarm on a unit that holds some fish."""
    paper = rising(2.5).receive(60.0, kilograms=kilograms)
    paper.do(120.0, "move-lot", lot="L1", unit="case-1").say(900.0, 1, "door")
    ledger = paper.ledger(shop(*DOORS, ONE_CONTACT, at_stake))
    return str(next(a["priority"] for a in ledger["alarms"] if a["rule"] == "door"))


def test_lesser_alarm_is_more_urgent_where_the_shop_said_from_how_much_fish_on() -> None:
    """Sixty kilograms behind an open door, in a shop that wants to know from fifty on."""
    stakes = "\n[at_stake]\nkilograms = 50\n"

    assert door_open_beside(60.0, stakes) == "medium"
    assert door_open_beside(40.0, stakes) == "low"
    assert door_open_beside(60.0, "") == "low"


def test_lesser_alarm_is_more_urgent_beside_a_hold_that_has_come_far() -> None:
    """Hour 2 of a hold is not yet hour 1.5's business in this shop; later it is."""
    tables = (
        unit("freezer-1", kind="freezer"),
        probe("fish", "freezer-1", measures="product"),
        probe("door", "freezer-1", measures="door", every_s=None),
        ONE_CONTACT,
        "\n[at_stake]\nhold_h = 1.5\n",
    )
    paper = Paper().curve([(0.0, -25.0), (10_800.0, -25.0)], "fish", every_s=60.0)
    paper.receive(60.0).freeze(120.0, "20C-168h").say(1800.0, 1, "door").say(2700.0, 0, "door")
    paper.say(9000.0, 1, "door")
    doors = [a["priority"] for a in paper.ledger(shop(*tables))["alarms"] if a["rule"] == "door"]

    assert doors == ["low", "medium"]


def test_morning_asks_about_what_is_still_out_of_service() -> None:
    """Taken out for cleaning, and forgotten: every morning asks."""
    paper = Paper().curve([(0.0, 2.0), (2400.0, 2.0)], "fish", every_s=60.0)
    paper.do(60.0, "out-of-service", unit="case-1")
    (morning,) = paper.replay(shop(*CASE, ONE_CONTACT)).mornings.values()
    said = " ".join(morning.text.split())

    assert "case-1 is still out of service, since Mon 2 March 06:01 CST, and wakes nobody" in said
