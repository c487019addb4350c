"""Some rules' alarms are joined when they come back soon; all others stay as they are."""

import pytest

from handmade import ONE_CONTACT, probe, shop, unit
from rimewatch.alarms.alarm import AlarmState
from rimewatch.alarms.engine import Engine
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.vocabulary import Rule, UnitId

CASE = UnitId("case-1")


def occurrences(engine: Engine, rule: Rule, again_ms: int) -> int:
    """How many alarms there are of a condition that was so, was not for a while, and is again."""
    key = AlarmKey(unit=CASE, rule=rule)
    condition = Condition(key=key, since_ms=0)
    ids = set()
    state = AlarmState()
    for at_ms, so in ((0, True), (1000, False), (1000 + again_ms, True)):
        state, _ = (
            engine.set_condition(state, condition, at_ms)
            if so
            else engine.clear_condition(state, key, at_ms)
        )
        ids |= {alarm.id for alarm in state.alarms.values()}
    return len(ids)


@pytest.mark.parametrize(
    ("rule", "again_s", "alarms"),
    [
        (Rule.STALE, 599, 1),
        (Rule.STALE, 600, 2),
        (Rule.HOLDING, 1, 2),
        (Rule.DOOR, 1, 2),
    ],
)
def test_window_of_a_rule_is_its_own(rule: Rule, again_s: int, alarms: int) -> None:
    """A limit's alarm is never joined to the one before."""
    engine = Engine(shop(unit(), probe(), ONE_CONTACT), chatter_windows_s={Rule.STALE: 600.0})

    assert occurrences(engine, rule, again_s * 1000) == alarms


def test_negative_window_is_refused_by_the_rules_name() -> None:
    """A slip of the pen."""
    with pytest.raises(ValueError, match="chatter_windows_s of stale is -1"):
        Engine(shop(unit(), probe(), ONE_CONTACT), chatter_windows_s={Rule.STALE: -1.0})
