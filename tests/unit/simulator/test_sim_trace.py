"""The trace of a scenario: its format, its order, and that it is the same each time."""

import hashlib
import io
import json
import os
import re
import subprocess
import sys
from collections import Counter
from datetime import datetime
from typing import Any

import pytest

from rimewatch.intake.entries import parse_entry
from rimewatch_sim import (
    TraceError,
    TraceLine,
    load_scenario,
    names,
    parse_scenario,
    read_lines,
    simulate,
    write_trace,
)
from rimewatch_sim.scenario import Scenario

HEAD = """
name = "tried"
about = "A scenario for a test."
shop = "saltmarsh-row"
start = "2026-03-02T20:00"
lasts = "2h"
"""

SHORT = sorted(set(names()) - {"freezing-week"})


def text_of(scenario: Scenario, **how: Any) -> str:
    file = io.StringIO()
    count = write_trace(scenario, file, **how)
    assert count == len(file.getvalue().splitlines())
    return file.getvalue()


def lines_of(events: str) -> list[TraceLine]:
    return simulate(parse_scenario(HEAD + events, source="t.toml")).lines()


def of(lines: list[TraceLine], topic: str) -> list[TraceLine]:
    return [line for line in lines if line.topic == topic]


def values(lines: list[TraceLine], topic: str, key: str = "t") -> list[Any]:
    return [json.loads(line.payload)[key] for line in of(lines, topic)]


@pytest.mark.parametrize("name", SHORT)
def test_trace_of_each_scenario_keeps_to_the_contract(name: str) -> None:
    """Each line is a JSON object: a message or an entry, in order of arrival."""
    last = ""
    entries = 0
    for text in text_of(load_scenario(name)).splitlines():
        line = json.loads(text)
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{3})?Z", line["at"])
        instant = line["at"].removesuffix("Z").ljust(23, "0").replace("T", " ")
        assert datetime.fromisoformat(line["at"]).utcoffset() is not None
        assert instant[:19] >= last[:19]
        last = instant
        if "do" in line:
            assert line["do"] in {
                "receive-lot",
                "start-freezing",
                "move-lot",
                "acknowledge",
                "corrective-action",
                "out-of-service",
                "withdraw-lot",
            }
            entries += 1
        else:
            assert set(line) == {"at", "topic", "payload"}
            assert isinstance(line["payload"], str) or set(line["payload"]) == {"base64"}
    assert entries == len(load_scenario(name).entry)


@pytest.mark.parametrize("name", ["night-at-saltmarsh-row", "dead-probe"])
def test_trace_written_and_read_again_is_the_same(name: str) -> None:
    """What is written can be played from the file, to the byte."""
    scenario = load_scenario(name)
    lines = simulate(scenario).lines()
    read = list(read_lines(text_of(scenario).splitlines(), source="night.jsonl"))

    assert read == lines
    assert [line.at_ms for line in read] == sorted(line.at_ms for line in read)


@pytest.mark.parametrize("name", names())
def test_entries_of_each_scenario_are_such_as_the_service_takes(name: str) -> None:
    """What people do in a scenario, they can do in the service."""
    scenario = load_scenario(name)
    for entry in scenario.entry:
        at_ms = scenario.at_ms(entry.at)
        assert parse_entry(entry.fields(), at_ms).at_ms == at_ms


def test_trace_of_one_seed_is_the_same_in_another_process() -> None:
    """The same seed gives the same bytes, whatever the order of hashes."""
    here = hashlib.sha256(text_of(load_scenario("dead-probe"), seed=4).encode()).hexdigest()
    program = (
        "import hashlib, io\n"
        "from rimewatch_sim import load_scenario, write_trace\n"
        "file = io.StringIO()\n"
        "write_trace(load_scenario('dead-probe'), file, seed=4)\n"
        "print(hashlib.sha256(file.getvalue().encode()).hexdigest())\n"
    )
    for hash_seed in ("1", "2"):
        there = subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": hash_seed},
            capture_output=True,
            text=True,
            check=True,
        )
        assert there.stdout.strip() == here


def test_trace_of_another_seed_differs_in_its_noise_alone() -> None:
    """A seed changes noise and phases, not what happens."""
    scenario = load_scenario("quiet-night")
    one, other = simulate(scenario, seed=1), simulate(scenario, seed=2)

    assert one.lines() != other.lines()
    count = Counter(line.topic for line in one.lines())
    assert count == Counter(line.topic for line in other.lines())


def test_event_elsewhere_leaves_a_probe_as_it_was() -> None:
    """One more event disturbs no noise but that of what it happens to."""
    event = '[[event]]\nat = "20:30"\ndo = "door-open"\nunit = "walk-in"\nlasts = "10m"\n'

    assert of(lines_of(""), "shop/case-1/air") == of(lines_of(event), "shop/case-1/air")
    assert of(lines_of(""), "shop/walk-in/air") != of(lines_of(event), "shop/walk-in/air")


def test_probes_speak_each_in_its_own_way() -> None:
    """JSON with time and battery, a bare number, °F, and doors."""
    lines = lines_of("")
    case = json.loads(of(lines, "shop/case-1/air")[0].payload)
    walk_in = values(lines, "shop/walk-in/air")

    assert set(case) == {"t", "ts", "bat"}
    assert case["bat"] in (90, 91)
    assert case["ts"].endswith("Z")
    assert -30.0 < float(of(lines, "shop/freezer-1/air")[0].payload) < -20.0
    assert all(31.0 < value < 45.0 for value in walk_in)
    assert json.loads(of(lines, "shop/case-1/door")[0].payload) == {"open": False}
    assert len(walk_in) == 120


def test_door_that_opens_is_told_at_once() -> None:
    """A contact speaks when the door moves, and every minute besides."""
    lines = lines_of(
        '[[event]]\nat = "20:30:10"\ndo = "door-open"\nunit = "walk-in"\nlasts = "25s"\n'
    )
    moves = [
        (line.at_ms, json.loads(line.payload)["open"]) for line in of(lines, "shop/walk-in/door")
    ]
    opened = next(at_ms for at_ms, is_open in moves if is_open)
    shut = next(at_ms for at_ms, is_open in moves if at_ms > opened and not is_open)

    assert (shut - opened) == 25_000
    assert len(moves) == 122


def test_backlog_comes_late_with_the_readings_own_times() -> None:
    """A probe that was cut off tells the whole story afterwards."""
    lines = lines_of(
        '[[event]]\nat = "20:30"\ndo = "drop-out"\nprobe = "case-2-product"\n'
        'lasts = "25m"\nbacklog = true\n'
    )
    scenario = parse_scenario(HEAD, source="t.toml")
    begins, ends = scenario.at_ms("20:30"), scenario.at_ms("20:55")
    product = of(lines, "shop/case-2/product")
    stamps = [json.loads(line.payload)["ts"] for line in product]

    assert not [line for line in product if begins + 1000 <= line.at_ms < ends]
    assert len(set(stamps)) == len(stamps) == 120
    late = [line for line in product if ends <= line.at_ms < ends + 5000]
    assert len(late) >= 25
    without = of(lines_of(""), "shop/case-2/product")
    assert sorted(line.payload for line in product) == sorted(line.payload for line in without)


def test_silence_without_backlog_loses_the_readings() -> None:
    """A probe that keeps nothing leaves a hole."""
    lines = lines_of(
        '[[event]]\nat = "20:30"\ndo = "drop-out"\nprobe = "freezer-1-air"\nlasts = "25m"\n'
    )

    assert len(of(lines, "shop/freezer-1/air")) == 95


def test_power_loss_with_the_network_silences_all_and_gives_backlogs() -> None:
    """Probes with a clock of their own tell afterwards, the others have lost it."""
    lines = lines_of(
        '[[event]]\nat = "20:30"\ndo = "power-loss"\nlasts = "20m"\nnetwork_too = true\n'
    )
    count = Counter(line.topic for line in lines)

    assert count["shop/case-1/air"] == 120
    assert count["shop/freezer-1/air"] == 100


def test_stuck_probe_repeats_its_last_value() -> None:
    """A frozen sensor goes on talking."""
    lines = lines_of('[[event]]\nat = "20:30"\ndo = "stuck"\nprobe = "case-1-air"\nlasts = "1h"\n')
    run = values(lines, "shop/case-1/air")[31:89]

    assert len(set(run)) == 1
    assert len(set(values(lines, "shop/case-1/air"))) > 20


@pytest.mark.parametrize(("code", "sent"), [("-127", -127), ("85", 85), ("999", 999)])
def test_fault_codes_come_in_place_of_readings(code: str, sent: int) -> None:
    """A broken sensor's codes arrive as it would send them, so many in a row."""
    lines = lines_of(
        f'[[event]]\nat = "20:30"\ndo = "fault"\nprobe = "case-1-air"\ncode = "{code}"\ncount = 3\n'
    )

    assert values(lines, "shop/case-1/air").count(sent) == 3


def test_not_a_number_is_sent_as_poor_firmware_sends_it() -> None:
    """NaN stands in the payload, which is then no proper JSON."""
    lines = lines_of('[[event]]\nat = "20:30"\ndo = "fault"\nprobe = "ulf-1-air"\ncode = "NaN"\n')

    assert sum(b'{"t": NaN,' in line.payload for line in lines) == 1


def test_garbage_in_bytes_is_kept_to_the_byte() -> None:
    """What is not UTF-8 travels as base64 and comes out the same."""
    lines = lines_of(
        '[[event]]\nat = "20:30"\ndo = "garbage"\ntopic = "shop/case-2/air"\n'
        'payload = "7bff00"\nhexadecimal = true\n'
    )
    garbage = next(line for line in lines if line.payload == b"\x7b\xff\x00")

    assert json.loads(garbage.to_json())["payload"] == {"base64": "e/8A"}


def test_wrong_clock_shows_in_the_readings_own_time() -> None:
    """A probe whose clock is behind stamps its readings so."""
    lines = lines_of(
        '[[event]]\nat = "20:30"\ndo = "clock-offset"\nprobe = "case-1-air"\nseconds = -600\n'
    )
    last = of(lines, "shop/case-1/air")[-1]
    stamp = datetime.fromisoformat(json.loads(last.payload)["ts"]).timestamp()

    assert last.at_ms / 1000 - stamp == pytest.approx(600.0, abs=1.0)


def test_battery_that_runs_flat_ends_in_silence() -> None:
    """Its last reading says one percent."""
    lines = lines_of(
        '[[event]]\nat = "20:10"\ndo = "battery"\nprobe = "case-1-air"\npercent = 3\nper_day = 48\n'
    )

    assert min(values(lines, "shop/case-1/air", "bat")) == 1
    assert 60 < len(of(lines, "shop/case-1/air")) < 80


def test_duplicates_arrive_twice_with_the_same_bytes() -> None:
    """At least once means sometimes twice."""
    lines = lines_of(
        '[[event]]\nat = "20:30"\ndo = "duplicates"\nprobe = "ulf-1-air"\nlasts = "10m"\n'
    )
    count = Counter(line.payload for line in of(lines, "shop/ulf-1/air"))

    assert Counter(count.values()) == {1: 110, 2: 10}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "line 1: not JSON"),
        ("[]", "line 1: not a JSON object"),
        ('{"topic": "a", "payload": "1"}', "line 1: at is missing"),
        ('{"at": "2026-03-02T08:00:00", "topic": "a", "payload": "1"}', "has no zone"),
        ('{"at": "2026-03-02T08:00:00Z", "payload": "1"}', "neither topic nor do"),
        ('{"at": "2026-03-02T08:00:00Z", "topic": "a"}', "payload is neither"),
        (
            '{"at": "2026-03-02T08:00:00Z", "topic": "a", "payload": {"base64": "é"}}',
            "ASCII",
        ),
        (
            (
                '{"at": "2026-03-02T08:00:01Z", "topic": "a", "payload": "1"}\n'
                '{"at": "2026-03-02T08:00:00Z", "topic": "a", "payload": "1"}'
            ),
            "line 2: at is 2026-03-02T08:00:00Z, before the line above",
        ),
    ],
)
def test_trace_that_is_wrong_is_refused_with_its_line(text: str, says: str) -> None:
    """Whoever plays a broken file learns where it is broken."""
    with pytest.raises(TraceError, match=re.escape(says)):
        list(read_lines(text.splitlines(), source="bad.jsonl"))
