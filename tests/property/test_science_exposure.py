"""What holds for every curve: exposure, time control, ice days."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rimewatch.rules.hazard_limits import (
    RAW_READY_TO_EAT,
    SCOMBROTOXIN_FRESH,
    TABLE_A2,
    TIME_CONTROL_6H,
)
from rimewatch.science.exposure import BandLimits, TwoLineLimits, band_exposure, two_line_exposure
from rimewatch.science.segments import linear_segments, seconds_within
from rimewatch.science.spoilage import ice_days
from rimewatch.science.time_control import TimeControlState, time_control

MAX_GAP_MS = 900_000

Curve = tuple[list[int], list[float]]


@st.composite
def curves(draw: st.DrawFn) -> Curve:
    """Readings at uneven times, with gaps, of fish between a freezer and a kitchen."""
    celsius = draw(st.lists(st.floats(-40.0, 45.0), min_size=2, max_size=25))
    steps = draw(
        st.lists(st.integers(1, 3_600_000), min_size=len(celsius) - 1, max_size=len(celsius) - 1)
    )
    times = [0]
    for step in steps:
        times.append(times[-1] + step)
    return times, celsius


TWO_LINES = st.sampled_from([SCOMBROTOXIN_FRESH, RAW_READY_TO_EAT])
BANDS = st.sampled_from(TABLE_A2)


@given(curves(), st.floats(-30.0, 40.0), st.floats(-30.0, 40.0))
@example(([0, 1], [5.0, 5.0]), 5.0, 5.0)
@example(([0, 1], [5.0, math.nextafter(5.0, 6.0)]), 5.0, 20.0)
def test_time_is_shared_out_completely_between_ranges(
    curve: Curve, one_c: float, other_c: float
) -> None:
    """Below, between and above two lines: every second is in one range exactly."""
    low, high = sorted((one_c, other_c))
    pieces = linear_segments(*curve, max_gap_ms=MAX_GAP_MS)

    parts = [
        seconds_within(pieces, -math.inf, low),
        seconds_within(pieces, low, high),
        seconds_within(pieces, high, math.inf),
    ]

    assert all((part >= 0.0).all() for part in parts)
    assert sum(parts) == pytest.approx(pieces.length_s, rel=1e-9, abs=1e-9)


@given(curves(), BANDS, st.floats(0.0, 15.0))
def test_warmer_fish_never_used_less_of_a_bands_allowance(
    curve: Curve, limits: BandLimits, warmer_by: float
) -> None:
    """The whole curve a few degrees up: never judged safer."""
    times, celsius = curve
    colder = band_exposure(linear_segments(times, celsius, max_gap_ms=MAX_GAP_MS), limits)
    warm = [value + warmer_by for value in celsius]
    warmer = band_exposure(linear_segments(times, warm, max_gap_ms=MAX_GAP_MS), limits)

    # A line at one temperature, kept to the last digit, may round either way.
    assert warmer.share >= colder.share - 1e-6
    assert warmer.share_with_gaps >= colder.share_with_gaps - 1e-6


@given(curves(), st.floats(0.0, 15.0))
def test_warmer_surroundings_never_used_less_of_the_scombrotoxin_allowance(
    curve: Curve, warmer_by: float
) -> None:
    """Above the second line the cap shrinks and the time does not."""
    times, celsius = curve
    colder = linear_segments(times, celsius, max_gap_ms=MAX_GAP_MS)
    warm = [value + warmer_by for value in celsius]
    warmer = linear_segments(times, warm, max_gap_ms=MAX_GAP_MS)

    less = two_line_exposure(colder, SCOMBROTOXIN_FRESH)
    more = two_line_exposure(warmer, SCOMBROTOXIN_FRESH)

    assert more.share >= less.share - 1e-6


@given(curves(), TWO_LINES, BANDS)
def test_gaps_never_make_the_share_smaller(
    curve: Curve, lines: TwoLineLimits, bands: BandLimits
) -> None:
    """What nobody saw can only count against the fish."""
    pieces = linear_segments(*curve, max_gap_ms=MAX_GAP_MS)

    for used in (two_line_exposure(pieces, lines), band_exposure(pieces, bands)):
        assert used.share_with_gaps >= used.share - 1e-9
        assert used.share >= 0.0
        assert used.counted_s <= float(pieces.length_s.sum()) + 1e-6


@given(curves(), TWO_LINES, st.data())
def test_reading_on_the_line_between_two_others_changes_nothing(
    curve: Curve, lines: TwoLineLimits, data: st.DataObject
) -> None:
    """A probe that reports twice as often tells the same story."""
    times, celsius = curve
    spots = [i for i, (a, b) in enumerate(pairwise(times)) if 2 <= b - a <= MAX_GAP_MS]
    if not spots:
        spots, times = [0], [0, *(time + 2 for time in times[1:])]
        if times[1] > MAX_GAP_MS:
            return
    spot = data.draw(st.sampled_from(spots))
    middle = (times[spot] + times[spot + 1]) // 2
    share = (middle - times[spot]) / (times[spot + 1] - times[spot])
    between = celsius[spot] + share * (celsius[spot + 1] - celsius[spot])

    plain = linear_segments(times, celsius, max_gap_ms=MAX_GAP_MS)
    finer = linear_segments(
        [*times[: spot + 1], middle, *times[spot + 1 :]],
        [*celsius[: spot + 1], between, *celsius[spot + 1 :]],
        max_gap_ms=MAX_GAP_MS,
    )

    assert two_line_exposure(finer, lines).band_s == pytest.approx(
        two_line_exposure(plain, lines).band_s, rel=1e-6, abs=1e-3
    )


@given(curves())
def test_ice_days_piece_by_piece_are_those_of_the_whole(curve: Curve) -> None:
    """The live service and a replay add up to one number."""
    times, celsius = curve
    pieces = sum(
        ice_days([a, b], celsius[i : i + 2], max_gap_ms=MAX_GAP_MS)
        for i, (a, b) in enumerate(pairwise(times))
    )

    assert ice_days(times, celsius, max_gap_ms=MAX_GAP_MS) == pytest.approx(
        pieces, rel=1e-9, abs=1e-12
    )


@given(st.floats(-40.0, 45.0), st.floats(-40.0, 45.0), st.integers(1, 10**9))
@example(-10.0, -10.0 + 1e-9, 3_600_000)
@example(4.0, math.nextafter(4.0, 5.0), 3_600_000)
def test_ice_days_of_a_piece_lie_between_those_of_its_ends(
    one_c: float, other_c: float, length_ms: int
) -> None:
    """No piece spoils faster than its warmest point, nor slower than its coldest."""
    low, high = sorted((one_c, other_c))

    def piece(from_c: float, to_c: float) -> float:
        return ice_days([0, length_ms], [from_c, to_c], max_gap_ms=length_ms)

    found = piece(one_c, other_c)

    slack = 1e-9 + 1e-12 * length_ms
    assert piece(low, low) - slack <= found <= piece(high, high) + slack
    assert found == pytest.approx(piece(other_c, one_c), rel=1e-9, abs=1e-12)


@given(curves(), st.floats(-5.0, 30.0))
def test_food_once_to_be_discarded_stays_so(curve: Curve, start_c: float) -> None:
    """As time goes on a timer only moves from running to discard."""
    times, celsius = curve
    states = [
        time_control(
            start_ms=0,
            start_c=start_c,
            times_ms=times,
            celsius=celsius,
            at_ms=at,
            limits=TIME_CONTROL_6H,
            max_gap_ms=MAX_GAP_MS,
        ).state
        for at in np.linspace(0, 30_000_000, 9).astype(int).tolist()
    ]

    if start_c > TIME_CONTROL_6H.start_c:
        assert set(states) == {TimeControlState.NOT_ELIGIBLE}
    else:
        over = [state is TimeControlState.DISCARD for state in states]
        assert over == sorted(over)
        assert over[-1]
