"""Power lost in the evening: who hears what until the morning, whatever else was done meanwhile.

Air follows Newton's law of cooling towards a room of 24 °C. Times are hours after 15:00 UTC,
09:00 in Chicago, unless a test says so.
"""

from collections.abc import Callable, Mapping
from math import exp
from typing import Any

import pytest

from handmade import NIGHT, ONE_CONTACT, Paper, ms, probe, shop, unit
from rimewatch.replay import Replayed
from rimewatch.report.ledger_json import ledger_document

H = 3600
OUT_H = 5
EVERY_S = 120
ROOM_C = 24.0
EVENING = "2026-02-02T22:00:00Z"
"""16:00 in Chicago; the power goes at 21:00."""

Air = Callable[[float], float]


def warming(cold_c: float, hours: float, out_h: float = OUT_H) -> Air:
    """Air that warms from when power went, with a time constant in hours."""
    return lambda h: ROOM_C - (ROOM_C - cold_c) * exp(-max(0.0, h - out_h) / hours)


def back_at(air: Air, back_h: float, cold_c: float, hours: float = 0.6) -> Air:
    """The same air, with the power back from an hour on."""
    return lambda h: (
        air(h) if h < back_h else cold_c + (air(back_h) - cold_c) * exp(-(h - back_h) / hours)
    )


def played(
    airs: Mapping[str, Air],
    to_h: float,
    *tables: str,
    edit: Callable[[Paper], object] = lambda _: None,
    kinds: Mapping[str, str] | None = None,
) -> Replayed:
    """Return what a replay makes of some units' air."""
    paper = Paper(EVENING)
    for at_s in range(0, round(to_h * H), EVERY_S):
        for n, (name, air) in enumerate(airs.items()):
            paper.say(at_s + n, round(air(at_s / H) + 0.05 * ((at_s // EVERY_S) % 3 - 1), 2), name)
    edit(paper)
    named = kinds or {}
    units = [unit(name, named.get(name, "display-case"), on_delay_s=900) for name in airs]
    probes = [probe(name, name, every_s=EVERY_S) for name in airs]
    return paper.replay(shop(*units, *probes, ONE_CONTACT, NIGHT, *tables))


def of(replayed: Replayed, table: str, unit_id: str | None, rule: str) -> list[dict[str, Any]]:
    """Return a ledger's alarms or messages of one unit and rule."""
    return [
        one
        for one in ledger_document(replayed.ledger)[table]
        if (one["unit"], one["rule"]) == (unit_id, rule)
    ]


def at_h(text: str) -> float:
    """Return an instant as hours after the trace began."""
    return (ms(text) - ms(EVENING)) / 1000 / H


TWO = {"case-1": warming(1.0, 5.0), "case-2": warming(1.5, 4.0)}


def test_power_that_is_gone_all_night_is_never_told_to_be_back() -> None:
    """After six hours out of its band the air is no more usual than before: it is 20 °C."""
    (alarm,) = of(played(TWO, OUT_H + 11), "alarms", None, "power-loss")

    assert alarm["returned"] is None
    assert alarm["woke"] is True


def test_power_alarm_that_was_acknowledged_rings_again_at_the_published_lines() -> None:
    """Acknowledged at 22:25; 10 °C and 21.1 °C (FDA Hazards guidance, 4th ed., appendix 4)."""
    replayed = played(
        TWO,
        OUT_H + 11,
        edit=lambda paper: paper.do(
            (OUT_H + 1.42) * H, "acknowledge", unit=None, rule="power-loss"
        ).do((OUT_H + 4) * H, "acknowledge", unit=None, rule="power-loss"),
    )
    raised = [
        at_h(m["at"])
        for m in of(replayed, "messages", None, "power-loss")
        if m["about"] == "raised"
    ]
    first, second, third = raised

    assert first < OUT_H + 1
    # The warmest of its units passes the line: from 1.5 °C in 4 h, towards 24 °C.
    assert TWO["case-2"](second) == pytest.approx(10.0, abs=0.3)
    assert TWO["case-2"](third) == pytest.approx(21.1, abs=0.3)


def test_power_alarm_over_frozen_stock_rings_again_at_its_lines() -> None:
    """−12, −5 and 0 °C, when it was acknowledged before each."""
    airs = {"freezer-1": warming(-22.0, 6.0), "freezer-2": warming(-24.0, 8.0)}

    def seen(paper: Paper) -> None:
        for hours in (1.0, 2.0, 3.2, 4.2):
            paper.do((OUT_H + hours) * H, "acknowledge", unit=None, rule="power-loss")

    replayed = played(
        airs, OUT_H + 4.5, edit=seen, kinds={"freezer-1": "freezer", "freezer-2": "freezer"}
    )
    again = [
        airs["freezer-1"](at_h(m["at"]))
        for m in of(replayed, "messages", None, "power-loss")
        if m["about"] == "raised"
    ][1:]

    assert again == pytest.approx([-12.0, -5.0, 0.0], abs=0.3)


def test_unit_whose_compressor_is_dead_speaks_when_its_neighbour_is_on_its_way_back() -> None:
    """Back after two hours: one of two cools, the other goes on warming."""
    airs = {
        "case-1": back_at(warming(1.0, 5.0), OUT_H + 2, 1.0),
        "case-2": warming(1.5, 4.0),
    }
    replayed = played(airs, OUT_H + 6)
    (power,) = of(replayed, "alarms", None, "power-loss")
    (own,) = of(replayed, "alarms", "case-2", "holding")

    assert OUT_H + 2 < at_h(power["returned"]) < OUT_H + 2.5
    assert at_h(power["returned"]) <= at_h(own["raised"]) < at_h(power["returned"]) + 0.25
    assert own["woke"] is True
    assert of(replayed, "alarms", "case-1", "holding") == []


def test_units_that_come_back_together_are_told_once() -> None:
    """A slower neighbour is on its way back as well: nobody is woken for it."""
    airs = {
        "case-1": back_at(warming(1.0, 5.0), OUT_H + 2, 1.0, 0.3),
        "case-2": back_at(warming(1.5, 4.0), OUT_H + 2, 1.5, 0.7),
    }
    replayed = played(airs, OUT_H + 6)

    assert [a["rule"] for a in ledger_document(replayed.ledger)["alarms"] if a["woke"]] == [
        "power-loss"
    ]


def test_shelved_power_alarm_silences_nobody_else() -> None:
    """Put aside for the whole night: each unit speaks for itself."""
    shelf = {"unit": None, "rule": "power-loss", "minutes": 900}
    replayed = played(TWO, OUT_H + 4, edit=lambda paper: paper.do(H, "shelve", **shelf))

    for name in TWO:
        (own,) = of(replayed, "alarms", name, "holding")
        assert own["woke"] is True


def test_power_alarm_put_aside_while_it_stands_lets_the_units_speak() -> None:
    """What it spoke for is told at once; when its shelf ends it speaks for them again."""
    shelf = {"unit": None, "rule": "power-loss", "minutes": 60}
    replayed = played(
        TWO, OUT_H + 6, edit=lambda paper: paper.do((OUT_H + 3) * H, "shelve", **shelf)
    )

    for name in TWO:
        (own,) = of(replayed, "alarms", name, "holding")
        assert at_h(own["raised"]) == pytest.approx(OUT_H + 3, abs=0.01)


def test_power_alarm_that_may_not_sound_at_night_silences_nobody_else() -> None:
    """A shop made it medium: the units' own alarms, which are high, wake."""
    replayed = played(TWO, OUT_H + 4, '[priorities]\npower-loss = "medium"\n')

    for name in TWO:
        (own,) = of(replayed, "alarms", name, "holding")
        assert own["woke"] is True
        (excursion,) = [
            e
            for e in ledger_document(replayed.ledger)["units"][name]["excursions"]
            if e["rule"] == "holding"
        ]
        assert excursion["alarmed"] is True


def test_excursion_too_short_for_its_own_alarm_is_not_alarmed_by_one_that_may_not_sound() -> None:
    """Above its limit for less than its on-delay; the power alarm was of no use to anybody."""
    airs = {
        "case-1": back_at(warming(1.0, 5.0), OUT_H + 1.12, 1.0, 0.2),
        "case-2": back_at(warming(1.0, 5.0), OUT_H + 1.12, 1.0, 0.2),
    }
    replayed = played(airs, OUT_H + 4, '[priorities]\npower-loss = "medium"\n')
    excursions = [
        e for name in airs for e in ledger_document(replayed.ledger)["units"][name]["excursions"]
    ]

    assert excursions
    assert not any(e["alarmed"] for e in excursions)


def test_power_that_goes_again_while_units_recover_is_heard_of() -> None:
    """Back for a quarter of an hour, then gone for the night."""

    def twice(cold_c: float, hours: float) -> Air:
        first = back_at(warming(cold_c, hours), OUT_H + 3, cold_c, 0.5)
        again_h = OUT_H + 3.4

        def air(h: float) -> float:
            if h < again_h:
                return first(h)
            return ROOM_C - (ROOM_C - first(again_h)) * exp(-(h - again_h) / hours)

        return air

    airs = {"case-1": twice(1.0, 5.0), "case-2": twice(1.5, 4.0)}
    replayed = played(airs, OUT_H + 6)
    told = [
        at_h(m["at"])
        for m in ledger_document(replayed.ledger)["messages"]
        if m["about"] == "raised" and at_h(m["at"]) > OUT_H + 3.4
    ]

    assert told
    assert min(told) < OUT_H + 4
