"""How much of the shop's own shelf life a lot has used: quality, never safety. Pure.

References:
    [1] Relative rate of spoilage by the square root model, see ``science.spoilage``.
"""

from rimewatch.evaluation.governing import governing_readings
from rimewatch.evaluation.lot_story import LotStory
from rimewatch.evaluation.store import ReadingStore
from rimewatch.lots.own_species import use_by_ice_days
from rimewatch.lots.record import UseBy
from rimewatch.science import spoilage
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY


def use_by_of(shop: Shop, store: ReadingStore, story: LotStory, now_ms: int) -> UseBy | None:
    """Return a lot's use-by; None where the shop has set no limit, or the lot is gone."""
    species = None if story.need is None else story.need.species
    limit = use_by_ice_days(shop.species, species, shop.use_by_ice_days)
    if limit is None or story.entries.received is None or story.entries.withdrawn is not None:
        return None
    at_c = _now_c(shop, store, story, now_ms)
    use_by_ms: int | None = None
    if story.ice_days >= limit:
        use_by_ms = now_ms
    elif at_c is not None and spoilage.in_domain(at_c):
        left_days = spoilage.life_left(limit, story.ice_days, at_c)
        use_by_ms = now_ms + round(left_days * MS_PER_DAY)
    return UseBy(limit_ice_days=limit, at_c=at_c, use_by_ms=use_by_ms)


def _now_c(shop: Shop, store: ReadingStore, story: LotStory, now_ms: int) -> float | None:
    unit = story.entries.unit
    if unit is None or unit not in shop.unit:
        return None
    found: list[float] = []
    for probe in shop.governing_probes(unit):
        last = store.last_before(probe.id, now_ms + 1)
        if last is None or (probe.stale_s is not None and now_ms - last[0] > probe.stale_s * 1000):
            continue
        span = governing_readings(shop, store, probe, last[0], last[0])
        found.extend(span.values[span.times_ms == last[0]].tolist())
    return max(found) if found else None
