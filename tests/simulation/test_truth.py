"""Weeks against the fish's true temperature, and mistakes in the service that they must find.

More weeks: ``make truth WEEKS=100 FIRST=1000``.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Any
from unittest.mock import patch

import pytest

from rimewatch.alarms import codec
from rimewatch.alarms.alarm import AlarmState
from rimewatch.alarms.engine import Engine
from rimewatch.evaluation import overseer
from rimewatch.rules import power_loss, usual
from simulation.truth import judged, play, week

Mistake = Callable[[], AbstractContextManager[Any]]


SEED = 7
"""Three outages, each with a compressor that stays dead, silence of all, and three new contacts."""


def test_somebody_is_told_what_is_so_in_days_of_troubles() -> None:
    """Told in time, told again, never the opposite, and no hold complete that was not true."""
    assert judged(play(week(SEED))) == []


def calls_warmth_usual() -> AbstractContextManager[Any]:
    """Six hours without power make another band."""
    true_step = usual.step
    return patch.object(
        usual, "step", lambda state, at_ms, air_c, **_: true_step(state, at_ms, air_c)
    )


def says_power_is_back_at_once() -> AbstractContextManager[Any]:
    """The first look after it went finds it back."""
    return patch.object(power_loss, "is_back", lambda *_: True)


def forgets_the_lines() -> AbstractContextManager[Any]:
    """Nothing gets worse once it has been acknowledged."""
    return patch.multiple(overseer, worst_of=lambda *_: 0)


def forgets_alarms_at_a_reload() -> AbstractContextManager[Any]:
    """What stood before stands no more."""
    return patch.object(codec, "from_json", lambda _: AlarmState())


def tells_newcomers_nothing() -> AbstractContextManager[Any]:
    """Whoever replaces a contact waits for the next alarm."""
    return patch.object(Engine, "catch_up", lambda _self, state, *_: (state, ()))


MISTAKES: tuple[Mistake, ...] = (
    tells_newcomers_nothing,
    calls_warmth_usual,
    forgets_the_lines,
    forgets_alarms_at_a_reload,
    says_power_is_back_at_once,
)


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.__name__)
def test_days_find_a_mistake_that_is_put_into_the_service(mistake: Mistake) -> None:
    """A check that finds nothing may be blind."""
    with mistake():
        assert judged(play(week(SEED))) != []
