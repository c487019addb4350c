"""What a replay does not believe: counted, kept for somebody to look at, and harmless."""

import io
import json
from typing import Any

import pytest

from handmade import Paper, probe, shop, timed_probe, unit
from rimewatch.intake.trace import TraceError, read_trace
from rimewatch.replay import replay

PLAIN = shop(unit(), probe())
JSON = shop(unit(), timed_probe())


def framed(payload: Any, topic: str = "air") -> Paper:
    """Return a trace with one odd message between two sound ones, as text."""
    return Paper().say(0, "2.0").say(60, payload, topic).say(120, "2.0")


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        ("garbage", "undecodable"),
        ("", "undecodable"),
        ("2,1,3", "undecodable"),
        ("true", "undecodable"),
        ("nan", "not-finite"),
        ("inf", "not-finite"),
        ("1e999", "not-finite"),
        ("-127", "fault-code"),
        ("85", "fault-code"),
        ("999", "fault-code"),
        ("60.1", "out-of-range"),
        ("-90.1", "out-of-range"),
    ],
)
def test_value_that_is_not_believed_is_counted_once_and_makes_no_reading(
    payload: str, reason: str
) -> None:
    """Plausible is −90 to 60 °C; the others are codes, or no numbers at all."""
    ledger = framed(payload).ledger(PLAIN)

    assert ledger["quarantined"] == 1
    assert [(q["reason"], q["count"]) for q in ledger["quarantine"]] == [(reason, 1)]
    record = ledger["units"]["case-1"]
    assert (record["readings"], record["max_c"], record["missing_s"]) == (2, 2.0, 0.0)


@pytest.mark.parametrize("payload", ["60", "-90", "60.0"])
def test_value_at_the_end_of_the_plausible_range_is_believed(payload: str) -> None:
    """The ends belong to it."""
    ledger = framed(payload).ledger(PLAIN)

    assert (ledger["quarantined"], ledger["units"]["case-1"]["readings"]) == (0, 3)


@pytest.mark.parametrize("scale", ["C", "F"])
def test_value_is_judged_in_celsius(scale: str) -> None:
    """100 °F is 37.8 °C: plausible; 100 °C is not."""
    ledger = framed("100").ledger(shop(unit(), probe(scale=scale)))

    assert ledger["quarantined"] == (1 if scale == "C" else 0)


def test_eighty_five_is_believed_where_nothing_speaks_against_it() -> None:
    """A dishwasher at 84, 85, 86 °C: within its plausible range, and no jump."""
    hot = shop(unit(), probe(plausible_c=[0, 120]))
    paper = Paper().say(0, "84").say(60, "85").say(120, "86")

    ledger = paper.ledger(hot)

    assert (ledger["quarantined"], ledger["units"]["case-1"]["readings"]) == (0, 3)


def test_eighty_five_after_a_jump_is_a_fault_code() -> None:
    """From 4 °C to 85 °C in a minute: a thermometer that has just been switched on."""
    hot = shop(unit(), probe(plausible_c=[0, 120]))
    paper = Paper().say(0, "4").say(60, "85").say(120, "4")

    assert paper.ledger(hot)["quarantined"] == 1


def test_topic_nobody_knows_is_counted() -> None:
    """Somebody else's message."""
    ledger = framed("2.0", "shop/elsewhere").ledger(PLAIN)

    assert (ledger["quarantined"], ledger["quarantine"][0]["reason"]) == (1, "unknown-topic")


@pytest.mark.parametrize(
    "payload",
    ["{", "[]", "null", '{"t": null}', '{"t": "two"}', '{"t": true}', '{"u": 1}', '{"t": NaN}'],
)
def test_json_without_a_number_is_counted(payload: str) -> None:
    """Never guess."""
    paper = Paper().dated(0, 0, 2.0).say(60, payload).dated(120, 120, 2.0)

    ledger = paper.ledger(JSON)

    assert (ledger["quarantined"], ledger["units"]["case-1"]["readings"]) == (1, 2)


def test_duplicate_is_not_quarantined() -> None:
    """A broker may deliver twice (MQTT 5.0, 4.3.2: at least once)."""
    paper = Paper()
    for arrived_s in (0, 1, 2):
        paper.dated(arrived_s, 0, 2.0)

    ledger = paper.ledger(JSON)

    assert (ledger["quarantined"], ledger["units"]["case-1"]["readings"]) == (0, 1)


def test_binary_payload_is_decoded_or_counted() -> None:
    """Bytes are written in base64: "2.0", and two bytes that are no text."""
    paper = Paper().say(0, "2.0")
    for at, text in [("2026-03-02T12:01:00Z", "Mi4w"), ("2026-03-02T12:02:00Z", "//4=")]:
        paper.lines.append({"at": at, "topic": "air", "payload": {"base64": text}})

    ledger = paper.ledger(PLAIN)

    assert (ledger["quarantined"], ledger["units"]["case-1"]["readings"]) == (1, 2)


@pytest.mark.parametrize("megabytes", [1, 10])
def test_payload_of_many_megabytes_is_quarantined_and_the_replay_goes_on(megabytes: int) -> None:
    """A message of that size is nobody's thermometer; the trace goes on behind it."""
    ledger = framed("9" * (megabytes << 20)).ledger(PLAIN)

    assert [(q["reason"], q["count"]) for q in ledger["quarantine"]] == [("too-large", 1)]
    assert (ledger["quarantined"], ledger["units"]["case-1"]["readings"]) == (1, 2)
    assert len(json.dumps(ledger)) < 10_000


def test_quarantine_of_a_strangers_many_topics_stays_small() -> None:
    """A million topics fill neither the memory nor the ledger; all are counted."""
    paper = Paper().say(0, "2.0")
    for n in range(1000):
        paper.say(1, "x", f"elsewhere/{n}")

    ledger = paper.ledger(PLAIN)

    assert ledger["quarantined"] == 1000
    assert len(ledger["quarantine"]) <= 201
    assert sum(q["count"] for q in ledger["quarantine"]) == 1000


def test_quarantined_values_leave_the_time_missing() -> None:
    """Five minutes of fault codes are five minutes without monitoring."""
    paper = Paper().say(0, "2.0").say(60, "-127").say(120, "-127").say(180, "-127")
    paper.say(240, "-127").say(300, "2.0")

    ledger = paper.ledger(PLAIN)

    assert (ledger["quarantined"], ledger["units"]["case-1"]["missing_s"]) == (4, 300.0)


@pytest.mark.parametrize(
    "line",
    [
        b"not json\n",
        b"[]\n",
        b'{"topic": "air", "payload": "1"}\n',
        b'{"at": "2026-03-02T12:00:00", "topic": "air", "payload": "1"}\n',
        b'{"at": "2026-03-02T12:00:00Z", "topic": "air", "payload": 1}\n',
        b'{"at": "2026-03-02T12:00:00Z", "do": "receive-lots"}\n',
        b'{"at": "2026-03-02T12:00:00Z", "topic": "air", "payload": {"base64": "?"}}\n',
    ],
)
def test_trace_line_that_is_none_ends_the_replay_with_its_number(line: bytes) -> None:
    """A trace with a hole in it would give a ledger with a hole in it."""
    sound = b'{"at": "2026-03-02T12:00:00Z", "topic": "air", "payload": "2.0"}\n'

    with pytest.raises(TraceError, match=r"^line 2: "):
        replay(PLAIN, read_trace(io.BytesIO(sound + line)))
