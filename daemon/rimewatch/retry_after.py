"""How long a server asks to be left alone: the header ``Retry-After``. Pure.

References:
    [1] RFC 9110 (2022), section 10.2.3: seconds, or a date; with 503 above all.
    [2] RFC 6585 (2012), section 4: with 429, Too Many Requests.
"""

import math
from datetime import UTC
from email.utils import parsedate_to_datetime

from rimewatch.vocabulary import MS_PER_S


def pause_s(retry_after: str | None, now_ms: int) -> float | None:
    """Return the pause that a header asks for, s, 0 if it is over; None: none, or unreadable.

    Args:
        retry_after: What the header holds; None: it is not there.
        now_ms: The present instant, milliseconds UTC.

    >>> pause_s("120", 0), pause_s("Thu, 01 Jan 1970 00:01:00 GMT", 0), pause_s("soon", 0)
    (120.0, 60.0, None)
    """
    if retry_after is None:
        return None
    try:
        seconds = float(retry_after)
    except ValueError:
        try:
            at = parsedate_to_datetime(retry_after)
        except ValueError:
            return None
        at = at if at.tzinfo else at.replace(tzinfo=UTC)
        seconds = at.timestamp() - now_ms / MS_PER_S
    return None if math.isnan(seconds) else max(seconds, 0.0)
