"""How long is left for the fish, and when that is worth an alarm."""

import numpy as np
import pytest

from rimewatch.rules import own_doing, projection
from rimewatch.rules.projection import Outlook
from rimewatch.rules.usual import Departure
from rimewatch.vocabulary import Priority

MINUTE = 60_000


def departure(**keys: float) -> Departure:
    """Air that left its band ten minutes after it was last calm."""
    plain = {
        "usual_c": 1.0,
        "top_c": 2.0,
        "from_ms": 0,
        "left_ms": 10 * MINUTE,
        "peak_c": 6.0,
        "peak_ms": 40 * MINUTE,
        "last_ms": 40 * MINUTE,
        "last_c": 6.0,
    }
    return Departure(**{**plain, **keys})  # type: ignore[arg-type]


def test_fish_behind_rising_air_is_foretold_to_within_minutes() -> None:
    """Air to 20 °C with a time constant of an hour; fish lags by 20 min (closed form)."""
    minutes = np.arange(0.0, 46.0)
    air = 20.0 - 19.0 * np.exp(-minutes / 60.0)
    # y' = (x - y)/20 min, y(0) = 1: y = 20 - 28.5 exp(-t/60) + 9.5 exp(-t/20).
    fish = 20.0 - 28.5 * np.exp(-minutes / 60.0) + 9.5 * np.exp(-minutes / 20.0)
    times = np.linspace(0.0, 300.0, 300_001)
    curve = 20.0 - 28.5 * np.exp(-times / 60.0) + 9.5 * np.exp(-times / 20.0)
    crossing = times[np.searchsorted(curve, 14.0)]
    found = projection.foresee(
        (minutes * MINUTE).astype(np.int64),
        air,
        fish_c=float(fish[-1]),
        lag_s=1200.0,
        limit_c=14.0,
    )

    assert found is not None
    assert found.foretold
    assert found.left_s is not None
    assert abs(found.left_s / 60 - (crossing - 45.0)) < 5.0


def test_air_that_only_swings_foretells_nothing() -> None:
    """A compressor's cycle never becomes an alarm."""
    minutes = np.arange(0.0, 60.0)
    found = projection.foresee(
        (minutes * MINUTE).astype(np.int64),
        1.0 + np.sin(minutes / 3.0),
        fish_c=1.0,
        lag_s=1200.0,
        limit_c=5.0,
    )

    assert found is not None
    assert not found.foretold
    assert found.dismissed


@pytest.mark.parametrize(
    ("latest_h", "at_stake", "priority"),
    [
        (0.9, False, Priority.HIGH),
        (1.0, False, None),
        (1.1, False, None),
        (1.9, True, Priority.HIGH),
        (2.0, True, Priority.HIGH),
        (2.1, True, None),
        (None, True, None),
    ],
)
def test_projection_wakes_only_where_it_cannot_wait(
    latest_h: float | None, at_stake: bool, priority: Priority | None
) -> None:
    """Within an hour in any case; within two where fish is at stake."""
    latest_s = None if latest_h is None else latest_h * 3600.0
    outlook = Outlook(left_s=1000.0, latest_s=latest_s, chance=0.95, rate_c_per_h=2.0)

    assert outlook.priority(fish_at_stake=at_stake) is priority


def test_projection_is_asked_for_only_after_half_an_hour_out_of_the_band() -> None:
    """A defrost is over by then."""
    assert not projection.may_ask(departure(), 39 * MINUTE)
    assert projection.may_ask(departure(), 40 * MINUTE)
    assert not projection.may_ask(departure(last_c=4.0), 60 * MINUTE)


@pytest.mark.parametrize(
    ("opened", "at_minute", "explained"),
    [
        pytest.param((2.0, 12.0), 50, True, id="ten minutes open explain forty"),
        pytest.param((2.0, 12.0), 53, False, id="and no more"),
        pytest.param((2.0, 2.3), 11, False, id="a glimpse explains nothing"),
        pytest.param((2.0, 3.0), 12, True, id="a minute explains ten"),
        pytest.param((2.0, 3.0), 14, False, id="and not a quarter of an hour"),
        pytest.param((11.0, 20.0), 21, False, id="opened after the air had left"),
    ],
)
def test_door_explains_a_rise_for_as_long_as_it_could(
    opened: tuple[float, float], at_minute: int, explained: bool
) -> None:
    """Then it is more than a door."""
    door = [(opened[0] * MINUTE, opened[1] * MINUTE)]

    assert own_doing.explained(departure(), at_minute * MINUTE, door, []) is explained


def test_defrost_explains_a_rise_until_twenty_minutes_after_its_end() -> None:
    """A case that does not come back after its defrost is worth a look."""
    window = [(0.0, 25.0 * MINUTE)]

    assert own_doing.explained(departure(), 45 * MINUTE, [], window)
    assert not own_doing.explained(departure(), 46 * MINUTE, [], window)


def test_product_that_warms_is_foretold_by_its_own_curve() -> None:
    """Readings of the fish itself have no lag: to 20 °C with an hour's constant (closed form)."""
    minutes = np.arange(0.0, 46.0)
    product = 20.0 - 19.0 * np.exp(-minutes / 60.0)
    left_minutes = 60.0 * np.log(19.0 / 6.0) - 45.0

    found = projection.foresee(
        (minutes * MINUTE).astype(np.int64),
        product,
        fish_c=float(product[-1]),
        lag_s=0.0,
        limit_c=14.0,
    )

    assert found is not None
    assert found.left_s is not None
    assert found.left_s / 60.0 == pytest.approx(left_minutes, abs=5.0)


@pytest.mark.parametrize(("open_ms", "explained"), [(20_000, True), (19_999, False)])
def test_door_that_stood_open_for_twenty_seconds_was_no_glimpse(
    open_ms: int, *, explained: bool
) -> None:
    """From there on an opening explains some minutes of warmth."""
    door = [(2.0 * MINUTE, 2.0 * MINUTE + open_ms)]

    assert own_doing.explained(departure(), 11 * MINUTE, door, []) is explained
