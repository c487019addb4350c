"""A curve as straight pieces, and the gaps in it."""

import math

import pytest

from rimewatch.science.segments import linear_segments, seconds_within

MINUTE = 60_000


def test_time_in_a_range_counts_exact_crossings() -> None:
    """Half of a straight rise from 0 to 10 °C lies above 5 °C."""
    pieces = linear_segments([0, 10 * MINUTE], [0.0, 10.0], max_gap_ms=10 * MINUTE)

    assert seconds_within(pieces, 5.0, math.inf).sum() == pytest.approx(300.0)
    assert seconds_within(pieces, -math.inf, 5.0).sum() == pytest.approx(300.0)


def test_time_exactly_at_a_limit_is_not_above_it() -> None:
    """Food at 5.0 °C is held at 5 °C or below."""
    pieces = linear_segments([0, MINUTE], [5.0, 5.0], max_gap_ms=MINUTE)

    assert seconds_within(pieces, 5.0, math.inf).sum() == 0.0
    assert seconds_within(pieces, 0.0, 5.0).sum() == 60.0


def test_gap_is_missing_time_and_as_warm_as_its_warmer_end() -> None:
    """Nobody knows what happened in a gap: it is never taken as cold."""
    pieces = linear_segments(
        [0, MINUTE, 30 * MINUTE, 31 * MINUTE], [2.0, 3.0, 8.0, 8.0], max_gap_ms=3 * MINUTE
    )

    assert pieces.is_gap.tolist() == [False, True, False]
    assert pieces.missing_s == 29 * 60.0
    assert pieces.from_c[1] == pieces.to_c[1] == 8.0


def test_interval_as_long_as_the_longest_allowed_is_no_gap() -> None:
    """A probe that reports exactly at the stale time is not stale."""
    pieces = linear_segments([0, 180_000, 360_001], [1.0, 1.0, 1.0], max_gap_ms=180_000)

    assert pieces.is_gap.tolist() == [False, True]


@pytest.mark.parametrize("count", [0, 1])
def test_too_few_readings_for_a_piece_give_none(count: int) -> None:
    """One reading has no length."""
    pieces = linear_segments([5] * count, [1.0] * count, max_gap_ms=1)

    assert len(pieces.length_s) == 0
    assert pieces.missing_s == 0.0


@pytest.mark.parametrize(
    ("times", "celsius", "gap", "message"),
    [
        ([0, 1], [1.0], 1, "expected two lists of one length"),
        ([0, 0], [1.0, 2.0], 1, "does not increase"),
        ([1, 0], [1.0, 2.0], 1, "does not increase"),
        ([0, 1], [1.0, math.nan], 1, "not finite"),
        ([0, 1], [1.0, math.inf], 1, "not finite"),
        ([0, 1], [1.0, 2.0], 0, "max_gap_ms is 0"),
    ],
)
def test_curve_that_is_none_is_refused(
    times: list[int], celsius: list[float], gap: int, message: str
) -> None:
    """A bad curve is refused with what is wrong with it."""
    with pytest.raises(ValueError, match=message):
        linear_segments(times, celsius, max_gap_ms=gap)
