"""How urgent an alarm is: the usual priority of its rule, the shop's own, the consequence.

IEC 62682 asks for few priorities, set by consequence and time to respond. Three serve
here. The usual ones are the contract of this service.
Pure values.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from rimewatch.vocabulary import Priority, Rule

_HIGH: Final = frozenset({Rule.HOLDING, Rule.FREEZER, Rule.HOLD_AT_RISK, Rule.POWER_LOSS})
_MEDIUM: Final = frozenset({Rule.STALE, Rule.OPERATING_LIMIT, Rule.PROJECTION})

USUAL_PRIORITY: Final[Mapping[Rule, Priority]] = MappingProxyType(
    {
        rule: Priority.HIGH
        if rule in _HIGH
        else Priority.MEDIUM
        if rule in _MEDIUM
        else Priority.LOW
        for rule in Rule
    }
)
"""The priority of each rule where nobody decided otherwise."""

_URGENCY: Final[Mapping[Priority, int]] = MappingProxyType(
    {Priority.LOW: 0, Priority.MEDIUM: 1, Priority.HIGH: 2}
)


def more_urgent(first: Priority, second: Priority) -> Priority:
    """Return the more urgent of two priorities.

    >>> more_urgent(Priority.LOW, Priority.MEDIUM).value
    'medium'
    """
    return first if _URGENCY[first] >= _URGENCY[second] else second


def priority_of(
    rule: Rule, overrides: Mapping[Rule, Priority], consequence: Priority | None = None
) -> Priority:
    """Return an alarm's priority.

    Args:
        rule: What was found wrong.
        overrides: The shop's own priorities; they replace the usual ones, up or down.
        consequence: What the rule itself found to be at stake; it only ever raises.
            None: nothing beyond the usual.
    """
    usual = overrides.get(rule, USUAL_PRIORITY[rule])
    return usual if consequence is None else more_urgent(usual, consequence)
