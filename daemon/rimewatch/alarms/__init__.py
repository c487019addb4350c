"""Alarms: life cycle, priorities, night, escalation.

Conditions come in (``rimewatch.rules.condition``), effects go out.
Pure: no I/O, no clock, no logging.
"""

from rimewatch.alarms.alarm import Alarm, AlarmState, Repeat
from rimewatch.alarms.codec import from_json, to_json
from rimewatch.alarms.effects import AlarmChanged, Effect, Logged, Send
from rimewatch.alarms.engine import Engine, Outcome
from rimewatch.alarms.lifecycle import Event, State

__all__ = [
    "Alarm",
    "AlarmChanged",
    "AlarmState",
    "Effect",
    "Engine",
    "Event",
    "Logged",
    "Outcome",
    "Repeat",
    "Send",
    "State",
    "from_json",
    "to_json",
]
