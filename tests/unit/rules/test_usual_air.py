"""A unit's usual air: learned from its swings, left by trouble, not learned from it."""

import json
from math import inf, pi, sin

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
