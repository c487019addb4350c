"""When to try a message again that could not be sent, and when to give it up.

Pure: no clock, no randomness, no I/O. The same failure gives the same next try,
whenever and wherever it is asked for. Durations are seconds, instants milliseconds
UTC. Every number here is our choice (no source): an alarm is worth little an hour
late, and a push service that is down should not be hammered by a whole street.
"""

import hashlib
from typing import Final

from rimewatch.vocabulary import MS_PER_DAY, MS_PER_S

STEPS_S: Final = (5.0, 15.0, 45.0, 120.0, 300.0)
"""Wait after the first, second, … try in vain; the last one from there on."""

JITTER: Final = 0.2
"""Largest part by which a wait is stretched or shortened, so that messages that failed
together do not all come back together."""

URGENT_CAP_S: Final = 60.0
"""Longest wait of an urgent message while it is young."""

URGENT_YOUNG_S: Final = 6 * 3600.0
"""How long an urgent message counts as young: as long as most nights are. One that waits is the
newest word on its alarm (older ones are given up), so somebody still has to hear it."""

GIVE_UP_MS: Final = MS_PER_DAY
"""Age before which nothing is given up."""

FEWEST_TRIES: Final = 12
"""Tries before which nothing is given up, whatever its age: a clock that was set right
after the message was made would otherwise make it a day old at its first failure."""


def wait_s(tries: int, *, key: str) -> float:
    """Return how long to wait after a number of tries in vain.

    Grows with every try until the last step. It never overlaps the step before it.

    Args:
        tries: How often it was tried in vain, the last time included; at least 1.
        key: The message's idempotency key; decides the jitter.

    Returns:
        Seconds, within ±20 % of the step.

    Raises:
        ValueError: If ``tries`` is below 1.
    """
    if tries < 1:
        raise ValueError(f"tries is {tries}, expected at least 1: nothing has failed yet")
    step_s = STEPS_S[min(tries, len(STEPS_S)) - 1]
    return step_s * (1.0 + JITTER * _between_minus_one_and_one(f"{tries}/{key}"))


def next_try_ms(*, tries: int, made_ms: int, tried_ms: int, key: str, urgent: bool) -> int | None:
    """Return when to try a message again, or None when it is given up.

    Args:
        tries: How often it was tried in vain, the last time included; at least 1.
        made_ms: When the message was made.
        tried_ms: When the last try failed.
        key: The message's idempotency key.
        urgent: Whether it may wake somebody; such a one waits at most 60 s in its
            first six hours.

    Returns:
        An instant after ``tried_ms``; None once it is both a day old and was tried
        often enough.

    Raises:
        ValueError: If ``tries`` is below 1.
    """
    seconds = wait_s(tries, key=key)
    age_ms = tried_ms - made_ms
    if age_ms >= GIVE_UP_MS and tries >= FEWEST_TRIES:
        return None
    if urgent and age_ms < URGENT_YOUNG_S * MS_PER_S:
        seconds = min(seconds, URGENT_CAP_S)
    return tried_ms + round(seconds * MS_PER_S)


def _between_minus_one_and_one(text: str) -> float:
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()
    return int.from_bytes(digest[:4], "big") / (2**31 - 0.5) - 1.0
