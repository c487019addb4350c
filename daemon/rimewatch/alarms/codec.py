"""The engine's state as JSON text, and back, exactly.

The text is canonical (sorted keys, fixed order of entries, no blanks), so that equal
states give equal bytes. Numbers survive as they are; what JSON cannot say (NaN,
infinity) is refused rather than changed.

Pure: text in, text out; storing it is somebody else's work.
"""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict
from typing import Any, Final, TypeVar

from rimewatch.alarms.alarm import Alarm, AlarmState, Repeat
from rimewatch.alarms.lifecycle import State
from rimewatch.alarms.timetable import key_order
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.vocabulary import Cause, Priority, Rule, Standing, Unread

FORMAT: Final = 1
"""Raised whenever a state written before can no longer be read."""

_T = TypeVar("_T")


def to_json(state: AlarmState) -> str:
    """Return a state as JSON text.

    Raises:
        ValueError: If a condition holds a number that is not finite.
    """
    plain = {
        "format": FORMAT,
        "alarms": [asdict(alarm) for alarm in _in_order(state.alarms)],
        "closed": [asdict(alarm) for alarm in _in_order(state.closed)],
        "conditions": [asdict(condition) for condition in _in_order(state.conditions)],
        "shelves": _pairs(state.shelves, int),
        "out_of_service": sorted(state.out_of_service),
        "suppressed": _pairs(state.suppressed, _keys),
        "lifting": _pairs(state.lifting, int),
    }
    return json.dumps(
        plain, sort_keys=True, allow_nan=False, ensure_ascii=False, separators=(",", ":")
    )


def alarm_to_json(alarm: Alarm) -> str:
    """Return one alarm as JSON text, for its record."""
    return json.dumps(asdict(alarm), ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def alarm_from_json(text: str) -> Alarm:
    """Return the alarm that :func:`alarm_to_json` wrote.

    Raises:
        ValueError: If the text is no such alarm.
    """
    try:
        return _alarm(json.loads(text))
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise ValueError(f"the alarm cannot be read: {error!r}") from error


def from_json(text: str) -> AlarmState:
    """Return the state that :func:`to_json` wrote.

    Raises:
        ValueError: If the text is not such a state, or was written in another format.
    """
    try:
        plain = json.loads(text)
        written = plain["format"]
        if written == FORMAT:
            return _state(plain)
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise ValueError(f"the alarms' state cannot be read: {error!r}") from error
    raise ValueError(
        f"the alarms' state is in format {written!r}; expected {FORMAT}: it was written by "
        "another version of this program"
    )


def _in_order(entries: Mapping[AlarmKey, _T]) -> list[_T]:
    return [entries[key] for key in sorted(entries, key=key_order)]


def _pairs(entries: Mapping[AlarmKey, _T], write: Callable[[_T], object]) -> list[object]:
    return [[asdict(key), write(entries[key])] for key in sorted(entries, key=key_order)]


def _keys(keys: Iterable[AlarmKey]) -> list[object]:
    return [asdict(key) for key in sorted(keys, key=key_order)]


def _key(plain: Mapping[str, Any]) -> AlarmKey:
    return AlarmKey(unit=plain["unit"], rule=Rule(plain["rule"]))


def _condition(plain: Mapping[str, Any]) -> Condition:
    return Condition(
        **{
            **plain,
            "key": _key(plain["key"]),
            "priority": None if plain["priority"] is None else Priority(plain["priority"]),
            "units": tuple(plain["units"]),
            "cause": None if plain["cause"] is None else Cause(plain["cause"]),
            "lots": tuple(plain["lots"]),
            "standings": tuple((lot, Standing(said)) for lot, said in plain.get("standings", ())),
            "unread": tuple((probe, Unread(why)) for probe, why in plain.get("unread", ())),
        }
    )


def _alarm(plain: Mapping[str, Any]) -> Alarm:
    return Alarm(
        **{
            **plain,
            "key": _key(plain["key"]),
            "units": tuple(plain["units"]),
            "priority": Priority(plain["priority"]),
            "state": State(plain["state"]),
            "condition": _condition(plain["condition"]),
            "repeats": tuple(Repeat(**repeat) for repeat in plain["repeats"]),
            "owes": tuple(plain["owes"]),
            # Written by earlier versions without it: those who were told had been reached.
            "reached": tuple(plain.get("reached", plain["owes"])),
        }
    )


def _state(plain: Mapping[str, Any]) -> AlarmState:
    alarms = [_alarm(entry) for entry in plain["alarms"]]
    closed = [_alarm(entry) for entry in plain["closed"]]
    conditions = [_condition(entry) for entry in plain["conditions"]]
    return AlarmState(
        alarms={alarm.key: alarm for alarm in alarms},
        closed={alarm.key: alarm for alarm in closed},
        conditions={condition.key: condition for condition in conditions},
        shelves={_key(key): until_ms for key, until_ms in plain["shelves"]},
        out_of_service=frozenset(plain["out_of_service"]),
        suppressed={
            _key(key): frozenset(_key(cause) for cause in causes)
            for key, causes in plain["suppressed"]
        },
        lifting={_key(key): at_ms for key, at_ms in plain["lifting"]},
    )
