"""How much of an allowed time in the warm is used.

Limits: FDA Fish and Fishery Products Hazards and Controls Guidance, 4th ed. (2011,
revised 2019-2022), chapter 7 and Appendix 4.
"""

import math
from collections.abc import Sequence

import numpy as np
import pytest

from rimewatch.rules.hazard_limits import (
    RAW_READY_TO_EAT,
    SCOMBROTOXIN_FRESH,
    SCOMBROTOXIN_FROZEN,
    TABLE_A2,
)
from rimewatch.science.exposure import (
    Band,
    BandLimits,
    Basis,
    TwoLineLimits,
    band_exposure,
    two_line_exposure,
)
from rimewatch.science.scales import celsius_of_fahrenheit
from rimewatch.science.segments import Segments, linear_segments

MINUTE = 60_000
HOUR = 3_600_000
LISTERIA = next(row for row in TABLE_A2 if row.hazard == "Listeria monocytogenes")
STAPH = next(row for row in TABLE_A2 if row.hazard == "Staphylococcus aureus")
SALMONELLA = next(row for row in TABLE_A2 if row.hazard == "Salmonella")


def held(*holds: tuple[float, float]) -> Segments:
    """A curve of steady temperatures, each (°C, minutes), with steps of 1 ms between."""
    times, values, now = [], [], 0
    for celsius, minutes in holds:
        times += [now, now + round(minutes * MINUTE)]
        values += [celsius, celsius]
        now = times[-1] + 1
    return linear_segments(times, values, max_gap_ms=10**9)


def curve(times_ms: Sequence[int], celsius: Sequence[float], gap_ms: int = HOUR) -> Segments:
    return linear_segments(times_ms, celsius, max_gap_ms=gap_ms)


# Appendix 4, raw ready-to-eat products.


def raw_rte_curve(above_50_s: float, above_70_s: float) -> Segments:
    """Fish that warms and cools, for exactly these times above 50 and above 70 °F."""
    cool_s = (above_50_s - above_70_s) / 2.0
    line, warm_line = RAW_READY_TO_EAT.line_c, RAW_READY_TO_EAT.warm_line_c
    if above_70_s:
        lengths = [cool_s, above_70_s / 2.0, above_70_s / 2.0, cool_s]
        values = [line, warm_line, 25.0, warm_line, line]
    else:
        lengths, values = [cool_s, cool_s], [line, 15.0, line]
    if not cool_s:  # the record begins and ends at the warm line
        lengths, values = lengths[1:-1], values[1:-1]
    times = np.concatenate(([0.0], np.cumsum(lengths))) * 1000.0
    return linear_segments(times, values, max_gap_ms=10**9)


@pytest.mark.parametrize(
    ("above_50_min", "above_70_min", "passes"),
    [
        (240.0, 120.0, True),  # 4 h, of which 2 h above 70 °F
        (240.0, 121.0, False),  # 4 h, of which 2 h 1 min
        (120.0, 120.0, True),  # 2 h, all above 70 °F
        (241.0, 60.0, False),
        (121.0, 121.0, False),
        (300.0, 0.0, True),  # never above 70 °F: 5 h
        (301.0, 0.0, False),
    ],
)
def test_raw_ready_to_eat_rule_at_its_edges(
    above_50_min: float, above_70_min: float, passes: bool
) -> None:
    """Appendix 4: 2 h, or 4 h with no more than 2 h above 70 °F; 5 h if never above it."""
    fish = raw_rte_curve(above_50_min * 60.0, above_70_min * 60.0)

    used = two_line_exposure(fish, RAW_READY_TO_EAT)

    assert used.counted_s == pytest.approx(above_50_min * 60.0, abs=1e-6)
    assert used.band_s[1] == pytest.approx(above_70_min * 60.0, abs=1e-6)
    assert used.within is passes
    assert used.basis is Basis.TWO_LINES


def test_raw_ready_to_eat_without_time_above_50_f_has_no_limit() -> None:
    """At 50 °F or below throughout, this rule asks nothing."""
    used = two_line_exposure(held((celsius_of_fahrenheit(50.0), 10_000)), RAW_READY_TO_EAT)

    assert (used.share, used.within, used.basis) == (0.0, True, Basis.NO_EXPOSURE)


def test_either_of_the_two_caps_is_enough() -> None:
    """A shop may keep the plain cap or the mixed one: whichever leaves more."""
    strict_mix = TwoLineLimits(
        hazard="made up",
        line_c=10.0,
        warm_line_c=20.0,
        cool_s=36_000.0,
        warm_s=7200.0,
        mixed_total_s=14_400.0,
        mixed_warm_s=3600.0,
    )

    all_warm = two_line_exposure(held((25.0, 60.0)), strict_mix)
    mostly_cool = two_line_exposure(held((15.0, 180.0), (25.0, 30.0)), strict_mix)

    assert all_warm.share == pytest.approx(3600 / 7200)
    assert mostly_cool.share == pytest.approx(210 / 240, rel=1e-6)


def test_cooking_does_not_use_up_the_raw_rule() -> None:
    """Above 135 °F the food is being cooked and the time does not count."""
    used = two_line_exposure(held((celsius_of_fahrenheit(135.0), 600)), RAW_READY_TO_EAT)

    assert used.counted_s == 0.0


# Chapter 7, scombrotoxin.


@pytest.mark.parametrize(
    ("limits", "celsius", "hours", "share"),
    [
        (SCOMBROTOXIN_FRESH, 10.0, 8.0, 1.0),
        (SCOMBROTOXIN_FRESH, 22.0, 4.0, 1.0),
        (SCOMBROTOXIN_FROZEN, 10.0, 24.0, 1.0),
        (SCOMBROTOXIN_FROZEN, 22.0, 12.0, 1.0),
        (SCOMBROTOXIN_FRESH, 4.4, 100.0, 0.0),
        (SCOMBROTOXIN_FRESH, 4.5, 4.0, 0.5),
    ],
)
def test_scombrotoxin_cap_by_history_and_by_the_warmest_moment(
    limits: TwoLineLimits, celsius: float, hours: float, share: float
) -> None:
    """Chapter 7: time above 40 °F; ever above 70 °F halves what is allowed."""
    used = two_line_exposure(held((celsius, hours * 60.0)), limits)

    assert used.share == pytest.approx(share)
    assert used.within


def test_scombrotoxin_one_warm_minute_shortens_the_cap_for_all_of_it() -> None:
    """Seven hours at 10 °C are within eight; a minute at 25 °C makes the cap four."""
    mild = two_line_exposure(held((10.0, 420)), SCOMBROTOXIN_FRESH)
    warm = two_line_exposure(held((10.0, 420), (25.0, 1)), SCOMBROTOXIN_FRESH)

    assert mild.share == pytest.approx(7 / 8)
    assert warm.share == pytest.approx(421 / 240, rel=1e-6)
    assert not warm.within


def test_scombrotoxin_uses_the_guidances_line_and_not_the_codes() -> None:
    """At 4.8 °C, cold enough for the Food Code, the guidance's time counts."""
    used = two_line_exposure(held((4.8, 60)), SCOMBROTOXIN_FRESH)

    assert used.counted_s == 3600.0


# Appendix 4, Table A-2.


@pytest.mark.parametrize(
    ("fahrenheit", "hours"),
    [
        (31.3, 168.0),  # where it begins to grow
        (41.0, 168.0),
        (41.5, 24.0),  # a gap of the printed table: the warmer band
        (42.0, 24.0),
        (50.0, 24.0),
        (50.5, 7.0),
        (70.0, 7.0),
        (70.5, 3.0),
        (86.0, 3.0),
        (86.5, 1.0),
        (100.0, 1.0),
    ],
)
def test_table_a2_band_of_a_temperature_and_its_gaps(fahrenheit: float, hours: float) -> None:
    """L. monocytogenes: each temperature has its hours; between bands the shorter."""
    used = band_exposure(held((celsius_of_fahrenheit(fahrenheit), 60.0)), LISTERIA)

    assert used.share == pytest.approx(1.0 / hours)
    assert used.basis is Basis.ONE_BAND


def test_table_a2_below_growth_nothing_is_used() -> None:
    """Fish in melting ice grows no salmonella."""
    used = band_exposure(held((5.1, 100_000)), SALMONELLA)

    assert (used.share, used.basis) == (0.0, Basis.NO_EXPOSURE)


def test_table_a2_band_of_one_temperature_counts_only_there() -> None:
    """S. aureus has 14 days at 50 °F exactly; at 50.1 °F it is the next band's 12 h."""
    at_edge = band_exposure(held((celsius_of_fahrenheit(50.0), 60.0)), STAPH)
    above = band_exposure(held((celsius_of_fahrenheit(50.1), 60.0)), STAPH)
    below = band_exposure(held((celsius_of_fahrenheit(49.9), 60.0)), STAPH)

    assert at_edge.share == pytest.approx(1 / 336)
    assert above.share == pytest.approx(1 / 12)
    assert below.share == 0.0


def test_mixed_bands_sum_fractions_and_say_so() -> None:
    """Half of one band's time and half of another's use it all, by a stated reading."""
    used = band_exposure(held((8.0, 12 * 60.0), (15.0, 3.5 * 60.0)), LISTERIA)

    assert used.share == pytest.approx(1.0, abs=1e-6)
    assert used.basis is Basis.SUM_OF_FRACTIONS
    assert "does not say how to add" in used.basis.value


def test_gap_counts_in_the_share_with_gaps_at_its_warmer_end() -> None:
    """A hole in the record is not called cold; what it may have used is shown."""
    fish = curve([0, HOUR, 3 * HOUR, 4 * HOUR], [2.0, 2.0, 15.0, 2.0])

    used = two_line_exposure(fish, RAW_READY_TO_EAT)

    assert used.missing_s == 2 * 3600.0
    assert used.share < 0.1
    assert used.share_with_gaps == pytest.approx(used.share + 2 / 5)


def test_no_readings_have_no_exposure() -> None:
    """Nothing recorded, nothing counted, and no error."""
    empty = curve([], [])

    assert two_line_exposure(empty, SCOMBROTOXIN_FRESH).share == 0.0
    assert band_exposure(empty, LISTERIA).basis is Basis.NO_EXPOSURE


@pytest.mark.parametrize(
    "bands",
    [
        (),
        (Band(10.0, 3600.0),),
        (Band(10.0, 3600.0), Band(8.0, 1800.0), Band(math.inf, 900.0)),
        (Band(10.0, 1800.0), Band(math.inf, 3600.0)),
        (Band(10.0, 1800.0), Band(math.inf, 0.0)),
        (Band(-5.0, 1800.0), Band(math.inf, 900.0)),
    ],
)
def test_bands_that_make_no_sense_are_refused(bands: tuple[Band, ...]) -> None:
    """A table with a typing error does not get into use."""
    with pytest.raises(ValueError, match="rising upper edges"):
        BandLimits(hazard="made up", from_c=0.0, bands=bands)
