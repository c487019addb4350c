"""For which times governing temperatures are to be sent, once hours of readings have changed."""

import math
from collections.abc import Iterable, Iterator

from rimewatch.evaluation.channels import settings_for
from rimewatch.evaluation.governing import WARM_UP_LAGS
from rimewatch.journal.readings import ChangedHour
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_S, ProbeId


def governing_spans(shop: Shop, hours: Iterable[ChangedHour]) -> Iterator[tuple[Probe, int, int]]:
    """Yield each governing probe of changed hours with first and last instant, in order of time.

    A span reaches beyond its hour by what the lag remembers; spans that touch are one, so that a
    backlog is sent once and not once an hour.

    Args:
        shop: The shop; probes that it does not have, or that speak for no fish, are left out.
        hours: The hours, in any order.
    """
    starts_ms: dict[ProbeId, list[tuple[int, int]]] = {}
    for hour in hours:
        starts_ms.setdefault(hour.probe, []).append((hour.from_ms, hour.to_ms))
    for name, changed in starts_ms.items():
        probe = shop.probe.get(name)
        if probe is None or probe not in shop.governing_probes(probe.unit):
            continue
        lag_s = settings_for(shop.unit[probe.unit], probe).lag_s
        reach_ms = math.ceil(WARM_UP_LAGS * lag_s * MS_PER_S)
        first_ms, last_ms = -1, -1
        for from_ms, to_ms in sorted(changed):
            if last_ms >= 0 and from_ms > last_ms + 1:
                yield probe, first_ms, last_ms
                first_ms = -1
            first_ms = from_ms if first_ms < 0 else first_ms
            last_ms = max(last_ms, to_ms + reach_ms)
        yield probe, first_ms, last_ms
