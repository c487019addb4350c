"""What a unit's readings show of it is said in the morning, and changes no figure."""

import numpy as np
import pytest

from handmade import NIGHT, ONE_CONTACT, Paper, probe, shop, unit
from rimewatch.replay import Replayed
from rimewatch.vocabulary import UnitId

TRUE_LAG_MIN = 50.0


def walk_in(lag_s: int, *, with_fish: bool = True) -> Replayed:
    """Replay two days of a walk-in whose fish follows its air in 50 min."""
    probes = [probe("air", "walk-in")]
    if with_fish:
        probes.append(probe("fish", "walk-in", "product"))
    of = shop(unit("walk-in", "walk-in", lag_s=lag_s), *probes, ONE_CONTACT, NIGHT)
    paper, fish_c = Paper(), 1.5
    for minute in range(2 * 1440 + 120):
        air_c = 1.0 + 0.5 * float(np.sin(minute / 5.0)) + 5.0 * (minute % 360 < 25)
        fish_c += (air_c - fish_c) / TRUE_LAG_MIN
        paper.say(minute * 60, round(air_c, 2), "air")
        if with_fish:
            paper.say(minute * 60, round(fish_c, 2), "fish")
    return paper.replay(of)


def last_morning(replayed: Replayed) -> str:
    """Return the last morning's summary on one line."""
    (*_, last) = replayed.mornings.values()
    return " ".join(last.text.split())


@pytest.mark.parametrize("lag_s", [600, 9000])
def test_a_guess_far_from_what_is_seen_is_named_in_the_morning(lag_s: int) -> None:
    """With what it rests on; what was typed stays."""
    replayed = walk_in(lag_s)
    said = last_morning(replayed)
    lag = replayed.ledger.units[UnitId("walk-in")].lag

    assert lag is not None
    assert lag.interval_s[0] <= TRUE_LAG_MIN * 60.0 <= lag.interval_s[1]
    assert "fish is behind its air by about" in said
    assert "in which both were measured" in said
    assert f"lag_s is {lag_s}. See which is right; nothing was changed." in said


@pytest.mark.parametrize(("lag_s", "with_fish"), [(2700, True), (600, False)])
def test_nothing_is_said_of_a_guess_near_it_nor_without_both_probes(
    lag_s: int, with_fish: bool
) -> None:
    """It is measured, or it is not: a task is only what somebody can act on."""
    replayed = walk_in(lag_s, with_fish=with_fish)

    assert "behind its air" not in last_morning(replayed)
    assert (replayed.ledger.units[UnitId("walk-in")].lag is None) is not with_fish
