"""Fish on display that has used up its time in the warm: told before the limit, and at it. Pure.

An excursion has an alarm of its own as long as it lasts. Fish may use up its allowance without
one, a little above 40 °F for a day, or in many short ones; this looks at the sum. It is told
under the rule ``projection``: what is allowed will be gone, or is.
"""

from collections.abc import Iterable, Mapping
from typing import Final

from rimewatch.evaluation.channels import ChannelHistory
from rimewatch.evaluation.lot_book import LotEntries
from rimewatch.evaluation.lot_story import exposure_of
from rimewatch.evaluation.store import ReadingStore
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import Shop, Unit
from rimewatch.vocabulary import MS_PER_MINUTE, Kind, LotId, Priority, ProbeId, Rule

EARLY_SHARE: Final = 0.75
"""From so much of an allowance on somebody is told, while there is time to act."""

LOOK_EVERY_MS: Final = 10 * MS_PER_MINUTE
"""The shortest allowance is two hours: it does not run out unnoticed between two looks."""


def used_up_condition(
    shop: Shop,
    store: ReadingStore,
    histories: Mapping[ProbeId, ChannelHistory],
    unit: Unit,
    lots: Iterable[LotEntries],
    standing: Condition | None,
    at_ms: int,
) -> Condition | None:
    """Return that fish in a unit has used up most or all of an allowance; None: none has.

    Args:
        shop: The shop.
        store: Its readings.
        histories: Its channels.
        unit: A chilled unit.
        lots: What stands in it.
        standing: The condition as it was told last; None: it was not.
        at_ms: The instant.
    """
    shares: dict[LotId, float] = {}
    for lot in lots:
        if lot.received is not None and not lot.received.serve_raw:
            continue
        used = exposure_of(shop, histories, store, lot, at_ms).used.values()
        share = max((one.share for one in used), default=0.0)
        if share >= EARLY_SHARE:
            shares[lot.lot] = share
    if not shares:
        return None
    worst = max(shares.values())
    is_gone = worst >= 1.0
    return Condition(
        key=AlarmKey(unit=unit.id, rule=Rule.PROJECTION),
        since_ms=at_ms if standing is None else standing.since_ms,
        priority=Priority.HIGH if is_gone and unit.kind is Kind.DISPLAY_CASE else Priority.MEDIUM,
        lots=tuple(shares),
        severity=1 if is_gone else 0,
        used_share=worst,
    )


def graver(one: Condition | None, other: Condition | None) -> Condition | None:
    """Return which of two findings under one rule is to be told: the more urgent, then the first.

    Urgent is what says so; a rule's usual priority is less.
    """
    if one is None or other is None:
        return one or other
    return other if other.priority is Priority.HIGH and one.priority is not Priority.HIGH else one
