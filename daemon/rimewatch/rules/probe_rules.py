"""The rules over single probes, a row each. Pure."""

from typing import Final

from rimewatch.rules.battery import BatteryRule
from rimewatch.rules.contact import ContactRule
from rimewatch.rules.humidity import HumidityRule
from rimewatch.rules.implausible import ImplausibleRule
from rimewatch.rules.probe_rule import ProbeRule
from rimewatch.rules.stale import StaleRule
from rimewatch.rules.stuck import StuckRule
from rimewatch.vocabulary import Measures, Rule

IMPLAUSIBLE: Final = ImplausibleRule()
"""The one rule that is told of values that were not believed, as well."""

STALE: Final = StaleRule()
"""The one rule that is told of probes that have said that they are gone, and of messages that
gave no reading of theirs."""

PROBE_RULES: Final[tuple[ProbeRule, ...]] = (
    STALE,
    ContactRule(Rule.DOOR, Measures.DOOR, "the door stands open"),
    ContactRule(Rule.WATER, Measures.WATER, "there is water"),
    BatteryRule(),
    StuckRule(),
    HumidityRule(),
    IMPLAUSIBLE,
)
