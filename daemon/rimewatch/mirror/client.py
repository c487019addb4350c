"""The client library for InfluxDB 2, set up the one way that the mirror uses it.

The only module that touches it. The library types little of itself, so here, and only
here, is what it gives taken for ``Any``. Sends nothing by itself.
"""

from collections.abc import Callable
from typing import Any, Final

import influxdb_client
from influxdb_client.client.write_api import SYNCHRONOUS

from rimewatch.mirror.points import Point
from rimewatch.shop import MirrorTo
from rimewatch.vocabulary import MS_PER_S

CONNECT_S: Final = 5.0
READ_S: Final = 30.0
"""How long to wait for a connection, and for an answer (our choice)."""

_library: Any = influxdb_client


def client_for(to: MirrorTo) -> Any:  # noqa: ANN401 (the library is not typed)
    """Return a client that tries once: trying again is for whoever knows the backlog."""
    return _library.InfluxDBClient(
        url=to.url,
        token=to.token,
        org=to.org,
        timeout=(round(CONNECT_S * MS_PER_S), round(READ_S * MS_PER_S)),
        enable_gzip=True,
        ssl_ca_cert=to.ca_file,
        retries=False,
    )


def writer_of(client: Any, to: MirrorTo) -> Callable[[list[Point]], object]:  # noqa: ANN401 (as above)
    """Return what posts points at once, and raises where they were not taken."""
    writes = client.write_api(write_options=SYNCHRONOUS)
    precision = _library.WritePrecision.MS

    def write(points: list[Point]) -> object:
        return writes.write(to.bucket, to.org, points, write_precision=precision)

    return write


def as_line(point: Point) -> str:
    """Return a point in line protocol, for people who look at a refused one."""
    made = _library.Point.from_dict(point, write_precision=_library.WritePrecision.MS)
    return str(made.to_line_protocol())


def without_token(text: str, to: MirrorTo) -> str:
    """Return a text fit for logs, should a server repeat the token in its answer."""
    return text.replace(to.token, "(token)") if to.token else text


def reason_of(error: Exception) -> str:
    """Return a failure of the connection in words, without the addresses in memory in it."""
    text = str(error) or type(error).__name__
    return text.rpartition(">: ")[2]  # urllib3 begins with the object that failed
