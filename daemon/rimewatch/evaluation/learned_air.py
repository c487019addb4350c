"""When each unit's air was out of its usual band, learned once and asked many times.

Pure: readings from the store, settings from the shop. Good for one look back (a ledger, a
message): it does not see readings that come into the store after it was first asked.
"""

from typing import Final

from rimewatch.evaluation.store import ReadingStore
from rimewatch.evaluation.unit_air import air_probe
from rimewatch.rules import usual, usual_span
from rimewatch.rules.usual import ADOPTED_AFTER_MS, Departure
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId, UnitId

STRETCH_MS: Final = 3 * MS_PER_DAY
"""The past is learned in stretches of this length on a fixed grid, so that what is found does
not depend on which excursion, or which period, is asked about."""

LOOK_BACK_MS: Final = MS_PER_DAY
"""A stretch is learned from so long before it: a full freezer takes that long to its limit."""

LOOK_ON_MS: Final = ADOPTED_AFTER_MS + MS_PER_H
"""And to so long after it: what began within the hour is over by then, or another band."""


class LearnedAir:
    """The departures of every unit's air, each stretch folded when it is first asked for.

    Args:
        shop: The shop.
        store: Its readings.
    """

    def __init__(self, shop: Shop, store: ReadingStore) -> None:
        self._shop = shop
        self._store = store
        self._found: dict[tuple[UnitId, int], list[Departure]] = {}

    def departures(self, unit: UnitId, about_ms: int, until_ms: int) -> list[Departure]:
        """Return the times a unit's air was out of its band around an instant, in order.

        Args:
            unit: The unit; one without a probe has none.
            about_ms: What happened then is asked about.
            until_ms: Nothing later is looked at: what was under way then ends the list.
        """
        probe = air_probe(self._shop, unit)
        if probe is None:
            return []
        stretch = about_ms // STRETCH_MS
        found = self._found.get((unit, stretch))
        if found is None:
            from_ms = stretch * STRETCH_MS - LOOK_BACK_MS
            span = self._store.span(probe.id, from_ms, (stretch + 1) * STRETCH_MS + LOOK_ON_MS)
            found = usual_span.departures(span.times_ms, span.values)
            self._found[unit, stretch] = found
        begun = [one for one in found if one.left_ms <= until_ms]
        if begun and begun[-1].last_ms > until_ms:
            begun[-1] = self._as_of(probe.id, begun[-1], until_ms)
        return begun

    def _as_of(self, probe: ProbeId, one: Departure, until_ms: int) -> Departure:
        """Return a departure as it was while it was under way."""
        span = self._store.span(probe, one.left_ms, until_ms)
        (first_ms, *times_ms), (first_c, *values_c) = span.times_ms.tolist(), span.values.tolist()
        seen = Departure(
            usual_c=one.usual_c,
            top_c=one.top_c,
            from_ms=one.from_ms,
            left_ms=one.left_ms,
            peak_c=first_c,
            peak_ms=first_ms,
            last_ms=first_ms,
            last_c=first_c,
        )
        for at_ms, value_c in zip(times_ms, values_c, strict=True):
            seen = usual.further(seen, at_ms, value_c)
        return seen
