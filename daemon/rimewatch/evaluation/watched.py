"""Whether a configuration still watches what an alarm is about. Pure."""

from typing import Final

from rimewatch.evaluation.channels import limit_rule
from rimewatch.evaluation.rule_bench import RuleBench
from rimewatch.rules.condition import AlarmKey
from rimewatch.rules.probe_rules import PROBE_RULES
from rimewatch.shop import Shop
from rimewatch.vocabulary import Rule

RUN_ON_PROBES: Final = frozenset(rule.rule for rule in PROBE_RULES)
"""Rules that are asked only of the probes they apply to."""


def is_watched(shop: Shop, bench: RuleBench, key: AlarmKey) -> bool:
    """Return whether a shop watches a unit by a rule.

    Args:
        shop: The shop.
        bench: Its rules over single probes.
        key: A unit and a rule; without a unit it is about several, and stays.
    """
    if key.unit is None:
        return True
    unit = shop.unit.get(key.unit)
    if unit is None:
        return False
    if key.rule in (Rule.HOLDING, Rule.FREEZER):
        return key.rule is limit_rule(unit)
    if key.rule is Rule.OPERATING_LIMIT:
        return unit.operating_limit_c is not None
    return key.rule not in RUN_ON_PROBES or bench.is_watched(unit.id, key.rule)
