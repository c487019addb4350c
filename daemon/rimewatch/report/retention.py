"""How long readings must be kept, and from when on they may be thinned out. Pure.

Only readings are ever thinned out, and only to the range of each hour. The readings behind
a lot's freezing stay as long as the lot's record must: until 90 days after it was sold.

References:
    [1] 21 CFR 123.9(b)(1): one year for refrigerated, two years for frozen products. Retail
        is outside 21 CFR 123 (123.3(k)(2)); its times are taken as the least that serves.
    [2] FDA Food Code 2022, 3-402.12(A): freezing records for 90 calendar days beyond the time
        of service or sale, so from the last sale of a lot.
"""

from collections.abc import Iterable, Mapping
from typing import Final

from rimewatch.evaluation.lot_book import LotEntries
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, UnitId

_SPARE_DAYS: Final = 1
"""Calendar days are the shop's, and may be an hour longer than 24 h."""


def keep_from_ms(shop: Shop, lots: Iterable[LotEntries], now_ms: int) -> Mapping[UnitId, int]:
    """Return for each unit the instant from which its readings must stay whole.

    A lot that nobody has withdrawn holds on to the readings of every unit it was in since its
    freezing was started, however long ago.

    Args:
        shop: The shop, with its own times of keeping.
        lots: The lots on the books.
        now_ms: The present instant.
    """
    keep_days = {
        unit.id: shop.keep_frozen_days if unit.kind.is_freezer else shop.keep_chilled_days
        for unit in shop.units
    }
    found = {unit: now_ms - days * MS_PER_DAY for unit, days in keep_days.items()}
    for lot in lots:
        freezing = lot.first_freezing
        if freezing is None or _is_past(lot, shop.keep_days, now_ms):
            continue
        for place in lot.placements:
            if place.unit in found and (place.to_ms is None or place.to_ms > freezing.at_ms):
                start_ms = round(max(place.from_ms, freezing.at_ms))
                found[place.unit] = min(found[place.unit], start_ms - MS_PER_DAY)
    return found


def _is_past(lot: LotEntries, keep_days: int, now_ms: int) -> bool:
    if lot.withdrawn is None:
        return False
    return now_ms - lot.withdrawn.at_ms > (keep_days + _SPARE_DAYS) * MS_PER_DAY
