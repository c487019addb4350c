"""A year looked at at once says of each unit's air what following it says, to the digit."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from rimewatch.rules import usual, usual_span
from rimewatch.rules.usual import Departure

MINUTE = 60_000
START_MS = 1_767_225_600_000


def followed(times_ms: list[int], air_c: list[float]) -> list[Departure]:
    """Return what a reading at a time finds: what has ended, and what is under way."""
    state, ended = usual.fold(times_ms, air_c)
    return ended if state.out is None else [*ended, state.out]


def at_once(times_ms: list[int], air_c: list[float]) -> list[Departure]:
    """Return what one look finds."""
    return usual_span.departures(np.array(times_ms, dtype=np.int64), np.array(air_c))


@st.composite
def nights(draw: st.DrawFn) -> tuple[list[int], list[float]]:
    """Draw a unit's hours: swings, rises short and lasting, gaps, readings at odd times."""
    random = np.random.default_rng(draw(st.integers(0, 2**32)))
    every_ms = draw(st.sampled_from([10_000, 45_000, MINUTE, 7 * MINUTE]))
    count = draw(st.integers(1, 1500))
    steps_ms = every_ms + random.integers(0, draw(st.sampled_from([1, 20_000])), count)
    for _ in range(draw(st.integers(0, 3))):
        steps_ms[random.integers(count)] += draw(st.integers(0, 9)) * 3_600_000
    times_ms = START_MS + draw(st.integers(0, 600_000)) + np.cumsum(steps_ms)
    level_c = draw(st.sampled_from([-60.0, -20.0, 0.0, 2.0]))
    air_c = level_c + random.normal(0.0, 0.4, count) + np.sin(np.arange(count) / 4)
    for _ in range(draw(st.integers(0, 8))):
        first = int(random.integers(count))
        length = int(random.integers(1, draw(st.sampled_from([5, 60, 700]))))
        air_c[first : first + length] += float(random.uniform(0.5, 12.0))
    if draw(st.booleans()):  # a slow swing, from some reading on: its crests leave the band
        period = int(random.integers(5, 160))
        crest = np.arange(count) % period >= period * draw(st.sampled_from([0.5, 0.75, 0.9]))
        air_c += np.where(crest, draw(st.sampled_from([1.0, 3.0, 8.0])), 0.0)
    return times_ms.tolist(), np.round(air_c, 2).tolist()


@given(night=nights())
@example(night=([START_MS], [1.0]))
@example(night=([START_MS + n * MINUTE for n in range(900)], [1.0] * 60 + [9.0] * 840))
@settings(max_examples=150, deadline=None)
def test_departures_at_once_are_those_of_the_fold(night: tuple[list[int], list[float]]) -> None:
    """Band, begin, peak and end of each, whatever the air did."""
    assert at_once(*night) == followed(*night)


def test_departures_at_once_hold_a_band_that_was_found_anew() -> None:
    """A set point that was raised for good: one long departure, then the new band's own."""
    raised = [1.0] * 100 + [6.0] * 600 + [9.0] * 20 + [6.0] * 30
    times_ms = [START_MS + n * MINUTE for n in range(len(raised))]

    found = at_once(times_ms, raised)

    assert found == followed(times_ms, raised)
    assert [one.top_c for one in found] == [1.0, 6.0]


def test_departures_of_no_readings_are_none() -> None:
    """A probe that was never heard."""
    assert at_once([], []) == []


@pytest.mark.parametrize("warm_piece", range(36, 52))
def test_departures_at_once_see_the_top_sink_while_pieces_are_passed_over(warm_piece: int) -> None:
    """A busy opening leaves the last three hours piece by piece; so less warmth is a departure.

    Eight pieces in 36 stay at the top of the band, seven do not: from the 37th piece on,
    2.2 °C is out of a band that went up to 2 °C before.
    """
    peaks = [2.0] * 8 + [1.0] * 50
    peaks[warm_piece] = 2.2
    air_c = [value for peak in peaks for value in (0.8, peak, 0.8, 0.8, 0.8)]
    times_ms = [START_MS + n * MINUTE for n in range(len(air_c))]

    found = at_once(times_ms, air_c)

    assert found == followed(times_ms, air_c)
    assert len(found) == (warm_piece > 36)


@pytest.mark.parametrize(
    "after",
    [
        pytest.param([1.4] * 12 + [4.0] + [1.0] * 20, id="calm only long after"),
        pytest.param([4.0, 1.0, 1.0] + [1.0] * 20, id="calm in the same five minutes"),
    ],
)
def test_departures_at_once_begin_at_the_calm_before_them(after: list[float]) -> None:
    """Air that came back into its band, and not to its middle, was not calm in between."""
    air_c = [1.0, 1.0, 1.0, 1.4, 1.0] * 12 + [3.0] + [1.4] + after
    times_ms = [START_MS + n * MINUTE for n in range(len(air_c))]

    found = at_once(times_ms, air_c)

    assert found == followed(times_ms, air_c)
    assert [one.from_ms for one in found] == [times_ms[59]] * 2
