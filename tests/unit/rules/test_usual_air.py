"""A unit's usual air: learned from its swings, left by trouble, not learned from it."""

import json
from math import inf, pi, sin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimewatch.rules import usual
from rimewatch.rules.usual import Departure, UsualState

MINUTE = 60_000


def swinging(minutes: int) -> list[float]:
    """A compressor's cycle of 20 min between 0 and 2 °C."""
    return [1.0 + sin(2 * pi * n / 20) for n in range(minutes)]


def folded(celsius: list[float]) -> tuple[UsualState, list[Departure]]:
    """Fold readings a minute apart."""
    return usual.fold([n * MINUTE for n in range(len(celsius))], celsius)


def test_band_of_a_sound_unit_holds_its_swings() -> None:
    """Nobody is bothered by a compressor's cycle."""
    state, ended = folded(swinging(600))

    assert not ended
    assert state.out is None
    assert 0.7 < state.usual_c < 1.3
    assert 1.6 < state.top_c <= 2.0


def test_departure_begins_between_the_last_calm_and_the_first_sight() -> None:
    """The moment the cooling stopped lies in between, and is known no better."""
    rise = [1.0 + 0.1 * n for n in range(60)]
    state, _ = folded(swinging(241) + rise)

    assert state.out is not None
    assert state.out.from_ms <= 242 * MINUTE <= state.out.left_ms
    assert state.out.left_ms - state.out.from_ms < 35 * MINUTE
    assert state.out.peak_c == rise[-1]
    assert not state.out.recovering


def test_departure_is_recovering_once_a_quarter_of_the_rise_is_lost() -> None:
    """Something cools again, though the air is still warm."""
    rise = [1.0 + 0.1 * n for n in range(80)]
    state, _ = folded([*swinging(241), *rise, 7.5])
    later, _ = folded([*swinging(241), *rise, 6.5])

    assert state.out is not None
    assert later.out is not None
    assert not state.out.recovering
    assert later.out.recovering


def test_trouble_is_not_learned_as_usual_until_a_quarter_of_a_day_has_passed() -> None:
    """A case that has been warm for hours is still warm, and one set anew is not."""
    warm = swinging(300) + [9.0] * 300
    state, _ = folded(warm)
    adopted, _ = folded(warm + [9.0] * 120)

    assert state.out is not None
    assert state.top_c < 2.1
    assert adopted.out is None


def test_band_is_unknown_for_the_first_quarter_of_an_hour() -> None:
    """Nothing leaves a band that nobody knows."""
    state, _ = folded([1.0] * 9 + [20.0])

    assert state.top_c == inf
    assert state.out is None


def slow_swing(minutes: int, period: int, share: float = 0.4) -> list[float]:
    """A freezer in the trough of its swing, and at its crest for a share of each period."""
    return [-17.0 if n % period >= period * (1.0 - share) else -20.0 for n in range(minutes)]


@pytest.mark.parametrize(("period", "share"), [(40, 0.25), (60, 0.4), (90, 0.4), (180, 0.4)])
def test_band_that_was_learned_in_a_trough_takes_the_crests_in_after_three(
    period: int, share: float
) -> None:
    """Nobody is asked about a sound unit's swing for days because it was met at its coldest."""
    air = slow_swing(48 * 60, period, share)

    state, ended = folded(air)

    assert len(ended) == 3
    assert ended[-1].last_ms <= 3 * period * MINUTE
    assert state.out is None
    assert state.top_c == -17.0


def test_band_that_took_crests_in_is_left_by_what_is_warmer_than_they_are() -> None:
    """The swing is usual; a failure is not, however often the swing came before it."""
    rise = [-17.0 + 0.1 * n for n in range(60)]
    state, _ = folded(slow_swing(12 * 60, 60) + rise)

    assert state.out is not None
    assert state.out.top_c == -17.0
    assert state.out.left_ms <= (12 * 60 + 7) * MINUTE


def test_band_lets_its_crests_go_when_the_swing_has_ended() -> None:
    """A unit that runs evenly again is watched as closely as one that always did."""
    swung, _ = folded(slow_swing(12 * 60, 60))
    ended, _ = folded(slow_swing(12 * 60, 60) + [-20.0] * (7 * 60 + 10))

    assert swung.top_c == -17.0
    assert ended.top_c == -20.0


@pytest.mark.parametrize(
    "warm_at",
    [
        pytest.param([(n * 360, 25, 6.0) for n in range(1, 9)], id="a defrost every six hours"),
        pytest.param([(n * 180, 25, 6.0) for n in range(1, 17)], id="a defrost every three hours"),
        pytest.param([(200, 12, 4.0), (250, 30, 4.0), (330, 12, 4.2)], id="doors, as they come"),
        pytest.param([(200, 20, 3.0), (260, 20, 5.0), (320, 20, 8.0)], id="higher each time"),
        pytest.param([(200 + 10 * n, 4, 3.0) for n in range(40)], id="short doors all day"),
    ],
)
def test_band_does_not_take_in_what_is_no_swing(warm_at: list[tuple[int, int, float]]) -> None:
    """Defrosts, doors and a failure that comes and goes stay above the band."""
    air = swinging(48 * 60 + 30)
    for begin, minutes, warm_c in warm_at:
        air[begin : begin + minutes] = [warm_c] * minutes

    state, ended = folded(air)

    assert len(ended) >= len(warm_at)
    assert state.top_c <= 2.0


@given(st.lists(st.floats(-30, 30), min_size=1, max_size=120), st.integers(0, 119))
def test_fold_goes_on_from_its_state_as_if_it_had_never_stopped(
    celsius: list[float], cut: int
) -> None:
    """All that it remembers is its state, and that is plain."""
    cut = min(cut, len(celsius))
    whole, _ = folded(celsius)
    state = folded(celsius[:cut])[0]
    out = None if state.out is None else Departure(**json.loads(json.dumps(_plain(state.out))))
    state = state._replace(out=out)
    for n in range(cut, len(celsius)):
        state = usual.step(state, n * MINUTE, celsius[n])

    assert state == whole


def _plain(out: Departure) -> dict[str, float]:
    return {name: getattr(out, name) for name in out.__dataclass_fields__}


def test_departure_begins_after_the_last_calm_reading_of_a_probe_that_speaks_seldom() -> None:
    """Each reading begins a piece of its own, and each says whether the air was calm."""
    state, _ = usual.fold([n * 7 * MINUTE for n in range(1, 42)], [1.0] * 40 + [9.0])

    assert state.out is not None
    assert state.out.from_ms == 40 * 7 * MINUTE


def test_air_that_came_back_to_the_very_middle_of_its_band_was_calm_there() -> None:
    """What leaves the band next has not begun before that."""
    state, ended = folded([1.0] * 60 + [3.0] * 10 + [1.0] + [1.2] * 3 + [3.0])

    assert len(ended) == 1
    assert state.out is not None
    assert state.out.usual_c == 1.0
    assert state.out.from_ms == 70 * MINUTE
