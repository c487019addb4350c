"""What is known of a unit's cold, over whatever probes spoke for it at each time. Pure.

A probe's break is the unit's while that probe spoke for it: it stays where the probe was moved
or taken out since. Where one took over from another, the time between the last reading of
before and the first after is silence like any other. Where none spoke, nobody was looking.
"""

from collections.abc import Mapping
from dataclasses import replace
from math import inf

from rimewatch.evaluation.channels import ChannelHistory, gap
from rimewatch.lots.hold import NOTHING_PROVEN, Break, ColdRecord, merge_records
from rimewatch.rules.stages import shortest_stale_ms
from rimewatch.shop import Seat, Shop
from rimewatch.vocabulary import ProbeId, UnitId


def cold_of_unit(
    shop: Shop,
    histories: Mapping[ProbeId, ChannelHistory],
    unit: UnitId,
    level_c: float,
    to_ms: int,
) -> ColdRecord:
    """Return what all governing probes of a unit agree on; nothing without a probe.

    Args:
        shop: The shop, with what held before.
        histories: Its channels.
        unit: The unit.
        level_c: A freezing option's temperature, °C.
        to_ms: Nothing later is known.
    """
    seats = [seat for seat in shop.seats_in(unit, to_ms=to_ms) if seat.key in histories]
    if not seats:
        return NOTHING_PROVEN
    if all(seat.lasts and seat.from_ms == -inf for seat in seats):
        return merge_records([histories[seat.key].cold(level_c, to_ms) for seat in seats])
    breaks: list[Break] = []
    known: list[float] = []
    for seat in seats:
        history = histories[seat.key]
        breaks.extend(_breaks(history, level_c, seats, histories))
        breaks.extend(_taking_over(seat, seats, histories, to_ms))
        last_ms = history.state.last_ms
        end_ms = min(seat.to_ms, float(to_ms))
        if last_ms is not None and end_ms - last_ms > history.stale_ms(to_ms):
            breaks.append(gap(float(last_ms), None if seat.lasts else end_ms))
        if seat.lasts:
            before_ms = _known_before(seat.from_ms, seats, histories)
            known.append(before_ms if last_ms is None else float(last_ms))
    for from_ms, until_ms, then in shop.held:
        if from_ms <= to_ms and not (unit in then.unit and then.governing_probes(unit)):
            since_ms = _known_before(from_ms, seats, histories)
            breaks.append(gap(since_ms, until_ms if until_ms <= to_ms else None))
            if until_ms > to_ms:
                known.append(since_ms)
    return merge_records(
        [ColdRecord(breaks=tuple(breaks), known_until_ms=min(known, default=-inf))]
    )


def _breaks(
    history: ChannelHistory,
    level_c: float,
    seats: list[Seat],
    histories: Mapping[ProbeId, ChannelHistory],
) -> list[Break]:
    """Return a probe's breaks; one it left in ends at the first reading of who came after it."""
    seat = history.seat
    if seat.lasts:
        return history.breaks(level_c)
    after = [histories[one.key].first_ms for one in seats if one.from_ms >= seat.to_ms]
    beside = [one.to_ms > seat.to_ms > one.from_ms for one in seats]
    until_ms = (
        seat.to_ms if any(beside) else min((ms for ms in after if ms is not None), default=None)
    )
    return [
        replace(found, end_ms=until_ms) if found.end_ms is None else found
        for found in history.breaks(level_c)
    ]


def _taking_over(
    seat: Seat, seats: list[Seat], histories: Mapping[ProbeId, ChannelHistory], to_ms: int
) -> list[Break]:
    """Return the silence in which a probe took over from those before it, if it was too long."""
    history = histories[seat.key]
    first_ms = history.first_ms
    over_ms = None if seat.lasts else seat.to_ms
    since_ms = _known_before(seat.from_ms, seats, histories)
    until_ms = float(first_ms) if first_ms is not None else over_ms
    if since_ms == -inf:
        return [gap(-inf, until_ms)]
    by_ms = float(to_ms) if until_ms is None else until_ms
    stale_ms = min(
        shortest_stale_ms(histories[one.key].stages, since_ms, by_ms)
        for one in seats
        if one is seat or one.to_ms == seat.from_ms
    )
    return [gap(since_ms, until_ms)] if by_ms - since_ms > stale_ms else []


def _known_before(
    at_ms: float, seats: list[Seat], histories: Mapping[ProbeId, ChannelHistory]
) -> float:
    """Return up to when a unit was known before an instant; −∞: it was not.

    A probe that stays known speaks for itself.
    """
    found = [-inf]
    for seat in seats:
        history = histories[seat.key]
        last_ms, first_ms = history.state.last_ms, history.first_ms
        if seat.from_ms < at_ms and last_ms is not None and first_ms is not None:
            stays = seat.to_ms > at_ms and first_ms <= at_ms
            found.append(at_ms if stays else min(float(last_ms), at_ms))
    return max(found)
