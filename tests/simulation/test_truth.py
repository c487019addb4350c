"""Weeks against the fish's true temperature, and mistakes in the service that they must find.

More weeks: ``make truth WEEKS=100 FIRST=1000``.
"""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import Any
from unittest.mock import patch

import pytest

from rimewatch.alarms import codec
from rimewatch.alarms.alarm import AlarmState
from rimewatch.alarms.engine import Engine
from rimewatch.alarms.night import NightPolicy
from rimewatch.alarms.workbench import Workbench
from rimewatch.evaluation import channels, overseer
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.unit_air import AirWatch
from rimewatch.intake import receiver
from rimewatch.rules import power_loss, usual
from rimewatch.vocabulary import Priority
from simulation.truth import judged, play, week

Mistake = Callable[[], AbstractContextManager[Any]]


@pytest.mark.parametrize("seed", [5, 6])
def test_somebody_is_told_what_is_so_in_a_week_of_troubles(seed: int) -> None:
    """Told in time, told again, never the opposite, and no hold complete that was not true."""
    assert judged(play(week(seed))) == []


def suppresses_though_it_is_shelved() -> AbstractContextManager[Any]:
    """A cause silences its units for as long as it is so."""
    return patch.object(Workbench, "_speaks_for", lambda *_: True)


def suppresses_for_hours_after_power_is_back() -> AbstractContextManager[Any]:
    """Every unit is taken to be on its way back."""
    return patch.multiple(AirWatch, is_coming_back=lambda *_: True)


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


def acknowledges_for_ever() -> AbstractContextManager[Any]:
    """An acknowledgement ends with its alarm alone."""
    true_acknowledge = Workbench.acknowledge

    def acknowledge(self: Workbench, key: Any, *rest: Any) -> None:
        true_acknowledge(self, key, *rest)
        self.alarms[key] = replace(self.alarms[key], lapses_ms=None)

    return patch.object(Workbench, "acknowledge", acknowledge)


def forgets_alarms_at_a_reload() -> AbstractContextManager[Any]:
    """What stood before stands no more."""
    return patch.object(codec, "from_json", lambda _: AlarmState())


def forgets_escalation_at_a_reload() -> AbstractContextManager[Any]:
    """Alarms go on, their steps and repeats do not."""
    true_read = codec.from_json

    def read(text: str) -> AlarmState:
        state = true_read(text)
        return replace(
            state,
            alarms={
                key: replace(alarm, steps_done=99, repeats=())
                for key, alarm in state.alarms.items()
            },
        )

    return patch.object(codec, "from_json", read)


def tells_newcomers_nothing() -> AbstractContextManager[Any]:
    """Whoever replaces a contact waits for the next alarm."""
    return patch.object(Engine, "catch_up", lambda _self, state, *_: (state, ()))


def takes_silence_at_warmth_for_any_other() -> AbstractContextManager[Any]:
    """A silent probe can wait for the morning, whatever it said last."""
    return patch.object(Evaluator, "_unseen", lambda _self, _key, condition: condition)


def believes_every_clock() -> AbstractContextManager[Any]:
    """A time in a payload is a time."""
    return patch.object(receiver, "_is_believed", lambda *_: True)


def credits_gaps() -> AbstractContextManager[Any]:
    """Silence of half a day is taken for what lay at its ends."""
    return patch.object(channels, "stale_ms", lambda _: 12 * 3_600_000.0)


def waits_an_hour_longer() -> AbstractContextManager[Any]:
    """An excursion is told of when it has lasted an hour more than it may."""
    true_settings = channels.settings_for

    def settings_for(unit: Any, probe: Any) -> Any:
        return true_settings(replace(unit, on_delay_s=unit.on_delay_s + 3600), probe)

    return patch("rimewatch.evaluation.track.settings_for", settings_for)


def sleeps_at_night() -> AbstractContextManager[Any]:
    """Nothing may sound in the night."""
    return patch.multiple(
        NightPolicy,
        may_sound=lambda self, _priority, at_ms: not self.is_night(at_ms),
        may_wake=lambda _self, priority: priority is Priority.HIGH,
    )


def tells_each_alarm_once() -> AbstractContextManager[Any]:
    """No repeat, and nothing anew."""
    return patch.object(Workbench, "_fire_repeat", _without_words)


def _without_words(self: Workbench, alarm: Any, due: Any) -> None:
    (now,) = (r for r in alarm.repeats if r.step == due.step)
    later = replace(now, nth=now.nth + 1, due_ms=now.due_ms + 900_000)
    self.alarms[alarm.key] = replace(alarm, repeats=(later,))


MISTAKES: dict[Mistake, int] = {}
"""Each with the seed of a week that finds it."""


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda mistake: mistake.__name__)
def test_weeks_find_a_mistake_that_is_put_into_the_service(mistake: Mistake) -> None:
    """A check that finds nothing may be blind."""
    with mistake():
        assert judged(play(week(MISTAKES[mistake]))) != []
