"""All probes silent at once: the hub or the broker they share, and one alarm of it. Pure."""

from collections.abc import Collection, Mapping
from typing import Final

from rimewatch.evaluation.channels import stale_ms
from rimewatch.rules.condition import AlarmKey, Condition
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, Priority, ProbeId, Rule, UnitId

LOOK_AT: Final = "look at what they share, the hub, the network or the broker"

ALL_STALE: Final = AlarmKey(unit=None, rule=Rule.STALE)

FEWEST_PROBES: Final = 3
FEWEST_UNITS: Final = 2
SHARE: Final = 0.8
"""This share of the probes that speak must have fallen silent together."""
OVERDUE: Final = 0.5
"""A probe silent for this part of its stale time has missed a reading already: what the
first stale one says of the hub need not wait for the last. Common practice, no source."""
BACK_SHARE: Final = 0.5
"""The hub is back once more than this share of the probes have spoken again."""
HEARD_WITHIN_MS: Final = MS_PER_DAY
"""A probe that has not been heard for a day is no part of what falls silent (the contract's)."""


def silence_condition(
    shop: Shop,
    last_ms: Mapping[ProbeId, int],
    standing: Condition | None,
    at_ms: int,
    *,
    since_ms: int = 0,
) -> Condition | None:
    """Return that probes are silent together, if it is so at an instant.

    Urgent where it is every probe of two units or more that was heard within the last day,
    each for its stale time: then nobody knows anything of any fish.

    Args:
        shop: The shop.
        last_ms: When each probe that ever spoke last did.
        standing: The common silence that was so before.
        at_ms: The instant.
        since_ms: When this evaluator began to watch. Silence is counted from then on: what
            the broker kept while nobody watched is old, and no sign of a dead hub.
    """
    heard_ms = {
        p.id: max(last_ms[p.id], since_ms)
        for p in shop.probes
        if p.stale_s is not None and p.id in last_ms
    }
    probes = [p for p in shop.probes if p.id in heard_ms]
    overdue = [p for p in probes if at_ms - heard_ms[p.id] >= OVERDUE * stale_ms(p)]
    if standing is not None:
        group = {p.id for p in probes if p.unit in standing.units}
        silent = sum(p.id in group for p in overdue)
        if silent < (1.0 - BACK_SHARE) * len(group):
            return None
    if not overdue:
        return standing
    latest_ms = max(heard_ms[p.id] for p in overdue)
    within_ms = max(stale_ms(p) for p in overdue)
    # Those that died long before are no part of it, and no evidence against it.
    together = [p for p in overdue if heard_ms[p.id] > latest_ms - within_ms]
    units = tuple(dict.fromkeys(p.unit for p in together))
    lately = [
        p
        for p in probes
        if at_ms - last_ms[p.id] <= HEARD_WITHIN_MS and heard_ms[p.id] > latest_ms - within_ms
    ]
    is_all = (
        len(units) >= FEWEST_UNITS
        and bool(lately)
        and all(at_ms - heard_ms[p.id] >= stale_ms(p) for p in lately)
    )
    if is_all:
        since_all_ms = min(heard_ms[p.id] for p in together)
        return Condition(
            key=ALL_STALE,
            since_ms=since_all_ms if standing is None else standing.since_ms,
            units=units if standing is None else _in_order(shop, {*units, *standing.units}),
            priority=Priority.HIGH,
            detail=f"all {len(together)} probes fell silent together: {LOOK_AT}",
        )
    if standing is not None:
        return standing
    speaking = sum(ms > latest_ms for ms in heard_ms.values())
    if (
        len(together) < FEWEST_PROBES
        or len(units) < FEWEST_UNITS
        or len(together) < SHARE * (len(together) + speaking)
        or not any(at_ms - heard_ms[p.id] >= stale_ms(p) for p in together)
    ):
        return None
    return Condition(
        key=ALL_STALE,
        since_ms=min(heard_ms[p.id] for p in together),
        units=units,
        detail=f"{len(together)} probes fell silent together: {LOOK_AT}",
    )


def _in_order(shop: Shop, units: Collection[UnitId]) -> tuple[UnitId, ...]:
    return tuple(unit.id for unit in shop.units if unit.id in units)
