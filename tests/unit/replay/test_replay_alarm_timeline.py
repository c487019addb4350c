"""Who is told what and when, on traces written by hand."""

from typing import Any

import pytest

from handmade import NIGHT, ONE_CONTACT, TWO_STEPS, Paper, ms, probe, shop, timed_probe, unit
from rimewatch.report.ledger_json import ledger_document

DAY = "2026-03-02T15:00:00Z"
"""Nine in the morning in Chicago."""
MIDNIGHT = "2026-03-02T06:00:00Z"
"""Midnight in Chicago."""
DELAYED = shop(unit(on_delay_s=900), probe(), TWO_STEPS, NIGHT)


def alarms(ledger: dict[str, Any], *keys: str) -> list[tuple[Any, ...]]:
    """Return some keys of each alarm."""
    return [tuple(alarm[key] for key in keys) for alarm in ledger["alarms"]]


def messages(ledger: dict[str, Any], rule: str | None = "holding") -> list[tuple[str, str, str]]:
    """Return instant, contact and occasion of each message of a rule."""
    return [(m["at"], m["contact"], m["about"]) for m in ledger["messages"] if m["rule"] == rule]


def warm(paper: Paper, minutes: int, celsius: float = 6.0, first: int = 0) -> Paper:
    """Have the air be warm for some minutes, a reading each."""
    for minute in range(first, minutes + 1):
        paper.say(60 * minute, str(celsius))
    return paper


# --- raising --------------------------------------------------------------------------------


@pytest.mark.parametrize(("last_s", "count"), [(899, 0), (900, 1)])
def test_alarm_is_raised_once_the_excursion_has_lasted_the_on_delay(
    last_s: int, count: int
) -> None:
    """Warm from the first reading on: 899 s are too short, 900 s are not."""
    paper = warm(Paper(DAY), 14).say(last_s, "6.0")

    ledger = paper.ledger(DELAYED)

    assert (
        alarms(ledger, "rule", "priority", "raised", "since")
        == [("holding", "high", paper.iso(900), paper.iso(0))] * count
    )
    assert ledger["units"]["case-1"]["excursions"][0]["alarmed"] is bool(count)


def test_alarm_counts_its_on_delay_from_the_crossing() -> None:
    """2 → 8 °C passes 5 °C at 30 s: the delay of 900 s is over at 930 s, seen at 960 s."""
    paper = Paper(DAY).say(0, "2.0")
    for minute in range(1, 17):
        paper.say(60 * minute, "8.0")

    assert alarms(paper.ledger(DELAYED), "raised", "since") == [(paper.iso(960), paper.iso(30))]


def test_alarm_does_not_count_a_gap_into_the_on_delay() -> None:
    """600 s before ten silent minutes, 300 s after them: due at 1500 s, not at 900 s."""
    paper = warm(Paper(DAY), 10)
    for minute in range(20, 26):
        paper.say(60 * minute, "6.0")

    assert alarms(paper.ledger(DELAYED), "rule", "raised") == [
        ("stale", paper.iso(600 + 180)),
        ("holding", paper.iso(1500)),
    ]


def test_alarm_of_an_excursion_shorter_than_the_delay_is_never_raised() -> None:
    """Ten warm minutes are recorded, and nobody is called."""
    paper = warm(Paper(DAY), 10).say(660, "2.0").say(720, "2.0")

    ledger = paper.ledger(DELAYED)

    assert (ledger["alarms"], ledger["messages"]) == ([], [])
    (found,) = ledger["units"]["case-1"]["excursions"]
    assert found["alarmed"] is False


# --- escalation -----------------------------------------------------------------------------


def test_escalation_repeats_and_goes_on_until_the_fish_is_cold_again() -> None:
    """Raised at 900 s; the first again every 900 s, the second 1800 s after raising."""
    paper = warm(Paper(DAY), 60).say(3660, "2.0").say(3720, "2.0")

    ledger = paper.ledger(DELAYED)

    assert messages(ledger) == [
        (paper.iso(900), "first", "raised"),
        (paper.iso(1800), "first", "repeat"),
        (paper.iso(2700), "second", "escalated"),
        (paper.iso(2700), "first", "repeat"),
        (paper.iso(3600), "first", "repeat"),
        (paper.iso(3660), "first", "returned"),
        (paper.iso(3660), "second", "returned"),
    ]
    assert alarms(ledger, "raised", "acknowledged", "returned", "woke") == [
        (paper.iso(900), None, paper.iso(3660), False)
    ]


def test_acknowledgement_stops_steps_and_repeats_and_the_return_is_told_once() -> None:
    """Acknowledged at 2000 s: neither the repeat nor the owner at 2700 s."""
    paper = warm(Paper(DAY), 60).say(3660, "2.0")
    paper.do(2000, "acknowledge", unit="case-1", rule="holding")
    for minute in range(62, 70):
        paper.say(60 * minute, "2.0")

    ledger = paper.ledger(DELAYED)

    assert messages(ledger) == [
        (paper.iso(900), "first", "raised"),
        (paper.iso(1800), "first", "repeat"),
        (paper.iso(3660), "first", "returned"),
    ]
    assert alarms(ledger, "acknowledged", "returned") == [(paper.iso(2000), paper.iso(3660))]


def test_acknowledgement_of_nothing_changes_nothing() -> None:
    """An early press does not silence a later alarm."""
    paper = warm(Paper(DAY), 20).do(30, "acknowledge", unit="case-1", rule="holding")

    ledger = paper.ledger(DELAYED)

    assert alarms(ledger, "acknowledged") == [(None,)]
    assert messages(ledger)[0] == (paper.iso(900), "first", "raised")


def test_second_excursion_raises_an_alarm_of_its_own() -> None:
    """Returned and warm again: two alarms, two excursions."""
    paper = warm(Paper(DAY), 20).say(1260, "2.0").say(1320, "2.0")
    warm(paper, 40, first=23)

    ledger = paper.ledger(DELAYED)

    # 2 → 6 °C between 1320 s and 1380 s passes 5 °C at 1365 s; 1365 + 900 = 2265, seen at 2280.
    assert alarms(ledger, "raised", "returned") == [
        (paper.iso(900), paper.iso(1260)),
        (paper.iso(2280), None),
    ]
    assert [e["alarmed"] for e in ledger["units"]["case-1"]["excursions"]] == [True, True]


# --- the night ------------------------------------------------------------------------------


def test_high_alarm_wakes_at_night() -> None:
    """Fish at risk at midnight: the phone rings."""
    paper = warm(Paper(MIDNIGHT), 20)

    ledger = paper.ledger(DELAYED)

    assert messages(ledger) == [(paper.iso(900), "first", "raised")]
    assert alarms(ledger, "woke") == [(True,)]


def test_medium_alarm_at_night_waits_for_the_morning_summary() -> None:
    """A silent probe at midnight is recorded, sounds for nobody, and is told in the morning.

    06:30 is 23 400 s after midnight.
    """
    paper = Paper(MIDNIGHT).say(0, "2.0").say(60, "2.0").say(23_500, "2.0")

    ledger = paper.ledger(DELAYED)

    assert alarms(ledger, "rule", "priority", "raised", "woke") == [
        ("stale", "medium", paper.iso(60 + 180), False)
    ]
    assert [
        (m["at"], m["contact"], m["unit"], m["rule"], m["about"]) for m in ledger["messages"]
    ] == [(paper.iso(23_400), "first", None, None, "summary")]


def test_medium_alarm_by_day_is_sent_and_wakes_nobody() -> None:
    """The same silence at nine in the morning."""
    paper = Paper(DAY).say(0, "2.0").say(600, "2.0")

    ledger = paper.ledger(DELAYED)

    assert messages(ledger, "stale") == [
        (paper.iso(180), "first", "raised"),
        (paper.iso(600), "first", "returned"),
    ]
    assert alarms(ledger, "woke") == [(False,)]


@pytest.mark.parametrize(
    ("start", "woke"),
    # Night from 21:00 to 06:00: its start is inside, its end is not.
    [
        ("2026-03-03T02:56:59Z", False),
        ("2026-03-03T02:57:00Z", True),
        ("2026-03-03T11:56:59Z", True),
        ("2026-03-03T11:57:00Z", False),
    ],
)
def test_night_begins_and_ends_to_the_second(start: str, woke: bool) -> None:
    """A stale alarm 180 s after the last reading, where medium may wake."""
    wakeful = shop(unit(), probe(), ONE_CONTACT, NIGHT.replace('"high"', '"high", "medium"'))
    paper = Paper(start).say(0, "2.0").say(200, "2.0")

    assert alarms(paper.ledger(wakeful), "woke") == [(woke,)]


# --- rules over single probes ---------------------------------------------------------------


@pytest.mark.parametrize(("back_s", "count"), [(180, 0), (181, 1)])
def test_stale_alarm_is_raised_at_the_last_reading_plus_the_stale_time(
    back_s: int, count: int
) -> None:
    """Whoever speaks at the last moment is not silent."""
    paper = Paper(DAY).say(0, "2.0").say(back_s, "2.0")

    found = alarms(paper.ledger(shop(unit(), probe())), "rule", "raised", "returned", "since")

    assert found == [("stale", paper.iso(180), paper.iso(181), paper.iso(0))] * count


def test_stale_alarm_comes_for_a_probe_that_never_spoke() -> None:
    """Counted from the beginning of watching."""
    two = shop(unit(), unit("case-2"), probe(), probe("other", "case-2"))
    paper = Paper(DAY).curve([(0, 2.0), (300, 2.0)], every_s=60)

    assert alarms(paper.ledger(two), "unit", "rule", "raised") == [
        ("case-2", "stale", paper.iso(180))
    ]


def test_stale_alarm_comes_without_any_further_message() -> None:
    """Another unit's message shows what time it is; the end of the trace does as well."""
    two = shop(unit(), unit("case-2"), probe(), probe("other", "case-2", every_s=3600))
    paper = Paper(DAY).say(0, "2.0").say(0, "2.0", "other").say(180, "2.0", "other")

    assert alarms(paper.ledger(two), "unit", "raised") == [("case-1", paper.iso(180))]


@pytest.mark.parametrize(("shut_s", "count"), [(299, 0), (300, 0), (301, 1)])
def test_door_alarm_is_raised_after_the_time_a_door_may_stand_open(shut_s: int, count: int) -> None:
    """Open at 10 s, five minutes allowed."""
    doored = shop(unit(), probe(), probe("door", measures="door"))
    paper = Paper(DAY).curve([(0, 2.0), (600, 2.0)], every_s=60)
    paper.say(10, "open", "door").say(10 + shut_s, "closed", "door")

    ledger = paper.ledger(doored)

    assert (
        alarms(ledger, "rule", "priority", "raised", "returned")
        == [("door", "low", paper.iso(310), paper.iso(10 + shut_s))] * count
    )
    assert ledger["units"]["case-1"]["doors"]["open_s"] == shut_s


@pytest.mark.parametrize("word", ["1", "true", "open"])
def test_door_speaks_of_open_in_several_words(word: str) -> None:
    """A reading of 1, true or "open" is open."""
    doored = shop(unit(), probe(), probe("door", measures="door"))
    paper = Paper(DAY).say(0, "2.0").say(0, word, "door").say(100, "0", "door").say(100, "2.0")

    assert paper.ledger(doored)["units"]["case-1"]["doors"]["open_s"] == 100.0


def test_water_alarm_comes_at_once() -> None:
    """Water may not stand at all."""
    wet = shop(unit(), probe(), probe("floor", measures="water"))
    paper = Paper(DAY).say(0, "2.0").say(30, "wet", "floor").say(60, "2.0")

    assert alarms(paper.ledger(wet), "rule", "raised") == [("water", paper.iso(30))]


def test_humidity_alarm_comes_after_half_an_hour_and_goes_when_the_air_is_dry() -> None:
    """Only where a line was given; a probe without one is kept and not judged."""
    damp = probe("damp", measures="humidity", humidity_high_percent=85)
    shops = {
        True: shop(unit(), probe(), damp),
        False: shop(unit(), probe(), probe("damp", measures="humidity")),
    }
    paper = Paper(DAY)
    for at_s in range(0, 3600, 60):
        paper.say(at_s, "2.0").say(at_s, "90" if at_s < 2400 else "80", "damp")

    told = {asked: alarms(paper.ledger(own), "rule", "raised") for asked, own in shops.items()}

    assert told == {True: [("humidity", paper.iso(1800))], False: []}


def test_battery_alarm_comes_at_its_line_and_goes_with_a_new_battery() -> None:
    """15 % is low; a little warmth (16 %) does not make it full, a new battery does."""
    powered = shop(unit(), timed_probe())
    paper = Paper(DAY)
    for at_s, percent in [(0, 16), (60, 15), (120, 16), (180, 100)]:
        paper.dated(at_s, at_s, 2.0, bat=percent)

    ledger = paper.ledger(powered)

    assert alarms(ledger, "rule", "priority", "raised", "returned") == [
        ("battery", "low", paper.iso(60), paper.iso(180))
    ]
    assert ledger["probes"]["air"]["battery"] == 100


# --- silence --------------------------------------------------------------------------------


def test_shelved_alarm_enters_the_record_when_the_shelf_ends_if_it_is_still_so() -> None:
    """Shelved for 30 min before it comes: raised at the end of the shelf, not before."""
    paper = warm(Paper(DAY), 40).do(60, "shelve", unit="case-1", rule="holding", minutes=30)

    ledger = paper.ledger(DELAYED)

    assert alarms(ledger, "rule", "raised") == [("holding", paper.iso(60 + 1800))]
    assert messages(ledger) == [(paper.iso(1860), "first", "raised")]


def test_shelf_that_is_ended_early_tells_what_is_still_so_at_once() -> None:
    """Shelved for two hours, taken from the shelf after 27 min: told then, once."""
    paper = warm(Paper(DAY), 40).do(60, "shelve", unit="case-1", rule="holding", minutes=120)
    paper.do(1620, "unshelve", unit="case-1", rule="holding")

    ledger = paper.ledger(DELAYED)

    assert alarms(ledger, "rule", "raised") == [("holding", paper.iso(1620))]
    assert messages(ledger) == [(paper.iso(1620), "first", "raised")]


def test_shelved_alarm_that_is_over_before_the_shelf_ends_is_never_raised() -> None:
    """Nobody is told of it; the excursion is on the record."""
    paper = warm(Paper(DAY), 20).do(60, "shelve", unit="case-1", rule="holding", minutes=30)
    for minute in range(21, 40):
        paper.say(60 * minute, "2.0")

    ledger = paper.ledger(DELAYED)

    assert (ledger["alarms"], ledger["messages"]) == ([], [])
    assert [e["alarmed"] for e in ledger["units"]["case-1"]["excursions"]] == [False]


def test_out_of_service_unit_keeps_its_record_and_raises_nothing() -> None:
    """Cleaning day: excursions and statistics go on, nobody is called."""
    paper = warm(Paper(DAY), 40).do(0, "out-of-service", unit="case-1").say(4000, "6.0")

    ledger = paper.ledger(DELAYED)

    assert (ledger["alarms"], ledger["messages"]) == ([], [])
    record = ledger["units"]["case-1"]
    assert (record["above_limit_s"], record["missing_s"]) == (2400.0, 1600.0)
    assert [e["start"] for e in record["excursions"]] == [paper.iso(0)]


def test_unit_back_in_service_raises_what_is_still_wrong() -> None:
    """Warm since 0 s, back in service at 2000 s."""
    paper = warm(Paper(DAY), 40).do(0, "out-of-service", unit="case-1")
    paper.do(2000, "in-service", unit="case-1")

    assert alarms(paper.ledger(DELAYED), "rule", "raised", "since") == [
        ("holding", paper.iso(2000), paper.iso(0))
    ]


# --- the summary ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "due"),
    [
        # Chicago: CST (UTC−6) until 8 March 2026, CDT (UTC−5) until 1 November 2026.
        ("2026-03-08T04:00:00Z", "2026-03-08T11:30:00Z"),  # the night the clocks go forward
        ("2026-03-07T06:00:00Z", "2026-03-07T12:30:00Z"),
        ("2026-11-01T04:00:00Z", "2026-11-01T12:30:00Z"),  # the night they go back
        ("2026-10-31T05:00:00Z", "2026-10-31T11:30:00Z"),
    ],
)
def test_summary_comes_at_half_past_six_local_time(start: str, due: str) -> None:
    """Also on the days of both clock changes."""
    paper = Paper(start).curve([(0, 2.0), (12 * 3600, 2.0)], every_s=3600)

    replayed = paper.replay(shop(unit(), probe(every_s=3600), ONE_CONTACT))

    assert [m["at"] for m in ledger_document(replayed.ledger)["messages"]] == [due]
    assert [day.isoformat() for day in replayed.mornings] == [due[:10]]


def test_summaries_of_two_local_days_over_the_spring_change_are_23_hours_apart() -> None:
    """One each local day, none doubled, none left out."""
    paper = Paper("2026-03-07T12:00:00Z").curve([(0, 2.0), (3 * 86_400, 2.0)], every_s=3600)

    replayed = paper.replay(shop(unit(), probe(every_s=3600), ONE_CONTACT))

    assert [m["at"] for m in ledger_document(replayed.ledger)["messages"]] == [
        "2026-03-07T12:30:00Z",
        "2026-03-08T11:30:00Z",
        "2026-03-09T11:30:00Z",
        "2026-03-10T11:30:00Z",
    ]
    assert len(replayed.mornings) == 4


@pytest.mark.parametrize(("last_s", "count"), [(1799, 0), (1800, 1)])
def test_summary_at_the_very_end_of_a_trace_belongs_to_it(last_s: int, count: int) -> None:
    """06:30 is 1800 s after the trace's start."""
    paper = Paper().say(0, "2.0").say(last_s, "2.0")

    replayed = paper.replay(shop(unit(), probe(every_s=3600), ONE_CONTACT))

    assert len(replayed.mornings) == count
    assert len(ledger_document(replayed.ledger)["messages"]) == count


def test_summary_goes_to_the_contacts_of_the_first_step_alone() -> None:
    """The owner sleeps on."""
    paper = Paper().say(0, "2.0").say(1801, "2.0")

    assert paper.ledger(shop(unit(), probe(every_s=3600), TWO_STEPS))["messages"] == [
        {"at": paper.iso(1800), "contact": "first", "unit": None, "rule": None, "about": "summary"}
    ]


# --- late readings --------------------------------------------------------------------------


def test_excursion_in_a_backlog_is_in_the_record_as_if_it_had_come_in_time() -> None:
    """The probe was off-line for an hour and then sends what it had kept."""
    dated = shop(unit(on_delay_s=900), timed_probe(), TWO_STEPS)
    points = [(60.0 * n, 6.0 if 10 <= n < 40 else 2.0) for n in range(61)]
    in_time, late = Paper(DAY), Paper(DAY)
    for taken_s, celsius in points:
        in_time.dated(taken_s, taken_s, celsius)
        late.dated(taken_s if taken_s <= 300 else 3600 + taken_s / 100, taken_s, celsius)

    there, here = late.ledger(dated), in_time.ledger(dated)

    mine, its = there["units"]["case-1"], here["units"]["case-1"]
    for found in (mine, its):
        for spell in found["excursions"]:
            del spell["alarmed"], spell["found_late"]
    assert mine == its
    assert len(mine["excursions"]) == 1


def test_backlog_does_not_raise_a_holding_alarm_earlier_than_it_arrived() -> None:
    """Nobody can be called about what nobody knows."""
    dated = shop(unit(on_delay_s=900), timed_probe(), ONE_CONTACT)
    paper = Paper(DAY).dated(0, 0, 2.0)
    for n in range(1, 61):
        paper.dated(3600 + n / 100, 60 * n, 6.0)
    paper.dated(3660, 3660, 6.0)

    ledger = paper.ledger(dated)

    (raised,) = [a["raised"] for a in ledger["alarms"] if a["rule"] == "holding"]
    assert paper.at_ms(3600) <= ms(raised) <= paper.at_ms(3660)
