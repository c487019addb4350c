"""Shops and traces written by hand: a test says what was sent, line by line, and replays it."""

import io
import itertools
import json
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

from core_run import run_core
from rimewatch.config import load_shop
from rimewatch.intake.trace import TraceEntry, TraceMessage, read_trace
from rimewatch.replay import Replayed, replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.shop import Shop

START = "2026-03-02T12:00:00Z"
"""Monday 06:00 in Chicago, with half an hour to the morning summary."""

ONE_CONTACT = """
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:9000/"]

[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900
"""

TWO_STEPS = """
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:9000/"]

[[contact]]
id = "second"
name = "Owner"
urls = ["json://127.0.0.1:9001/"]

[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900

[[escalation]]
after_s = 1800
contacts = ["second"]
"""

NIGHT = """
[night]
from = "21:00"
to = "06:00"
wake_for = ["high"]
"""


def ms(text: str) -> int:
    """Return an ISO 8601 instant in milliseconds since the epoch."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def iso(at_ms: float) -> str:
    """Return milliseconds since the epoch as ISO 8601 with milliseconds."""
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=round(at_ms))
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _table(name: str, keys: Mapping[str, Any]) -> str:
    # JSON's texts, numbers, booleans and flat lists are TOML's as well.
    lines = [f"{key} = {json.dumps(value)}" for key, value in keys.items() if value is not None]
    return "\n".join([f"[[{name}]]", *lines, ""])


def unit(unit_id: str = "case-1", kind: str = "display-case", **keys: Any) -> str:
    """Return a unit's table; without further keys: no lag, no on-delay, deadband 0.5 °C."""
    plain = {"lag_s": 0, "on_delay_s": 0, "deadband_c": 0.5}
    return _table("unit", {"id": unit_id, "name": unit_id, "kind": kind, **plain, **keys})


def probe(
    probe_id: str = "air", unit_id: str = "case-1", measures: str = "air", **keys: Any
) -> str:
    """Return a probe's table; its topic is its id, and it sends bare numbers each minute."""
    plain = {"topic": probe_id, "format": "number"}
    return _table("probe", {"id": probe_id, "unit": unit_id, "measures": measures, **plain, **keys})


def timed_probe(
    probe_id: str = "air", unit_id: str = "case-1", measures: str = "air", **keys: Any
) -> str:
    """Return a probe's table; it sends JSON with its own time."""
    text = probe(probe_id, unit_id, measures, **{"format": "json", **keys})
    return text + 'fields = { value = "t", time = "ts", battery = "bat" }\n'


def shop(
    *tables: str,
    timezone: str = "America/Chicago",
    summary_at: str = "06:30",
    code: str = "us-food-code-2022",
) -> Shop:
    """Return a shop of some tables, read as any configuration is."""
    head = (
        f'[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "{timezone}"\ncode = "{code}"\n'
        f'display = "F"\nsummary_at = "{summary_at}"\n\n'
        '[broker]\nurl = "mqtt://127.0.0.1:1883"\n\n'
    )
    return load_shop(head + "\n".join(tables))


class Paper:
    """A trace being written: instants are seconds after its start."""

    def __init__(self, start: str = START) -> None:
        self.start_ms = ms(start)
        self.lines: list[dict[str, Any]] = []

    def at_ms(self, at_s: float) -> int:
        """Return an instant of the trace in milliseconds since the epoch."""
        return self.start_ms + round(at_s * 1000)

    def iso(self, at_s: float) -> str:
        """Return an instant of the trace as the ledger writes it."""
        text = iso(self.at_ms(at_s))
        return text.replace(".000Z", "Z")

    def say(self, at_s: float, value: Any, topic: str = "air") -> "Paper":
        """Have a message arrive; what is no text is written as JSON."""
        payload = value if isinstance(value, str) else json.dumps(value)
        self.lines.append({"at": iso(self.at_ms(at_s)), "topic": topic, "payload": payload})
        return self

    def dated(
        self, arrived_s: float, taken_s: float, value: float, topic: str = "air", **more: Any
    ) -> "Paper":
        """Have a message with a time of its own arrive."""
        return self.say(arrived_s, {"t": value, "ts": iso(self.at_ms(taken_s)), **more}, topic)

    def curve(
        self,
        points: Iterable[tuple[float, float]],
        topic: str = "air",
        every_s: float | None = None,
    ) -> "Paper":
        """Have readings arrive; with ``every_s``, points straight between those given too."""
        known = list(points)
        if every_s is None:
            for at_s, value in known:
                self.say(at_s, value, topic)
            return self
        for (start_s, start), (end_s, end) in itertools.pairwise(known):
            count = round((end_s - start_s) / every_s)
            for n in range(count):
                share = n / count
                self.say(start_s + n * every_s, start + share * (end - start), topic)
        self.say(known[-1][0], known[-1][1], topic)
        return self

    def do(self, at_s: float, what: str, **keys: Any) -> "Paper":
        """Have somebody enter something."""
        self.lines.append({"at": iso(self.at_ms(at_s)), "do": what, **keys})
        return self

    def receive(self, at_s: float, lot: str = "L1", **keys: Any) -> "Paper":
        """Have a lot of wild salmon for raw service received."""
        plain = {"species": "Oncorhynchus nerka", "origin": "wild", "serve_raw": True}
        return self.do(at_s, "receive-lot", lot=lot, **{**plain, **keys})

    def freeze(
        self, at_s: float, option: str, unit_id: str = "freezer-1", lot: str = "L1"
    ) -> "Paper":
        """Have a lot's freezing started."""
        return self.do(at_s, "start-freezing", lot=lot, unit=unit_id, option=option)

    def text(self) -> bytes:
        """Return the trace's bytes, its lines in order of their arrival."""
        ordered = sorted(self.lines, key=lambda line: ms(line["at"]))
        return "".join(json.dumps(line) + "\n" for line in ordered).encode()

    def read(self) -> list[TraceMessage | TraceEntry]:
        """Return the trace's lines, read as any trace is."""
        return list(read_trace(io.BytesIO(self.text())))

    def replay(self, shop: Shop, *, is_kept: bool = False) -> Replayed:
        """Replay the trace; or what is on the books of a journal: that is judged, not refused."""
        lines = self.read()
        if is_kept:
            lines = [
                line._replace(is_kept=True) if isinstance(line, TraceEntry) else line
                for line in lines
            ]
        return replay(shop, lines)

    def ledger(self, shop: Shop) -> dict[str, Any]:
        """Replay the trace and return its ledger."""
        return ledger_document(self.replay(shop).ledger)

    def figures(self, shop: Shop) -> dict[str, Any]:
        """Return the ledger of readings and of entries on the books, without alarms."""
        return run_core(shop, self.read()).ledger
