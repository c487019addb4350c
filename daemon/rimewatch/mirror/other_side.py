"""The two kinds of database whose readings can be asked for, and which of them one is.

InfluxDB 2 answers ``/health`` with its name as JSON; VictoriaMetrics with ``OK``, and its
``/metrics`` begin with ``vm_``. Reads only. Never shows the token.

References:
    [1] InfluxDB OSS v2 API: ``GET /health``, ``POST /api/v2/query``.
    [2] Flux language specification, "String literals".
    [3] VictoriaMetrics documentation, "How to export data in JSON line format".
"""

import json
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

import numpy as np
import urllib3
from influxdb_client.client.exceptions import InfluxDBError
from urllib3.exceptions import HTTPError

from rimewatch.instants import iso
from rimewatch.journal.readings import MILLI
from rimewatch.mirror.client import CONNECT_S, client_for, reason_of, without_token
from rimewatch.mirror.comparing import ComparisonError, Integers, OtherSide
from rimewatch.mirror.points import FIELD, READING
from rimewatch.shop import MirrorTo, Probe

ANSWER_S = 120.0
"""A month of a probe from a small computer takes a while (our choice)."""


def other_side(to: MirrorTo) -> OtherSide:
    """Return the database as it can be asked, whichever kind it is.

    Raises:
        ComparisonError: If it does not answer, or is neither kind.
    """
    web = _Web(to)
    health = web.get("/health")
    try:
        named = json.loads(health)
    except ValueError:
        named = None
    if isinstance(named, dict) and named.get("name") == "influxdb":
        return Influx(to)
    if health.strip() == b"OK" and b"\nvm_" in web.get("/metrics"):
        return Victoria(to, web)
    raise ComparisonError(
        f"{to.url} is neither InfluxDB 2 nor VictoriaMetrics by its /health; readings can be "
        "written to it, but not compared"
    )


class _Web:
    """Plain GET requests with the token."""

    def __init__(self, to: MirrorTo) -> None:
        self._to = to
        self._pool = urllib3.PoolManager(
            timeout=urllib3.Timeout(connect=CONNECT_S, read=ANSWER_S),
            retries=False,
            ca_certs=to.ca_file,
        )

    def get(self, path: str) -> bytes:
        """Return an answer's bytes.

        Raises:
            ComparisonError: If there is none, or it is not 200.
        """
        headers = {"Authorization": f"Token {self._to.token}"} if self._to.token else {}
        try:
            answer = self._pool.request("GET", self._to.url + path, headers=headers)
        except (HTTPError, OSError) as error:
            raise ComparisonError(f"{self._to.url}: {reason_of(error)}") from None
        if answer.status != 200:
            said = without_token(answer.data[:200].decode("utf-8", "replace"), self._to)
            raise ComparisonError(f"{self._to.url} answered {answer.status}: {said}")
        return answer.data


class Influx:
    """InfluxDB 2, asked in Flux."""

    name = "InfluxDB 2"

    def __init__(self, to: MirrorTo) -> None:
        self._to = to
        self._queries = client_for(to).query_api()

    def readings(self, probe: Probe, from_ms: int, to_ms: int) -> tuple[Integers, Integers]:
        """Return a probe's readings; see :class:`rimewatch.mirror.comparing.OtherSide`."""
        flux = flux_for(self._to, probe, from_ms, to_ms)
        times: list[int] = []
        millis: list[int] = []
        try:
            for record in self._queries.query_stream(flux, org=self._to.org):
                at: datetime = record.get_time()
                times.append(_ms(at))
                millis.append(round(record.get_value() * MILLI))
        except InfluxDBError as error:
            said = without_token(str(error.message), self._to)
            raise ComparisonError(f"{self._to.url} refused the query: {said}") from None
        except (HTTPError, OSError) as error:
            raise ComparisonError(f"{self._to.url}: {reason_of(error)}") from None
        return np.array(times, dtype=np.int64), np.array(millis, dtype=np.int64)


def flux_for(to: MirrorTo, probe: Probe, from_ms: int, to_ms: int) -> str:
    """Return the Flux query for a probe's readings with ``from_ms <= time <= to_ms``."""
    begins, ends = (iso(at_ms, always_ms=True) for at_ms in (from_ms, to_ms + 1))
    return "\n".join(
        [
            f"from(bucket: {_quoted(to.bucket)})",
            f"  |> range(start: {begins}, stop: {ends})",
            f"  |> filter(fn: (r) => r._measurement == {_quoted(READING)}",
            f"      and r._field == {_quoted(FIELD[probe.measures])}",
            f"      and r.shop == {_quoted(to.shop)} and r.probe == {_quoted(probe.id)})",
            '  |> keep(columns: ["_time", "_value"])',
        ]
    )


def _quoted(text: str) -> str:
    r"""Return a Flux string literal: ``\\``, ``"`` and ``${`` have meanings in one ([2])."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("${", "\\${")
    return f'"{escaped}"'


def _ms(at: datetime) -> int:
    whole = at.replace(microsecond=0)
    return round(whole.timestamp()) * 1000 + round(at.microsecond / 1000)


class Victoria:
    """VictoriaMetrics, asked by its export."""

    name = "VictoriaMetrics"

    def __init__(self, to: MirrorTo, web: _Web) -> None:
        self._to = to
        self._web = web

    def readings(self, probe: Probe, from_ms: int, to_ms: int) -> tuple[Integers, Integers]:
        """Return a probe's readings; see :class:`rimewatch.mirror.comparing.OtherSide`."""
        labels = {
            "__name__": f"{READING}_{FIELD[probe.measures]}",
            "shop": self._to.shop,
            "probe": probe.id,
        }
        match = ",".join(f"{name}={json.dumps(value)}" for name, value in labels.items())
        asked = {"match[]": f"{{{match}}}", "start": from_ms / 1000, "end": to_ms / 1000}
        answer = self._web.get(f"/api/v1/export?{urlencode(asked)}")
        times: list[Integers] = []
        millis: list[Integers] = []
        try:
            for line in answer.splitlines():
                series: dict[str, Any] = json.loads(line)
                times.append(np.array(series["timestamps"], dtype=np.int64))
                values = np.array(series["values"], dtype=np.float64)
                millis.append(np.rint(values * MILLI).astype(np.int64))
        except (ValueError, KeyError) as error:
            raise ComparisonError(f"{self._to.url}: its export cannot be read: {error}") from None
        nothing = np.empty(0, dtype=np.int64)
        return np.concatenate([nothing, *times]), np.concatenate([nothing, *millis])
