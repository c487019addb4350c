"""Why a temperature went beyond its limit: the evidence decides, and doubt is said."""

from collections.abc import Sequence
from math import exp
from typing import Any

import numpy as np
import pytest

from rimewatch.rules import cause
from rimewatch.rules.cause import Evidence, explain, rise_of
from rimewatch.vocabulary import Cause

MINUTE = 60_000
START = 120


def evidence(
    air: Sequence[float],
    *,
    start_minute: float = START,
    end_minute: float | None = None,
    product: Sequence[float] = (),
    **more: Any,
) -> Evidence:
    """Return what is known of a unit whose air was read each minute."""
    return Evidence(
        start_ms=start_minute * MINUTE,
        end_ms=None if end_minute is None else end_minute * MINUTE,
        air_times_ms=np.arange(len(air), dtype=np.int64) * MINUTE,
        air_c=np.array(air, dtype=np.float64),
        product_times_ms=np.arange(len(product), dtype=np.int64) * MINUTE,
        product_c=np.array(product, dtype=np.float64),
        **more,
    )


def calm(minutes: int = START, celsius: float = 2.0) -> list[float]:
    """Return the air of a unit that is well: a small swing of the compressor."""
    return [celsius + 0.3 * ((n // 5) % 2) for n in range(minutes)]


def pulse(rise_c: float, up: int, stay: int, down: int) -> list[float]:
    """Return air that rises, stays and falls back, from 2 °C."""
    return [
        *[2.0 + rise_c * n / up for n in range(1, up + 1)],
        *[2.0 + rise_c] * stay,
        *[2.0 + rise_c * (1 - n / down) for n in range(1, down + 1)],
    ]


def failing(minutes: int, room_c: float = 21.0, constant: float = 120.0) -> list[float]:
    """Return air that drifts towards the room's temperature: nothing cools any more."""
    return [room_c + (2.0 - room_c) * exp(-n / constant) for n in range(minutes)]


def span(start_minute: float, end_minute: float) -> tuple[float, float]:
    """Return a time in milliseconds."""
    return start_minute * MINUTE, end_minute * MINUTE


def test_rise_within_a_scheduled_defrost_is_the_defrost() -> None:
    """The air began to rise with it and fell back after it."""
    air = calm() + pulse(7.0, 15, 10, 15) + calm(60)

    verdict = explain(evidence(air, end_minute=155, defrost=[span(119, 149)]))

    assert verdict.cause is Cause.DEFROST
    assert "defrost" in verdict.explanation


def test_rise_with_an_open_door_is_the_door() -> None:
    """The contact says so, and the air came back promptly."""
    air = calm() + pulse(6.0, 4, 6, 10) + calm(60)

    verdict = explain(
        evidence(air, end_minute=140, door_open=[span(119, 130)], has_door_contact=True)
    )

    assert verdict.cause is Cause.DOOR
    assert "11 min" in verdict.explanation


def test_rise_with_a_door_that_stands_open_still_is_the_door() -> None:
    """Somebody forgot it an hour ago."""
    air = calm() + pulse(8.0, 10, 60, 1)[:-1]

    verdict = explain(evidence(air, door_open=[span(119, 400)], has_door_contact=True))

    assert verdict.cause is Cause.DOOR


def test_rise_that_goes_on_long_after_the_door_was_shut_is_not_the_door() -> None:
    """A short opening does not explain two hours of warming."""
    air = calm() + failing(150)

    verdict = explain(evidence(air, door_open=[span(119, 121)], has_door_contact=True))

    assert verdict.cause is Cause.COOLING_FAILURE


def test_rise_that_goes_on_long_after_the_defrost_is_a_failure() -> None:
    """A heater that stays on, or a compressor that does not start again: never a mere defrost."""
    air = calm() + failing(180)

    verdict = explain(evidence(air, defrost=[span(119, 149)]))

    assert verdict.cause is Cause.COOLING_FAILURE


def test_slow_rise_towards_the_room_is_a_cooling_failure() -> None:
    """No contact, no schedule, and it does not come back."""
    verdict = explain(evidence(calm() + failing(120)))

    assert verdict.cause is Cause.COOLING_FAILURE
    assert "does not come back" in verdict.explanation


def test_steep_rise_that_comes_back_promptly_is_a_door_even_without_a_contact() -> None:
    """Its shape tells."""
    air = calm() + pulse(6.0, 4, 4, 10) + calm(60)

    verdict = explain(evidence(air, end_minute=135))

    assert verdict.cause is Cause.DOOR


def test_door_whose_contact_says_that_it_stayed_shut_is_not_accused() -> None:
    """The record of an inspector would contradict itself."""
    air = calm() + pulse(6.0, 4, 6, 10) + calm(60)

    verdict = explain(evidence(air, end_minute=140, has_door_contact=True))

    assert verdict.cause is Cause.UNKNOWN


def test_steep_rise_that_comes_back_slowly_is_warm_loading() -> None:
    """Warm goods heat the air at once and are cooled over hours."""
    air = calm() + pulse(6.0, 4, 60, 120) + calm(30)

    verdict = explain(evidence(air, end_minute=270))

    assert verdict.cause is Cause.LOADING


def test_product_that_jumps_is_warm_loading() -> None:
    """Only warm goods, or a hand on the probe, move the product within minutes."""
    air = calm() + pulse(4.0, 4, 30, 60)
    product = [2.0] * 121 + [9.0] * 90

    verdict = explain(evidence(air, product=product))

    assert verdict.cause is Cause.LOADING


def test_power_lost_on_several_units_is_said_before_anything_else() -> None:
    """One cause, one word: the door that was opened to look is not it."""
    air = calm() + failing(60)

    verdict = explain(
        evidence(air, door_open=[span(119, 180)], power_lost_with=("Walk-in", "Side case"))
    )

    assert verdict.cause is Cause.POWER_LOSS
    assert "Walk-in" in verdict.explanation
    assert "Side case" in verdict.explanation


@pytest.mark.parametrize("air", [[4.0] * 200, calm(200)])
def test_air_without_a_rise_explains_nothing(air: list[float]) -> None:
    """The answer is unknown, never a guess."""
    found = evidence(air)

    assert rise_of(found) is None
    assert explain(found).cause is Cause.UNKNOWN


def test_rise_that_is_too_young_is_unknown() -> None:
    """Ten minutes of slow warming may become anything."""
    air = calm() + failing(14, constant=150.0)

    assert explain(evidence(air, start_minute=133)).cause is Cause.UNKNOWN


def test_unit_without_any_reading_is_unknown() -> None:
    """Nothing known, nothing claimed, no error."""
    assert explain(evidence([])).cause is Cause.UNKNOWN
    assert explain(evidence([9.0], start_minute=0)).cause is Cause.UNKNOWN


def test_door_glimpsed_open_warms_nothing() -> None:
    """Ten seconds are no explanation of a failing compressor, nor of anything else."""
    air = calm() + pulse(6.0, 4, 60, 120)

    verdict = explain(
        evidence(air, door_open=[(120.0 * MINUTE, 120.0 * MINUTE + 10_000)], end_minute=270)
    )

    assert verdict.cause is Cause.LOADING


def test_every_verdict_is_one_sentence() -> None:
    """For somebody at three in the morning."""
    nights = [
        evidence(calm() + failing(120)),
        evidence(calm() + pulse(6.0, 4, 4, 10) + calm(60), end_minute=135),
        evidence(calm(200)),
        evidence(calm() + pulse(7.0, 15, 10, 15), defrost=[span(119, 149)]),
    ]
    for night in nights:
        text = explain(night).explanation
        assert text.endswith(".")
        assert text.count(".") == 1


def test_door_counts_only_for_as_long_as_the_air_rose() -> None:
    """It stood open on, after the air had turned: that is no more warmth let in."""
    air = calm() + pulse(4.0, 5, 0, 60)
    rise = rise_of(evidence(air))
    assert rise is not None
    opened = [span(118, 180)]

    open_ms = cause._open_ms(evidence(air, door_open=opened), rise)

    assert open_ms == rise.peak_ms - 118 * MINUTE


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(0.5, "30 s"), (1.4, "84 s"), (1.5, "2 min"), (119.0, "119 min"), (120.0, "2.0 h")],
)
def test_durations_are_told_in_the_unit_a_person_would_use(minutes: float, words: str) -> None:
    """Seconds of a glimpse, hours of a night."""
    assert cause._minutes(minutes) == words


def test_slow_rise_that_passed_says_for_how_long_it_rose() -> None:
    """In minutes; the last tenth of a degree, in its noise, is left out."""
    verdict = explain(evidence(calm() + pulse(8.0, 50, 0, 10) + calm(60), end_minute=180))

    assert verdict.cause is Cause.UNKNOWN
    assert "rose for 49 min " in verdict.explanation


def test_half_way_of_a_rise_lies_between_its_begin_and_its_peak() -> None:
    """A heater has done half of it by then; the room's air that came in has done most."""
    steady = rise_of(evidence(calm() + pulse(8.0, 20, 5, 10) + calm(30)))
    filled = [2.0 + 8.0 * (1.0 - exp(-n / 4)) for n in range(1, 26)]
    sudden = rise_of(evidence(calm() + filled + calm(30)))

    assert steady is not None
    assert steady.half_way == pytest.approx(0.5, abs=0.06)
    assert sudden is not None
    assert sudden.half_way > 0.85
