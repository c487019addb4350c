import pytest

from rimewatch.alarms.priority import USUAL_PRIORITY, more_urgent, priority_of
from rimewatch.vocabulary import Priority, Rule

CONTRACT = {
    Rule.HOLDING: "high",
    Rule.FREEZER: "high",
    Rule.HOLD_AT_RISK: "high",
    Rule.POWER_LOSS: "high",
    Rule.STALE: "medium",
    Rule.OPERATING_LIMIT: "medium",
    Rule.PROJECTION: "medium",
    Rule.DOOR: "low",
    Rule.BATTERY: "low",
    Rule.STUCK: "low",
    Rule.IMPLAUSIBLE: "low",
    Rule.WATER: "low",
    Rule.HUMIDITY: "low",
    Rule.COOLING: "low",
}


@pytest.mark.parametrize("rule", list(Rule))
def test_priority_of_each_rule_is_the_contract_s(rule: Rule) -> None:
    """Fish at risk is high, what may become so is medium, the rest is low."""
    assert USUAL_PRIORITY[rule] == CONTRACT[rule]


@pytest.mark.parametrize(
    ("overrides", "consequence", "expected"),
    [
        ({}, None, Priority.MEDIUM),
        ({}, Priority.HIGH, Priority.HIGH),
        ({}, Priority.LOW, Priority.MEDIUM),
        ({Rule.PROJECTION: Priority.LOW}, None, Priority.LOW),
        ({Rule.PROJECTION: Priority.LOW}, Priority.HIGH, Priority.HIGH),
        ({Rule.PROJECTION: Priority.HIGH}, Priority.MEDIUM, Priority.HIGH),
        ({Rule.HOLDING: Priority.LOW}, None, Priority.MEDIUM),
    ],
)
def test_priority_shop_replaces_it_and_consequence_only_raises_it(
    overrides: dict[Rule, Priority], consequence: Priority | None, expected: Priority
) -> None:
    """The shop may set a rule's priority either way; what is at stake may only add to it."""
    assert priority_of(Rule.PROJECTION, overrides, consequence) is expected


def test_more_urgent_orders_all_three() -> None:
    """High before medium before low, whichever comes first."""
    order = [Priority.LOW, Priority.MEDIUM, Priority.HIGH]
    for i, first in enumerate(order):
        for j, second in enumerate(order):
            assert more_urgent(first, second) is order[max(i, j)]
