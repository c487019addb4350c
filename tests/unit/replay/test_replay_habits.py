"""Defrosts that nobody typed: the phone rings for none of them, but for what leaves them."""

from typing import Any

import numpy as np

from handmade import NIGHT, ONE_CONTACT, Paper, ms, probe, shop, unit

MINUTE_S = 60
EVERY_MIN = 8 * 60
FIRST_MIN = 120
DAYS = 3


def freezer_air(minutes: int, *, fails_in: int | None = None) -> list[float]:
    """Return a freezer's air at −23 °C, up by 13 °C in 34 minutes three times a day.

    Args:
        minutes: How many.
        fails_in: The number of the defrost after which nothing cools any more.
    """
    air_c = []
    for minute in range(minutes):
        number, since = divmod(minute - FIRST_MIN, EVERY_MIN)
        failed = fails_in is not None and number >= fails_in
        if failed and fails_in is not None:
            since = minute - FIRST_MIN - fails_in * EVERY_MIN
        up, down = min(since / 34.0, 1.0), min(max(since - 34.0, 0.0) / 30.0, 1.0)
        rise_c = 0.0 if number < 0 else 13.0 * (up if failed else up - down)
        air_c.append(round(-23.0 + 0.5 * float(np.sin(minute / 5.0)) + rise_c, 2))
    return air_c


def ledger_of(air_c: list[float], **keys: Any) -> dict[str, Any]:
    """Replay a freezer whose owner typed its kind and a lag of half an hour."""
    freezer = unit("freezer-1", "freezer", **{"lag_s": 1800, "on_delay_s": 900, **keys})
    of = shop(freezer, probe("air", "freezer-1"), ONE_CONTACT, NIGHT)
    paper = Paper()
    for minute, value in enumerate(air_c):
        paper.say(minute * MINUTE_S, value)
    return paper.ledger(of)


def defrost_of(ledger: dict[str, Any], at: str) -> int:
    """Return in which defrost an instant lies."""
    start_ms = ms(ledger["from"]) + FIRST_MIN * 60_000
    return (ms(at) - start_ms) // (EVERY_MIN * 60_000)


def test_a_defrost_that_goes_as_the_two_before_it_rings_no_phone() -> None:
    """Behind the lag the fish seems to pass −18 °C in each; on the third day nobody is told."""
    ledger = ledger_of(freezer_air(DAYS * 1440))
    excursions = ledger["units"]["freezer-1"]["excursions"]
    told = {defrost_of(ledger, alarm["raised"]) for alarm in ledger["alarms"]}

    assert len(excursions) == DAYS * 3
    assert told <= {0, 1}
    assert [e["alarmed"] for e in excursions[2:]] == [False] * (DAYS * 3 - 2)


def test_a_failure_that_begins_within_a_defrost_is_told_when_it_leaves_it() -> None:
    """Air that does not turn in the seventh defrost: told within a quarter of an hour of it."""
    air_c = freezer_air(FIRST_MIN + 7 * EVERY_MIN, fails_in=6)
    ledger = ledger_of(air_c)
    start_ms = ms(ledger["from"]) + (FIRST_MIN + 6 * EVERY_MIN) * 60_000
    raised = [ms(a["raised"]) for a in ledger["alarms"] if ms(a["raised"]) >= start_ms]

    assert raised
    assert 34 <= (min(raised) - start_ms) / 60_000 <= 34 * 1.25 + 15


def test_a_defrost_that_is_typed_explains_the_first_one_too() -> None:
    """The configuration is a prior: nothing need be learned for it."""
    # The trace begins at 06:00 in Chicago.
    windows = ["08:00/35m", "16:00/35m", "00:00/35m"]
    ledger = ledger_of(freezer_air(1440), defrost=windows)

    assert ledger["units"]["freezer-1"]["excursions"]
    assert not any(e["alarmed"] for e in ledger["units"]["freezer-1"]["excursions"])
    assert not ledger["alarms"]


def test_the_figures_of_the_ledger_do_not_depend_on_what_was_learned() -> None:
    """A day alone, and the same day after two others: the same excursions but for who was told."""
    air_c = freezer_air(3 * 1440)
    whole = ledger_of(air_c)["units"]["freezer-1"]["excursions"]
    first = ledger_of(air_c[: 2 * EVERY_MIN])["units"]["freezer-1"]["excursions"]

    assert [(e["start"], e["end"], e["peak_c"], e["above_s"]) for e in whole[: len(first)]] == [
        (e["start"], e["end"], e["peak_c"], e["above_s"]) for e in first
    ]
