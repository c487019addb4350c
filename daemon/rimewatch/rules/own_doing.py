"""Whether a unit's own door or defrost explains that its air left its band. Pure.

A cause explains a rise only for as long as it could: a glimpse of an open door is no
reason for an hour of warming, and a defrost none long after its end. The lengths are
common practice without a published source.
"""

from collections.abc import Sequence
from typing import Final

from rimewatch.rules.usual import Departure
from rimewatch.vocabulary import MS_PER_MINUTE

LONG_OPENING_MS: Final = 20_000
"""A door glimpsed open for less than this warms nothing."""
DOOR_WARMS_TIMES: Final = 4
DOOR_WARMS_MS: Final = (10 * MS_PER_MINUTE, 40 * MS_PER_MINUTE)
"""A sound unit has made good an opening within four times its length; at least ten
minutes, at most forty."""
DEFROST_WARMS_MS: Final = 20 * MS_PER_MINUTE
"""After its defrost a sound unit cools again within this time."""
DEFROST_COOLS_MS: Final = 60 * MS_PER_MINUTE
"""And is back in its band within this one, once it does."""
NEAR_MS: Final = 5 * MS_PER_MINUTE
"""A rise may be seen this long after what began it, by a probe that is slow."""


def explained(
    departure: Departure,
    at_ms: int,
    door_open: Sequence[tuple[float, float]],
    defrost: Sequence[tuple[float, float]],
) -> bool:
    """Return whether a door or a defrost explains, at an instant, that the air is out.

    Args:
        departure: How the air left its band.
        at_ms: The instant.
        door_open: Times the unit's door stood open, up to the instant.
        defrost: The unit's scheduled defrosts.
    """
    first_ms, last_ms = departure.from_ms - NEAR_MS, departure.left_ms
    for start_ms, end_ms in door_open:
        length_ms = end_ms - start_ms
        if length_ms < LONG_OPENING_MS or start_ms > last_ms or end_ms < first_ms:
            continue
        shortest_ms, longest_ms = DOOR_WARMS_MS
        warms_ms = min(max(shortest_ms, DOOR_WARMS_TIMES * length_ms), longest_ms)
        if at_ms <= end_ms + warms_ms:
            return True
    return defrosting(departure, at_ms, defrost)


def defrosting(departure: Departure, at_ms: int, defrost: Sequence[tuple[float, float]]) -> bool:
    """Return whether a scheduled defrost explains, at an instant, that the air is out.

    Air that has turned in time is given longer to be back.
    """
    first_ms, last_ms = departure.from_ms - NEAR_MS, departure.left_ms
    return any(
        start_ms <= last_ms
        and end_ms >= first_ms
        and departure.peak_ms <= end_ms + DEFROST_WARMS_MS
        and at_ms <= end_ms + (DEFROST_COOLS_MS if departure.recovering else DEFROST_WARMS_MS)
        for start_ms, end_ms in defrost
    )


def in_window(since_ms: float, at_ms: int, defrost: Sequence[tuple[float, float]]) -> bool:
    """Return whether a scheduled defrost explains that fish has been warm since an instant."""
    return any(
        start_ms <= since_ms <= end_ms + NEAR_MS and at_ms <= end_ms + DEFROST_WARMS_MS
        for start_ms, end_ms in defrost
    )
