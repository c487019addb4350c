"""Entries published to the broker: on the books once, and the same as in a replay."""

import json
import queue
from io import BytesIO
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from mosquitto_broker import Mosquitto
from rimewatch.config import load_shop
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.intake.trace import read_trace
from rimewatch.journal.reader import JournalReader
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.resume import account_of, resume
from running_service import RunningService

START_MS = 1_772_506_800_000  # 2026-03-03T03:00:00Z
TOPIC = "rimewatch/rimewatch/entry"
SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
entries = true
[[unit]]
id = "ulf-1"
name = "Ultra-low freezer"
kind = "ultra-low-freezer"
lag_s = 0
[[probe]]
id = "ulf-1-product"
unit = "ulf-1"
measures = "product"
topic = "shop/ulf-1/product"
every_s = 240
"""


def said(minute: int, topic: str, payload: object) -> dict[str, object]:
    text = payload if isinstance(payload, str) else json.dumps(payload)
    at = f"2026-03-03T{3 + minute // 60:02}:{minute % 60:02}:00Z"
    return {"at": at, "topic": topic, "payload": text}


def morning() -> bytes:
    """Two hours of cold; a lot is received and frozen by messages, one of them doubled."""
    lines = [said(minute, "shop/ulf-1/product", "-40.0") for minute in range(0, 121, 4)]
    receive = {
        "at": "2026-03-03T03:01:00Z",
        "do": "receive-lot",
        "lot": "L-1",
        "species": "Oncorhynchus nerka",
        "origin": "wild",
        "serve_raw": True,
        "who": "counter tablet",
    }
    freeze = {"do": "start-freezing", "lot": "L-1", "unit": "ulf-1", "option": "35C-15h"}
    lines += [
        said(1, TOPIC, receive),
        said(3, TOPIC, receive),
        said(5, TOPIC, freeze),
        said(7, TOPIC, {"do": "move-lot", "lot": "L-1", "unit": "nowhere"}),
    ]
    lines.sort(key=lambda line: str(line["at"]))
    return b"".join(json.dumps(line).encode() + b"\n" for line in lines)


@pytest.mark.integration
def test_entries_over_the_broker_give_the_ledger_of_their_replay(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """Stamped with who and when, numbered, and a second delivery is no second entry."""
    shop = load_shop(SHOP.format(port=mosquitto.port))
    lines = list(read_trace(BytesIO(morning())))
    replayed = ledger_document(replay(shop, read_trace(BytesIO(morning()))).ledger)

    with RunningService(shop, tmp_path / "rimewatch.db", lines[0].at_ms) as running:
        running.play(mosquitto.port, lines)

    from_ms, to_ms = lines[0].at_ms, lines[-1].at_ms
    with JournalReader.open(tmp_path / "rimewatch.db") as journal:
        entries = journal.entries_after(0)
        evaluator = resume(shop, journal, to_ms).evaluator
        account = account_of(journal, evaluator, from_ms, to_ms)
        live = ledger_document(build_ledger(shop, journal, account, from_ms=from_ms, to_ms=to_ms))
    assert [(number, entry.at_ms, entry.who) for number, entry in entries] == [
        (1, START_MS + 60_000, "counter tablet"),
        (2, START_MS + 300_000, ""),
    ]
    assert json.dumps(live) == json.dumps(replayed)
    (lot,) = replayed["lots"]
    assert (lot["lot"], lot["state"], lot["started"]) == ("L-1", "freezing", "2026-03-03T03:05:00Z")
    assert live["quarantined"] == 0
    assert live["refused"] == [
        {
            "at": "2026-03-03T03:07:00Z",
            "do": "move-lot",
            "why": 'there is no unit "nowhere"; the configuration has ulf-1',
        }
    ]


@pytest.mark.integration
def test_whoever_sends_an_entry_can_hear_what_became_of_it(
    tmp_path: Path, mosquitto: Mosquitto
) -> None:
    """An acknowledgement of an alarm that is not on looked like one that had been heard."""
    heard: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    subscribed: queue.SimpleQueue[int] = queue.SimpleQueue()
    sender = Client(CallbackAPIVersion.VERSION2, client_id="counter-tablet")
    sender.on_message = lambda _client, _userdata, message: heard.put(message.payload)
    sender.on_subscribe = lambda _client, _userdata, mid, _codes, _properties: subscribed.put(mid)
    sender.connect("127.0.0.1", mosquitto.port)
    sender.loop_start()
    sender.subscribe("rimewatch/rimewatch/answer", qos=1)
    subscribed.get(timeout=60)
    warm = [said(minute, "shop/ulf-1/product", "-20.0") for minute in range(0, 61, 4)]
    entry = {"do": "acknowledge", "unit": "ulf-1", "rule": "freezer", "who": "counter tablet"}
    sent = [
        *warm,
        said(61, TOPIC, entry | {"rule": "holding"}),
        said(62, TOPIC, entry),
        said(63, TOPIC, entry | {"at": "2026-03-03T04:02:00Z"}),
        said(64, TOPIC, {"do": "move-lot", "lot": "L-9", "unit": "ulf-1"}),
        said(65, TOPIC, "acknowledge ulf-1"),
    ]
    lines = list(read_trace(BytesIO(b"".join(json.dumps(line).encode() + b"\n" for line in sent))))

    with RunningService(
        load_shop(SHOP.format(port=mosquitto.port)), tmp_path / "rimewatch.db", lines[0].at_ms
    ) as running:
        running.play(mosquitto.port, lines)
        answers = [json.loads(heard.get(timeout=60)) for _ in range(5)]
    sender.disconnect()
    sender.loop_stop()

    nothing, taken, known, refused, garbage = answers
    assert nothing["result"] == "without-effect"
    assert nothing["why"] == (
        "no alarm ulf-1 holding is on, so nothing was acknowledged; on now: ulf-1 freezer"
    )
    assert (nothing["do"], nothing["unit"], nothing["rule"]) == ("acknowledge", "ulf-1", "holding")
    assert taken == {
        "arrived": "2026-03-03T04:02:00Z",
        "result": "taken",
        "at": "2026-03-03T04:02:00Z",
        "do": "acknowledge",
        "unit": "ulf-1",
        "rule": "freezer",
        "who": "counter tablet",
    }
    assert known["result"] == "known"
    assert (refused["result"], refused["lot"]) == ("refused", "L-9")
    assert "no lot" in refused["why"]
    assert garbage["result"] == "refused"
    assert "not a JSON object" in garbage["why"]
    assert "do" not in garbage
    assert heard.empty()
