"""A real HTTP server that answers as InfluxDB 2 documents it, in good days and bad ones.

It is no InfluxDB: it knows the line protocol that the mirror writes, ``POST /api/v2/write``
with its documented refusals, ``GET /health``, and of Flux the one query that the mirror
asks. Points with the same measurement, tags and time are one, the newest fields win.
"""

import contextlib
import gzip
import json
import re
import socket
import struct
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from enum import Enum
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlsplit

WAIT_LIMIT_S = 60.0
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SPLIT = re.compile(r"(?<!\\) ")
FIELD = re.compile(r'(\w+)=("(?:\\.|[^"\\])*"|[^,]+)')
COMMA = re.compile(r"(?<!\\),")


class Answer(Enum):
    """What the server does with a write it has read."""

    TAKE = "204"
    UNAUTHORIZED = "401"
    TOO_MANY = "429"
    UNAVAILABLE = "503"
    HANG = "takes it and says nothing until it is let go"
    LOSE = "takes it and resets the connection instead of an answer"
    RESET = "resets the connection at once"


@dataclass
class InfluxAnswers:
    """One server on a port of its own; every attribute may be changed at any time."""

    answer: Answer = Answer.TAKE
    retry_after: str = "1"
    most_points: int = 1_000_000
    """A larger batch is answered with 413."""
    refuses: Callable[[str], bool] = lambda _line: False
    """Points that cannot be had: 400 with a partial write of the others."""
    says: str = "partial write: field type conflict dropped={dropped}"
    points: dict[tuple[str, int], dict[str, str]] = field(default_factory=dict)
    """Fields by series (measurement and tags) and time, as they stand in the line."""
    batches: list[int] = field(default_factory=list)
    tokens: set[str] = field(default_factory=set)
    encodings: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self._changed = threading.Condition()
        self._let_go = threading.Event()
        self._server = _Server(("127.0.0.1", 0), type("Handler", (_Handler,), {"influx": self}))
        self.port: int = self._server.server_address[1]
        self._thread = threading.Thread(
            target=self._server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True
        )
        self._thread.start()

    @property
    def url(self) -> str:
        """The address, as a configuration names it."""
        return f"http://127.0.0.1:{self.port}"

    @property
    def readings(self) -> int:
        """How many points there are of readings."""
        return sum(series.startswith("reading,") for series, _ in self.points)

    def wait_for(self, condition: Callable[["InfluxAnswers"], bool], what: str) -> None:
        """Wait until a condition on what it got holds; fail after a while."""
        with self._changed:
            assert self._changed.wait_for(lambda: condition(self), WAIT_LIMIT_S), what

    def let_go(self) -> None:
        """Answer those that hang, with success."""
        self._let_go.set()

    def close(self) -> None:
        """End it; from then on its port refuses connections."""
        self._let_go.set()
        self._server.shutdown()
        self._server.server_close()
        self._thread.join(WAIT_LIMIT_S)

    def take(self, body: str, token: str, encoding: str) -> tuple[int, str] | None:
        """Note a write; return status and message, None for no answer at all."""
        lines = body.splitlines()
        with self._changed:
            answer = self.answer
            self.batches.append(len(lines))
            self.tokens.add(token)
            self.encodings.add(encoding)
            self._changed.notify_all()
            if answer is Answer.UNAUTHORIZED:
                return 401, f"unauthorized access with {token}"
            if answer is Answer.TOO_MANY:
                return 429, "exceeded rate limit"
            if answer is Answer.UNAVAILABLE:
                return 503, "unavailable"
            if answer is Answer.RESET:
                return None
            if len(lines) > self.most_points:
                return 413, "unable to read data: points batch is too large"
            bad = [line for line in lines if self.refuses(line)]
            for line in lines:
                if not self.refuses(line):
                    self._keep(line)
            self._changed.notify_all()
        if answer is Answer.HANG:
            self._let_go.wait(WAIT_LIMIT_S)
        if answer is Answer.LOSE:
            return None
        return (400, self.says.format(dropped=len(bad))) if bad else (204, "")

    def _keep(self, line: str) -> None:
        series, rest = SPLIT.split(line, maxsplit=1)
        fields, at = rest.rsplit(" ", 1)
        kept = self.points.setdefault((series, int(at)), {})
        kept.update(FIELD.findall(fields))

    def query(self, flux: str) -> str:
        """Return annotated CSV for the one query that the mirror asks."""
        wanted = dict(re.findall(r'r\.(\w+) == "((?:[^"\\]|\\.)*)"', flux))
        wanted = {key: re.sub(r"\\(.)", r"\1", text) for key, text in wanted.items()}
        start, stop = re.search(r"start: (\S+), stop: (\S+)\)", flux).groups()  # type: ignore[union-attr]
        from_ms, to_ms = (_ms(text) for text in (start, stop))
        out = [
            "#datatype,string,long,dateTime:RFC3339,double",
            "#group,false,false,false,false",
            "#default,_result,,,",
            ",result,table,_time,_value",
        ]
        tags = [f"{name}={_escaped(wanted[name])}" for name in ("probe", "shop")]
        with self._changed:
            for (series, at_ms), fields in self.points.items():
                parts = COMMA.split(series)
                if parts[0] != wanted["_measurement"] or not set(tags) <= set(parts):
                    continue
                if from_ms <= at_ms < to_ms and wanted["_field"] in fields:
                    at = (EPOCH + timedelta(milliseconds=at_ms)).isoformat(timespec="milliseconds")
                    out.append(f",,0,{at.replace('+00:00', 'Z')},{fields[wanted['_field']]}")
        return "\r\n".join([*out, "", ""])


def _ms(text: str) -> int:
    return round((datetime.fromisoformat(text) - EPOCH) / timedelta(milliseconds=1))


def _escaped(text: str) -> str:
    return re.sub(r"([ ,=])", r"\\\1", text)


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False

    def handle_error(self, *_: object) -> None:
        """Say nothing: connections that break are what these tests are about."""


class _Handler(BaseHTTPRequestHandler):
    influx: InfluxAnswers
    protocol_version = "HTTP/1.1"

    def do_GET(self) -> None:
        if self.path == "/health":
            self._say(200, json.dumps({"name": "influxdb", "status": "pass"}))
        else:
            self._say(404, "not found")

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers["Content-Length"]))
        encoding = self.headers.get("Content-Encoding", "identity")
        text = (gzip.decompress(body) if encoding == "gzip" else body).decode()
        url = urlsplit(self.path)
        if url.path == "/api/v2/query":
            self._say(200, self.influx.query(json.loads(text)["query"]), "text/csv")
            return
        asked = {name: values[0] for name, values in parse_qs(url.query).items()}
        assert asked == {"org": "saltmarsh-row", "bucket": "rimewatch", "precision": "ms"}
        said = self.influx.take(text, self.headers.get("Authorization", ""), encoding)
        if said is None:
            self.close_connection = True
            linger_no_time = struct.pack("ii", 1, 0)
            self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger_no_time)
            return
        status, message = said
        self._say(status, json.dumps({"code": "x", "message": message}) if message else "")

    def _say(self, status: int, body: str, kind: str = "application/json") -> None:
        with contextlib.suppress(OSError):  # whoever asked may have gone
            self.send_response(status)
            if status == 429:
                self.send_header("Retry-After", self.influx.retry_after)
            if status != 204:
                self.send_header("Content-Type", kind)
                self.send_header("Content-Length", str(len(body.encode())))
            self.end_headers()
            if status != 204:
                self.wfile.write(body.encode())

    def log_message(self, *_: object) -> None:
        """Keep the tests' output clean."""
