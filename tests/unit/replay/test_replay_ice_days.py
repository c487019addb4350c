"""How fresh a lot is by the record: days in ice, from receipt, through cases and freezers."""

import pytest
from frozen_lots import EVERY_S, START, H, freezers, lot, steady

from handmade import Paper, probe, shop, unit


def test_ice_days_before_the_first_move_are_at_the_temperature_of_receipt() -> None:
    """Six hours at 4 °C: 0.25·1.4² = 0.49; then twelve at 0 °C in the case: 0.5."""
    paper = steady(Paper(START).receive(0, celsius=4.0), 0.0, 0, 18, "case")
    paper.do(6 * H, "move-lot", lot="L1", unit="case-1")

    assert lot(paper, freezers())["ice_days"] == pytest.approx(0.99, abs=1e-4)


def test_ice_days_are_integrated_exactly_along_a_rise() -> None:
    """A day from 0 to 10 °C: ∫(1 + x)² dx from 0 to 1 = 7/3 days in ice."""
    paper = Paper(START).receive(0, celsius=0.0)
    paper.curve([(0, 0.0), (24 * H, 10.0)], topic="case", every_s=EVERY_S)
    paper.do(0, "move-lot", lot="L1", unit="case-1")

    assert lot(paper, freezers())["ice_days"] == pytest.approx(7 / 3, abs=1e-4)


def test_ice_days_stand_still_in_the_freezer() -> None:
    """Below −10 °C nothing is added: only the three hours at 5 °C, 0.125·2.25."""
    paper = steady(Paper(START).receive(0, celsius=5.0).freeze(3 * H, "20C-24h"), -25.0, 0, 100)

    assert lot(paper, freezers())["ice_days"] == pytest.approx(0.125 * 2.25, abs=1e-4)


def test_ice_days_behind_a_lag_remember_the_warmth_before_a_long_gap() -> None:
    """The fish was at 12 °C when the probe died for eight hours; air of 2 °C does not cool it.

    From the return on: T = 2 + 10·e^(−t/1200). With q = 1.2 + e^(−t/1200),
    ∫₀^∞ (q² − 1.44) dt = (2.4 + 0.5)·1200 s = 3480 s; and 1.44·7200 s of two hours:
    13 848 s = 0.16028 days.
    """
    slow = shop(unit(lag_s=1200), probe("case", every_s=60))
    paper = Paper(START).curve([(0, 12.0), (3600, 12.0)], topic="case", every_s=60)
    back_s = 3600 + 8 * H
    paper.curve([(back_s, 2.0), (back_s + 2 * H, 2.0)], topic="case", every_s=60)
    paper.receive(back_s, celsius=2.0).do(back_s, "move-lot", lot="L1", unit="case-1")

    found = lot(paper, slow)

    # e^(−6) of the first part and e^(−12)/2 of the second are still to come.
    assert found["ice_days"] == pytest.approx((13_848 - 2.4 * 1200 * 0.00248) / 86_400, abs=2e-4)
