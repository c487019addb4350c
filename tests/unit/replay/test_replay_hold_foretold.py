"""A freezing hold that is about to be lost is foretold while it can still be saved."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest
from watched import Watched

from handmade import ONE_CONTACT, Paper, probe, shop, unit
from rimewatch.shop import Shop
from rimewatch.vocabulary import About, Priority, Rule

START = "2026-02-02T15:00:00Z"
H = 3600.0
FAILS_AT_S = 40 * H
EVERY_S = 120.0
UNCERTAINTY_C = 0.3


def freezer_shop(*, limit_c: float = -18.0, uncertainty_c: float = UNCERTAINTY_C) -> Shop:
    """Return a shop with one freezer whose fish is an hour behind its air."""
    return shop(
        unit("freezer-1", "freezer", lag_s=3600, limit_c=limit_c),
        probe("air", "freezer-1", every_s=EVERY_S, uncertainty_c=uncertainty_c),
        ONE_CONTACT,
    )


def sound_c(at_s: float) -> float:
    """Return the air of a freezer whose compressor comes and goes."""
    return -23.0 + 0.7 * math.sin(2 * math.pi * at_s / 1200.0)


def failed_c(at_s: float) -> float:
    """Return the air of a freezer whose compressor fails: towards a room of 18 °C, slowly."""
    if at_s < FAILS_AT_S:
        return sound_c(at_s)
    return 18.0 - 41.0 * math.exp(-(at_s - FAILS_AT_S) / (9 * H))


def mended_c(at_s: float) -> float:
    """Return the same air, cold again after two hours."""
    out_s = at_s - FAILS_AT_S - 2 * H
    return (
        failed_c(at_s)
        if out_s < 0
        else -23.0 + (failed_c(FAILS_AT_S + 2 * H) + 23.0) * (math.exp(-out_s / 900.0))
    )


def saved_c(at_s: float) -> float:
    """Return the same air, cold again an hour after its failure: before the hold is lost."""
    out_s = at_s - FAILS_AT_S - 1.1 * H
    return (
        failed_c(at_s)
        if out_s < 0
        else -23.0 + (failed_c(FAILS_AT_S + 1.1 * H) + 23.0) * (math.exp(-out_s / 900.0))
    )


def defrosted_c(at_s: float) -> float:
    """Return the air of a freezer that defrosts for 22 minutes every eight hours."""
    into_s = at_s % (8 * H) - 4 * H
    if 0 <= into_s < 1320:
        return -23.0 + 8.0 * into_s / 1320
    if 1320 <= into_s < 4 * H:
        return sound_c(at_s) + 8.0 * math.exp(-(into_s - 1320) / 400.0)
    return sound_c(at_s)


def hours_of(
    air_c: Callable[[float], float], hours: float, option: str | None = "20C-168h"
) -> Paper:
    """Return a trace of a freezer with a lot put to freeze at its start; None: no lot."""
    paper = Paper(START)
    if option is not None:
        paper.receive(0, "L-3", kilograms=40).freeze(1, option, lot="L-3")
    at_s = 0.0
    while at_s <= hours * H:
        paper.say(at_s, round(air_c(at_s), 3))
        at_s += EVERY_S
    return paper


def test_freezer_that_fails_foretells_the_loss_of_its_hold_in_time() -> None:
    """Somebody who comes within the time it names saves forty hours of cold."""
    seen = Watched(hours_of(failed_c, 42.0), freezer_shop())
    (foretold,) = seen.of(Rule.PROJECTION)
    (lost,) = seen.of(Rule.HOLD_AT_RISK)
    fact = foretold.condition
    ahead_s = (lost.at_ms - foretold.at_ms) / 1000.0
    (broken,) = seen.hold().interruptions

    assert ahead_s > 20 * 60
    assert fact.time_left_s == pytest.approx(ahead_s, rel=0.25)
    assert foretold.priority is Priority.HIGH
    assert fact.limit_c == -20.0
    assert fact.lots == ("L-3",)
    assert fact.held_h == pytest.approx(broken.lost_h - ahead_s / H, abs=0.1)
    assert fact.needed_h == 168.0


def test_message_says_what_is_lost_when_and_how_much_of_it() -> None:
    """In the first hundred characters: which unit, how long is left, what to do."""
    seen = Watched(hours_of(failed_c, 41.5), freezer_shop())
    said = seen.words(seen.of(Rule.PROJECTION)[0])
    assert said.title.startswith("freezer-1: 40.")
    assert " h hold lost in " in said.title
    assert " lost in about " in said.body[:100]
    assert "Lots in the hold: L-3 (not proven). It had 40." in said.body


def test_hold_that_was_foretold_and_is_lost_is_told_by_one_alarm() -> None:
    """Two alarms that ring in turn for one compressor get both switched off."""
    seen = Watched(hours_of(failed_c, 44.0), freezer_shop())
    (lost,) = seen.of(Rule.HOLD_AT_RISK)
    later = [d for d in seen.due if d.at_ms > lost.at_ms]

    assert not [d for d in later if d.key.rule is Rule.PROJECTION]
    assert seen.of(Rule.FREEZER), "the freezer's own limit is still told when it is passed"


def test_lost_hold_is_not_called_saved_when_the_cold_comes_back() -> None:
    """The all-clear says what it cost."""
    seen = Watched(hours_of(mended_c, 50.0), freezer_shop())
    (returned,) = seen.of(Rule.PROJECTION, About.RETURNED)
    said = seen.words(returned).body

    assert "cold again; its hold was lost" in said
    assert "counts from zero again" in said
    assert "no longer" not in said


def test_hold_that_was_saved_in_time_is_said_to_be_out_of_danger() -> None:
    """Whoever got up hears that it was worth it."""
    seen = Watched(hours_of(saved_c, 50.0), freezer_shop())
    (returned,) = seen.of(Rule.PROJECTION, About.RETURNED)

    assert not seen.of(Rule.HOLD_AT_RISK)
    assert not seen.hold().interruptions
    assert "no longer in danger" in seen.words(returned).body


def test_defrost_of_a_freezer_foretells_nothing() -> None:
    """An alarm at every defrost of a week would be switched off by the second."""
    seen = Watched(hours_of(defrosted_c, 60.0), freezer_shop())

    assert not seen.of(Rule.PROJECTION)
    assert seen.hold().credited_h > 50


@pytest.mark.parametrize(
    ("option", "limit_c", "line_c", "held"),
    [
        pytest.param("20C-168h", -18.0, -20.0, True, id="the hold's line comes first"),
        pytest.param("20C-168h", -21.5, -21.5, False, id="the unit's limit comes first"),
        pytest.param(None, -18.0, -18.0, False, id="no lot is in a hold"),
        pytest.param("20C-24h", -18.0, -18.0, False, id="the hold is complete"),
        pytest.param("35C-15h", -18.0, -18.0, False, id="its cold has never begun"),
    ],
)
def test_line_that_comes_first_is_the_one_that_is_foretold(
    option: str | None, limit_c: float, line_c: float, held: bool
) -> None:
    """One projection a unit, about what is lost first."""
    seen = Watched(hours_of(failed_c, 42.5, option), freezer_shop(limit_c=limit_c))
    first = seen.of(Rule.PROJECTION)[0].condition

    assert (first.limit_c, first.held_h is not None) == (line_c, held)
    assert len(seen.of(Rule.PROJECTION)) == 1


def test_doubt_of_the_probe_brings_the_line_nearer() -> None:
    """A hold is lost when reading and uncertainty together pass its temperature."""
    left_s = []
    for uncertainty_c in (0.0, 0.8):
        seen = Watched(hours_of(failed_c, 41.5), freezer_shop(uncertainty_c=uncertainty_c))
        left_s.append(seen.of(Rule.PROJECTION)[0].condition.time_left_s)

    assert None not in left_s
    assert (left_s[1] or 0.0) < (left_s[0] or 0.0) - 600


def test_hold_that_starts_again_is_told_with_how_warm_its_fish_was() -> None:
    """It never was too warm for storage: its peak and its time are those of the hold's own line."""

    def nudged_c(at_s: float) -> float:
        return -19.2 if 4 * H <= at_s < 5 * H else -26.0

    one = freezer_shop()
    behind = replace(one, units=(replace(one.units[0], lag_s=0.0),))
    seen = Watched(hours_of(nudged_c, 7.0), behind)
    (over,) = seen.of(Rule.HOLD_AT_RISK, About.RETURNED)

    assert "Peak −2.6 °F, 59 min warm" in seen.words(over).lead
