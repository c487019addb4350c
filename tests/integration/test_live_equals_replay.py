"""The live service and a replay must come to the same ledger: one code, two ways in."""

import json
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import pytest

from mosquitto_broker import Mosquitto
from rimewatch.config import load_shop
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.evaluation.mornings import local_day
from rimewatch.intake.trace import TraceEntry, TraceMessage, read_trace
from rimewatch.journal.reader import JournalReader
from rimewatch.replay import replay
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


def night() -> list[dict[str, object]]:
    """A made-up night of ten hours: a door, a failing case, a late backlog, garbage, a lot."""
    lines: list[dict[str, object]] = []

    def at(minute: float) -> str:
        seconds = START_MS // 1000 + round(minute * 60)
        day, rest = divmod(seconds, 86_400)
        hour, rest = divmod(rest, 3600)
        assert day == START_MS // 86_400_000, "the night stays within one UTC day"
        return f"2026-03-03T{hour:02}:{rest // 60:02}:{rest % 60:02}Z"

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

    assert_same_as_replay(shop, journal_path, lines, replayed.ledger)
    assert replayed.ledger["alarms"], "a night without an alarm would prove little"
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

    cuts = [0, 130, 255, 330, len(lines)]
    for start, end in pairwise(cuts):
        with RunningService(shop, journal_path, lines[start].at_ms) as running:
            running.play(mosquitto.port, lines[start:end])

    assert_same_as_replay(shop, journal_path, lines, replayed.ledger)


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
        live = build_ledger(shop, journal, account, from_ms=from_ms, to_ms=to_ms)
    assert json.dumps(live, indent=1) == json.dumps(expected, indent=1)
