"""The live service and a replay must come to the same ledger: one code, two ways in."""

import base64
import json
from io import BytesIO
from itertools import pairwise
from pathlib import Path
from typing import Any

import pysparkplug as sp
import pytest

from mosquitto_broker import Mosquitto
from rimewatch.config import load_shop
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.evaluation.mornings import local_day
from rimewatch.intake.trace import TraceEntry, TraceMessage, read_trace
from rimewatch.journal.reader import JournalReader
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.resume import account_of, resume
from rimewatch.shop import Shop
from running_service import RunningService

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
operating_limit_c = 3.3
on_delay_s = 600
lag_s = 600
[[unit]]
id = "ulf-1"
name = "Ultra-low freezer"
kind = "ultra-low-freezer"
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "json"
fields = {{ value = "t", time = "ts", battery = "bat" }}
every_s = 120
[[probe]]
id = "case-1-door"
unit = "case-1"
measures = "door"
topic = "shop/case-1/door"
format = "json"
fields = {{ value = "open" }}
[[probe]]
id = "ulf-1-product"
unit = "ulf-1"
measures = "product"
topic = "shop/ulf-1/product"
format = "number"
scale = "F"
every_s = 240
[[unit]]
id = "walk-1"
name = "Walk-in cooler"
kind = "walk-in"
[[probe]]
id = "walk-1-product"
unit = "walk-1"
measures = "product"
topic = "spBv1.0/fish/+/node-1/walk-1"
format = "sparkplug"
fields = {{ value = "Core", battery = "Battery" }}
every_s = 900
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:1/"]
[night]
from = "21:00"
to = "06:00"
wake_for = ["high"]
[[escalation]]
after_s = 0
contacts = ["first"]
repeat_s = 900
"""

START_MS = 1_772_506_800_000  # 2026-03-03T03:00:00Z, 21:00 in Chicago


def at(minute: float) -> str:
    seconds = START_MS // 1000 + round(minute * 60)
    day, rest = divmod(seconds, 86_400)
    hour, rest = divmod(rest, 3600)
    assert day == START_MS // 86_400_000, "the night stays within one UTC day"
    return f"2026-03-03T{hour:02}:{rest // 60:02}:{rest % 60:02}Z"


class EdgeNode:
    """What a Sparkplug node says in a night, as lines of a trace; a client library's bytes."""

    def __init__(self) -> None:
        self.lines: list[dict[str, object]] = []
        self._seq = 0

    def be_born(self, minute: float, celsius: float, bd_seq: int) -> None:
        """Say the births of the node and its device; aliases are bound anew by them."""
        now_ms = self._now_ms(minute)
        born = sp.Metric(now_ms, "bdSeq", sp.DataType.INT64, bd_seq)
        self._seq = 0
        self._say(minute, "NBIRTH", sp.NBirth(now_ms, self._next(), (born,)), is_birth=True)
        metrics = (
            sp.Metric(now_ms, "Core", sp.DataType.FLOAT, celsius, alias=7),
            sp.Metric(now_ms, "Battery", sp.DataType.INT32, 90, alias=8),
        )
        self._say(minute, "DBIRTH", sp.DBirth(now_ms, self._next(), metrics), is_birth=True)

    def data(self, minute: float, *readings: tuple[float, float | None], alias: int = 7) -> None:
        """Say values by alias, each with its own minute; those of earlier minutes are history."""
        metrics = [
            sp.Metric(
                self._now_ms(taken),
                None,
                sp.DataType.FLOAT,
                celsius,
                alias=alias,
                is_historical=taken < minute,
                is_null=celsius is None,
            )
            for taken, celsius in readings
        ]
        self._say(minute, "DDATA", sp.DData(self._now_ms(minute), self._next(), metrics))

    def die(self, minute: float, bd_seq: int) -> None:
        """Let the broker tell of the node's end."""
        now_ms = self._now_ms(minute)
        gone = sp.Metric(now_ms, "bdSeq", sp.DataType.INT64, bd_seq)
        self._say(minute, "NDEATH", sp.NDeath(now_ms, gone))

    def lose_one(self) -> None:
        """Let one message go astray."""
        self._next()

    def _next(self) -> int:
        now, self._seq = self._seq, (self._seq + 1) % 256
        return now

    @staticmethod
    def _now_ms(minute: float) -> int:
        return START_MS + round(minute * 60_000)

    def _say(self, minute: float, kind: str, payload: Any, *, is_birth: bool = False) -> None:
        device = "/walk-1" if kind[0] == "D" else ""
        said = payload.encode(include_dtypes=True) if is_birth else payload.encode()
        self.lines.append(
            {
                "at": at(minute),
                "topic": f"spBv1.0/fish/{kind}/node-1{device}",
                "payload": {"base64": base64.b64encode(said).decode()},
            }
        )


def walk_in() -> list[dict[str, object]]:
    """Return the walk-in's night: births, data by alias, a death, a backlog, a lost message."""
    node = EdgeNode()
    node.data(2, (2, 9.0))  # before its birth: nobody knows what it means
    node.be_born(5, 2.0, bd_seq=3)
    for minute in range(15, 150, 15):
        node.data(minute, (minute, 2.0 + minute / 200))
    node.be_born(151, 2.5, bd_seq=3)
    node.die(160, bd_seq=2)  # of an earlier connection
    node.data(170, (170, None))
    node.data(180, (180, 2.6))
    node.data(195, (195, 2.7))
    node.die(200, bd_seq=3)
    node.be_born(281, 3.0, bd_seq=4)
    node.data(282, *((minute, 2.8) for minute in (210, 225, 240, 255, 270)))
    for minute in range(295, 380, 15):
        node.data(minute, (minute, 3.0 + max(0, minute - 310) / 20))
    node.lose_one()
    node.data(390, (390, 1.0))
    node.data(395, (395, 99.0), alias=9)
    node.be_born(396.5, 2.5, bd_seq=4)
    for minute in range(415, 600, 15):
        node.data(minute, (minute, 2.5))
    return node.lines


def checks() -> list[dict[str, object]]:
    """Return two checks in melting ice: one sets an offset from then on, one finds none."""
    check = {"do": "calibration-check", "who": "Ana", "reference": "ice bath"}
    return [
        {"at": at(120.2), **check, "probe": "walk-1-product", "found_c": 0.5, "offset_c": -0.5},
        {"at": at(130.2), **check, "probe": "case-1-air", "found_c": 0.1},
    ]


def night() -> list[dict[str, object]]:
    """A made-up night of ten hours: a door, a failing case, a late backlog, garbage, a lot."""
    lines: list[dict[str, object]] = [*walk_in(), *checks()]

    backlog: list[dict[str, object]] = []
    for minute in range(0, 600, 2):
        celsius = 1.5 + (0.4 if minute % 30 < 6 else 0.0)
        if 200 <= minute < 320:
            celsius = 1.5 + 9.0 * min(minute - 200, 320 - minute) / 60
        payload = json.dumps({"t": round(celsius, 2), "ts": at(minute), "bat": 80 - minute // 8})
        line: dict[str, object] = {
            "at": at(minute),
            "topic": "shop/case-1/air",
            "payload": payload,
        }
        if 400 <= minute < 430:
            backlog.append(line)
        else:
            lines.append(line)
        if minute == 430:
            lines.extend({**late, "at": at(430.2)} for late in backlog)
        if minute % 4 == 0:
            fahrenheit = -90.4 if minute < 500 else -58.0
            lines.append(
                {"at": at(minute + 0.5), "topic": "shop/ulf-1/product", "payload": f"{fahrenheit}"}
            )
    for minute, is_open in ((60.1, True), (67.3, False), (100.2, True), (100.9, False)):
        payload = json.dumps({"open": is_open})
        lines.append({"at": at(minute), "topic": "shop/case-1/door", "payload": payload})
    lines += [
        {"at": at(50.1), "topic": "shop/case-1/air", "payload": "starting up"},
        {"at": at(51.1), "topic": "shop/case-1/air", "payload": '{"t": -127}'},
        {
            "at": at(5.1),
            "do": "receive-lot",
            "lot": "L-1",
            "species": "Oncorhynchus nerka",
            "origin": "wild",
            "serve_raw": True,
            "celsius": 1.0,
        },
        {
            "at": at(20.1),
            "do": "start-freezing",
            "lot": "L-1",
            "unit": "ulf-1",
            "option": "35C-15h",
        },
        {"at": at(262.3), "do": "acknowledge", "unit": "case-1", "rule": "holding"},
        {"at": at(270.3), "do": "corrective-action", "unit": "case-1", "text": "Fish moved."},
    ]
    # In order of arrival; of those at one instant the order above stands.
    return sorted(lines, key=lambda line: str(line["at"]))


def as_trace(lines: list[dict[str, object]]) -> bytes:
    return b"".join(json.dumps(line).encode() + b"\n" for line in lines)


@pytest.mark.integration
def test_one_night_through_a_broker_gives_the_ledger_of_its_replay(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """Alarms, messages, holds and every figure agree, and so do the bytes of the summary."""
    trace = as_trace(night())
    shop = load_shop(SHOP.format(port=mosquitto.port))
    replayed = replay(shop, read_trace(BytesIO(trace)))
    lines = list(read_trace(BytesIO(trace)))
    journal_path = tmp_path / "rimewatch.db"

    with RunningService(shop, journal_path, lines[0].at_ms) as running:
        running.play(mosquitto.port, lines)

    assert_same_as_replay(shop, journal_path, lines, ledger_document(replayed.ledger))
    assert ledger_document(replayed.ledger)["alarms"], "a night without an alarm would prove little"
    record = ledger_document(replayed.ledger)["units"]["walk-1"]
    assert record["readings"] == 39
    assert any(alarm["rule"] == "stale" for alarm in ledger_document(replayed.ledger)["alarms"])
    assert len(ledger_document(replayed.ledger)["calibration_checks"]) == 2
    refused = [
        q["count"]
        for q in ledger_document(replayed.ledger)["quarantine"]
        if "spBv1.0" in q["topic"]
    ]
    assert refused == [4], "before its birth, without a value, after a lost message, no alias"
    with JournalReader.open(journal_path) as journal:
        for day, morning in replayed.mornings.items():
            kept = journal.summary(day)
            assert kept is not None
            assert kept.text == morning.text
            assert kept.html == morning.html
    assert list(replayed.mornings) == [local_day(lines[-1].at_ms, shop.timezone)]


@pytest.mark.integration
def test_a_service_stopped_and_started_in_the_night_comes_to_the_same_ledger(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """A restart loses nothing: the journal and its memory are enough to go on."""
    trace = as_trace(night())
    shop = load_shop(SHOP.format(port=mosquitto.port))
    replayed = replay(shop, read_trace(BytesIO(trace)))
    lines = list(read_trace(BytesIO(trace)))
    journal_path = tmp_path / "rimewatch.db"

    births = [n for n, line in enumerate(night()) if "NBIRTH" in str(line.get("topic"))]
    assert len(births) == 4
    # A service that begins asks for births, and so the lines after each cut begin with one.
    cuts = [0, *births[1:], len(lines)]
    for start, end in pairwise(cuts):
        with RunningService(shop, journal_path, lines[start].at_ms) as running:
            running.play(mosquitto.port, lines[start:end])

    assert_same_as_replay(shop, journal_path, lines, ledger_document(replayed.ledger))


def assert_same_as_replay(
    shop: Shop,
    journal_path: Path,
    lines: list[TraceMessage | TraceEntry],
    expected: dict[str, object],
) -> None:
    from_ms, to_ms = lines[0].at_ms, lines[-1].at_ms
    with JournalReader.open(journal_path) as journal:
        evaluator = resume(shop, journal, to_ms).evaluator
        account = account_of(journal, evaluator, from_ms, to_ms)
        live = ledger_document(build_ledger(shop, journal, account, from_ms=from_ms, to_ms=to_ms))
    assert json.dumps(live, indent=1) == json.dumps(expected, indent=1)
