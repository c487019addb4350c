"""Without power, what is lost first: the message names it, its line, and the time that is left."""

from functools import cache
from math import exp, log

import pytest
from watched import Watched

from handmade import ONE_CONTACT, Paper, probe, shop, unit
from rimewatch.alarms.effects import Send
from rimewatch.vocabulary import About, Rule

H = 3600
OUT_AT_H = 4
EVERY_S = 180


def warming_c(cold_c: float, hours: float, at_s: float) -> float:
    """Return air that warms towards a room of 20 °C from when power went, so slowly."""
    return 20.0 - (20.0 - cold_c) * exp(-max(0.0, at_s - OUT_AT_H * H) / (hours * H))


@cache
def night(*, with_hold: bool) -> Watched:
    """A case and a freezer without power for five hours."""
    units = [unit("case-1", lag_s=1200, name="Display case"), unit("freezer-1", "freezer")]
    probes = [
        probe("case", "case-1", every_s=EVERY_S),
        probe("cold", "freezer-1", "product", every_s=EVERY_S, uncertainty_c=0.3),
    ]
    paper = Paper("2026-02-02T15:00:00Z")
    if with_hold:
        paper.receive(0, "L-3").freeze(1, "20C-168h", lot="L-3")
    for at_s in range(0, (OUT_AT_H + 5) * H, EVERY_S):
        paper.say(at_s, round(warming_c(1.0, 6.0, at_s), 3), "case")
        paper.say(at_s, round(warming_c(-24.0, 9.0, at_s), 3), "cold")
    return Watched(paper, shop(*units, *probes, ONE_CONTACT))


def counting(seen: Watched) -> list[Send]:
    """Return the messages about the loss of power that say how long is left, in order."""
    told = seen.of(Rule.POWER_LOSS) + seen.of(Rule.POWER_LOSS, About.REPEAT)
    return [due for due in told if due.condition.time_left_s is not None]


def when_h(line_c: float, cold_c: float, hours: float) -> float:
    """Return when air that warms so passes a line, in hours after power went."""
    return hours * log((20.0 - cold_c) / (20.0 - line_c))


def test_power_loss_counts_down_to_the_hold_that_is_lost_first() -> None:
    """−20 °C less the guard band comes long before the freezer's −18 °C and the case's 5 °C."""
    seen = night(with_hold=True)
    first = counting(seen)[0]
    fact = first.condition
    assert fact.estimated_ms is not None
    assert fact.time_left_s is not None
    since_out_h = (fact.estimated_ms - seen.paper.at_ms(OUT_AT_H * H)) / 1000 / H

    assert (fact.first_unit, fact.limit_c, fact.needed_h) == ("freezer-1", -20.0, 168.0)
    assert fact.held_h == pytest.approx(OUT_AT_H + since_out_h, abs=EVERY_S / H + 0.01)
    left_h = when_h(-20.3, -24.0, 9.0) - since_out_h
    assert 0.5 * left_h * H < fact.time_left_s < 2.0 * left_h * H  # from ten readings
    assert "First to be lost: the hold of 4" in seen.words(first).body
    assert " h in freezer-1, in about " in seen.words(first).body


def test_power_loss_counts_down_to_the_next_line_once_one_is_passed() -> None:
    """Nobody is told of a time that is over, nor left without one."""
    counted = [
        (due.condition.first_unit, due.condition.limit_c) for due in counting(night(with_hold=True))
    ]
    in_order = list(dict.fromkeys(counted))

    assert in_order == [
        ("freezer-1", -20.0),  # its hold
        ("freezer-1", -18.0),  # its limit
        ("case-1", 5.0),
        ("freezer-1", -12.0),  # Directive 89/108/EEC, Article 5(2)
        ("case-1", 10.0),  # FDA Hazards guidance, 4th ed., appendix 4: 50 °F
        ("freezer-1", -5.0),  # Codex CAC/RCP 8-1976: it thaws from there on
    ]


def test_power_loss_without_a_hold_counts_down_to_the_limit() -> None:
    """The freezer's fish is nearer to its limit than the case's."""
    seen = night(with_hold=False)
    first = counting(seen)[0]
    fact = first.condition

    assert (fact.first_unit, fact.limit_c, fact.held_h) == ("freezer-1", -18.0, None)
    assert "First to get too warm: freezer-1, past -0.4 °F in about " in (
        seen.words(first).body.replace("−", "-")
    )
