"""Whether an acknowledgement meets the alarm that it is about, and what to say where not. Pure."""

from rimewatch.alarms.alarm import AlarmState
from rimewatch.entries import Acknowledge
from rimewatch.rules.condition import AlarmKey


def alarm_name(key: AlarmKey) -> str:
    """Return an alarm as commands name it: its unit, - for one over several, and its rule."""
    return f"{key.unit or '-'} {key.rule.value}"


def missed(entry: Acknowledge, alarms: AlarmState) -> str:
    """Return why an acknowledgement does nothing, in one sentence without its stop; empty: it does.

    Args:
        entry: The acknowledgement.
        alarms: The alarms at its instant.
    """
    key = AlarmKey(unit=entry.unit, rule=entry.rule)
    alarm = alarms.alarms.get(key)
    if alarm is None:
        others = ", ".join(sorted(alarm_name(other) for other in alarms.alarms)) or "none"
        return f"no alarm {alarm_name(key)} is on, so nothing was acknowledged; on now: {others}"
    if entry.alarm and alarm.id != entry.alarm:
        return (
            f"the alarm {alarm_name(key)} that was meant is over, and nobody has seen the one that "
            "is on now; look at it, and acknowledge that"
        )
    if alarm.silent:
        return f"the alarm {alarm_name(key)} is silent already (shelved, or out of service)"
    return ""
