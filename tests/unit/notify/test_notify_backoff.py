"""When a message that could not be sent is tried again."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rimewatch.notify.backoff import (
    FEWEST_TRIES,
    GIVE_UP_MS,
    JITTER,
    STEPS_S,
    next_try_ms,
    wait_s,
)
from rimewatch.vocabulary import MS_PER_S

MADE_MS = 1_772_438_400_000
SIX_HOURS_MS = 6 * 3_600_000
KEYS = st.text(max_size=40)


@given(tries=st.integers(1, 500), key=KEYS)
def test_wait_stays_within_a_fifth_of_its_step(tries: int, key: str) -> None:
    """5 s, 15 s, 45 s, 2 min, 5 min, then every 5 min, give or take a fifth."""
    step_s = (5, 15, 45, 120, 300)[min(tries, 5) - 1]

    assert step_s * 0.8 <= wait_s(tries, key=key) <= step_s * 1.2


@given(key=KEYS)
def test_wait_grows_until_its_last_step(key: str) -> None:
    """Whatever the jitter, no wait is shorter than the one before it until 5 min are reached."""
    waits = [wait_s(tries, key=key) for tries in range(1, len(STEPS_S) + 1)]

    assert waits == sorted(set(waits))


@given(tries=st.integers(1, 500), key=KEYS, urgent=st.booleans())
def test_next_try_for_the_same_failure_is_the_same(tries: int, key: str, urgent: bool) -> None:
    """After a restart the plan is the one from before it."""
    plans = {
        next_try_ms(tries=tries, made_ms=MADE_MS, tried_ms=MADE_MS + 7, key=key, urgent=urgent)
        for _ in range(3)
    }

    assert len(plans) == 1


def test_wait_of_many_messages_is_spread_over_its_range() -> None:
    """Messages that failed together do not all come back together."""
    waits = [wait_s(5, key=f"alarm-{number}") for number in range(400)]

    assert min(waits) < 300 * (1 - 0.9 * JITTER)
    assert max(waits) > 300 * (1 + 0.9 * JITTER)
    assert 290 < sum(waits) / len(waits) < 310


@given(
    tries=st.integers(1, 100),
    key=KEYS,
    age_ms=st.integers(0, SIX_HOURS_MS - 1),
)
@example(tries=100, key="", age_ms=SIX_HOURS_MS - 1)
def test_urgent_message_in_its_first_hours_waits_a_minute_at_most(
    tries: int, key: str, age_ms: int
) -> None:
    """Fish at risk is told as soon as the push service is back."""
    tried_ms = MADE_MS + age_ms
    again_ms = next_try_ms(tries=tries, made_ms=MADE_MS, tried_ms=tried_ms, key=key, urgent=True)

    assert again_ms is not None
    assert 0 < again_ms - tried_ms <= 60 * MS_PER_S


def test_urgent_message_after_six_hours_waits_as_others_do() -> None:
    """An old alarm does not hammer a service that is down."""
    tried_ms = MADE_MS + SIX_HOURS_MS
    plans = {
        next_try_ms(tries=9, made_ms=MADE_MS, tried_ms=tried_ms, key="k", urgent=urgent)
        for urgent in (True, False)
    }

    assert plans == {tried_ms + round(wait_s(9, key="k") * MS_PER_S)}


@given(
    tries=st.integers(1, 1000),
    key=KEYS,
    urgent=st.booleans(),
    age_ms=st.integers(-GIVE_UP_MS, GIVE_UP_MS - 1),
)
@example(tries=1000, key="", urgent=False, age_ms=GIVE_UP_MS - 1)
def test_message_younger_than_a_day_is_never_given_up(
    tries: int, key: str, urgent: bool, age_ms: int
) -> None:
    """A night without network does not lose the morning's summary, and no alarm."""
    tried_ms = MADE_MS + age_ms
    again_ms = next_try_ms(tries=tries, made_ms=MADE_MS, tried_ms=tried_ms, key=key, urgent=urgent)

    assert again_ms is not None
    assert again_ms > tried_ms


@pytest.mark.parametrize("urgent", [True, False])
def test_message_a_day_old_is_given_up_after_enough_tries(urgent: bool) -> None:
    """Yesterday's news is not sent for ever."""
    tried_ms = MADE_MS + GIVE_UP_MS

    assert (
        next_try_ms(tries=FEWEST_TRIES, made_ms=MADE_MS, tried_ms=tried_ms, key="k", urgent=urgent)
        is None
    )


def test_message_made_before_the_clock_was_set_is_not_given_up_at_its_first_failure() -> None:
    """A machine without a clock of its own starts in 1970; its first alarm is not 56 years old."""
    assert next_try_ms(tries=1, made_ms=1000, tried_ms=MADE_MS, key="k", urgent=True) is not None


def test_wait_before_any_failure_is_refused() -> None:
    """A wait after no try is somebody's mistake."""
    with pytest.raises(ValueError, match="tries is 0, expected at least 1"):
        wait_s(0, key="k")
