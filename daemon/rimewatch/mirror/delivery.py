"""Brings points to the database, and sorts out what it will not have.

One synchronous request a batch: the client's own batching drops what it cannot send and
only logs it [1]. What may succeed later (no connection, 5xx, 401, 403, 404, 408, 429)
is raised as :class:`NotNow`; whoever calls tries again, for ever. Any other refusal lies
in a point: the batch is halved until the bad ones stand alone, and these are returned.
Part of a refused batch may have been written all the same [2]: points are idempotent, so
sending the rest again does no harm. Never shows the token.

References:
    [1] influxdb-client-python, issues 198 and 279.
    [2] InfluxDB OSS v2, "Troubleshoot issues writing data": partial writes.
"""

import re
from collections.abc import Callable, Sequence
from typing import Final

from influxdb_client.client.exceptions import InfluxDBError
from urllib3.exceptions import HTTPError

from rimewatch.mirror.client import as_line, client_for, reason_of, without_token, writer_of
from rimewatch.mirror.points import Point
from rimewatch.mirror.state import TEXT_KEPT, Refused
from rimewatch.retry_after import pause_s
from rimewatch.shop import MirrorTo

NOT_THE_POINTS_FAULT: Final = frozenset({401, 403, 404, 408, 429})
"""4xx that a change elsewhere cures: a token, a bucket, a pause (RFC 9110 and RFC 6585)."""

LONGEST_PAUSE_S: Final = 3600.0
"""A longer Retry-After is taken for this (our choice)."""

_DROPPED: Final = re.compile(r"\bdropped=(\d+)")


class NotNow(Exception):  # noqa: N818 (it says what is so)
    """Nothing is wrong with the points; they have to be sent again.

    Attributes:
        retry_after_s: When the server asked to be tried again; None: it did not say.
    """

    def __init__(self, reason: str, retry_after_s: float | None = None) -> None:
        super().__init__(reason)
        self.retry_after_s = retry_after_s


class Stopped(Exception):  # noqa: N818 (it says what is so)
    """The mirror was asked to end between two requests."""


class Delivery:
    """A connection to the database, for one thread.

    Args:
        to: Where to.
        now_ms: Tells the time, for refused points and for dates in Retry-After.
        stopping: Whether to end between two requests.
    """

    def __init__(
        self, to: MirrorTo, now_ms: Callable[[], int], stopping: Callable[[], bool]
    ) -> None:
        self._to = to
        self._now_ms = now_ms
        self._stopping = stopping
        self._client = client_for(to)
        self._write = writer_of(self._client, to)

    def close(self) -> None:
        """Close the connections."""
        self._client.close()

    def send(self, points: Sequence[Point]) -> list[Refused]:
        """Send points; when it returns, each is on the other side or among the refused.

        Args:
            points: At least one.

        Raises:
            NotNow: If they could not be delivered; some may have been.
            Stopped: If the mirror is to end.
        """
        if self._stopping():
            raise Stopped
        said = self._post(points)
        if said is None:
            return []
        dropped = _DROPPED.search(said)
        if len(points) == 1 or (dropped is not None and int(dropped[1]) == len(points)):
            return [
                Refused(
                    at_ms=self._now_ms(),
                    points=len(points),
                    line=as_line(points[0])[:TEXT_KEPT],
                    said=said[:TEXT_KEPT],
                )
            ]
        middle = len(points) // 2
        return [*self.send(points[:middle]), *self.send(points[middle:])]

    def _post(self, points: Sequence[Point]) -> str | None:
        """Post once; return why the points were refused, None if they were taken."""
        try:
            self._write(list(points))
        except InfluxDBError as error:
            status = getattr(error, "status", None)
            if status is None:
                raise NotNow(self._shown(str(error.message))) from None
            said = self._shown(f"{status}: {_text(error.message)}")
            if 400 <= status < 500 and status not in NOT_THE_POINTS_FAULT:
                return said
            asked_s = pause_s(error.retry_after, self._now_ms())
            pause = None if asked_s is None else min(asked_s, LONGEST_PAUSE_S)
            raise NotNow(said, pause) from None
        except (HTTPError, OSError) as error:
            raise NotNow(self._shown(reason_of(error))) from None
        return None

    def _shown(self, text: str) -> str:
        return without_token(text, self._to)[:TEXT_KEPT]


def _text(message: object) -> str:
    if isinstance(message, bytes):
        return message.decode("utf-8", "replace")
    return str(message)
