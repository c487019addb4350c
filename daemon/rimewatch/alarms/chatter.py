"""Alarms that chatter: how soon one comes back to be the same one. Pure values.

References:
    [1] IEC 62682:2022 calls an alarm that comes and goes in a short time chattering, and asks
        that it be dealt with. How long is our choice: docs/decisions/0012.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from rimewatch.vocabulary import Rule

CHATTER_S: Final[Mapping[Rule, float]] = MappingProxyType(
    {
        Rule.STALE: 600.0,
        Rule.WATER: 600.0,
        Rule.HUMIDITY: 600.0,
        Rule.STUCK: 600.0,
        Rule.IMPLAUSIBLE: 600.0,
        Rule.PROJECTION: 600.0,
    }
)
"""Alarms of these rules that come back so soon are one alarm."""
