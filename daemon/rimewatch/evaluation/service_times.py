"""When a unit was out of service, from what people entered. Pure."""

from collections.abc import Sequence

from rimewatch.entries import AnyEntry, InService, OutOfService
from rimewatch.vocabulary import UnitId

OutTime = tuple[int, int | None]
"""Start and end, milliseconds UTC; None: it has not come back."""


def out_of_service_times(
    entries: Sequence[AnyEntry], unit: UnitId, from_ms: int, to_ms: int
) -> list[OutTime]:
    """Return when a unit was out of service, of the times that touch a period, in order.

    Args:
        entries: In any order; they are read in order of their time.
        unit: The unit.
        from_ms: Start of the period.
        to_ms: Its end; entries after it are not looked at.
    """
    found: list[OutTime] = []
    since: int | None = None
    for entry in sorted(entries, key=lambda entry: entry.at_ms):
        if entry.at_ms > to_ms:
            break
        match entry:
            case OutOfService(unit=of) if of == unit and since is None:
                since = entry.at_ms
            case InService(unit=of) if of == unit and since is not None:
                found.append((since, entry.at_ms))
                since = None
            case _:
                pass
    if since is not None:
        found.append((since, None))
    return [(start, end) for start, end in found if end is None or end >= from_ms]
