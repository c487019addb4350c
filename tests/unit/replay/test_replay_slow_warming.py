"""Fish that warms so slowly that the usual band follows it is told of before its limit."""

from typing import Any

import numpy as np
import pytest

from handmade import NIGHT, ONE_CONTACT, Paper, ms, probe, shop, unit

FAILS_MIN = 40 * 60
EVERY_MIN = 5


def ledger_of(rate_c_per_h: float, *, measures: str = "air", hours: float = 48.0) -> dict[str, Any]:
    """Replay a walk-in that swings about 3 °C, and whose cooling fades in its 40th hour."""
    walk_in = unit("walk-in", "walk-in", lag_s=1800)
    of = shop(walk_in, probe("air", "walk-in", measures, every_s=300), ONE_CONTACT, NIGHT)
    swing_c = 0.5 if measures == "air" else 0.15
    paper = Paper()
    for minute in range(0, round(hours * 60), EVERY_MIN):
        warmer_c = max(0.0, minute - FAILS_MIN) / 60.0 * rate_c_per_h
        paper.say(minute * 60, round(3.0 + swing_c * float(np.sin(minute / 10.0)) + warmer_c, 1))
    return paper.ledger(of)


@pytest.mark.parametrize("measures", ["air", "product"])
@pytest.mark.parametrize("rate_c_per_h", [0.4, 0.8])
def test_slow_warming_is_told_before_the_limit(rate_c_per_h: float, measures: str) -> None:
    """A compressor that fades: no reading is ever half a degree beyond the hours before."""
    ledger = ledger_of(rate_c_per_h, measures=measures)
    excursion, *_ = ledger["units"]["walk-in"]["excursions"]
    alarms = {alarm["rule"]: alarm for alarm in ledger["alarms"]}

    assert ms(alarms["projection"]["raised"]) < ms(excursion["start"])
    assert ms(excursion["start"]) - ms(alarms["projection"]["raised"]) <= 120 * 60_000
    assert alarms["projection"]["returned"] is None


@pytest.mark.parametrize("measures", ["air", "product"])
def test_ordinary_days_ring_nobody(measures: str) -> None:
    """The same days without what fails."""
    assert not ledger_of(0.0, measures=measures)["alarms"]
