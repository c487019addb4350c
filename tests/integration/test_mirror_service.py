"""The mirror beside the running service, and the commands that look after it."""

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from io import BytesIO
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from influx_answers import Answer, InfluxAnswers
from mirrored import (
    PATIENCE_S,
    QUICK,
    START_MS,
    TOKEN,
    elsewhere,
    fill,
    following,
    mirrored_shop,
    new_journal,
)
from mosquitto_broker import Mosquitto
from rimewatch.cli import rimewatch
from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.intake.trace import read_trace
from rimewatch.journal.reader import JournalReader
from rimewatch.mirror.mirror import Mirror
from rimewatch.mirror.state import MIRROR_STATE, from_text
from rimewatch.service.mirroring import Mirroring
from rimewatch.shop import Web
from running_service import RunningService

pytestmark = pytest.mark.integration

SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[broker]
url = "mqtt://127.0.0.1:{port}"
[mirror]
url = "{url}"
org = "saltmarsh-row"
bucket = "rimewatch"
token = "env:MIRROR_TOKEN"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
on_delay_s = 300
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "number"
"""


@pytest.fixture(autouse=True)
def quick_mirror(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the service's mirror look at the journal every few hundredths of a second."""
    monkeypatch.setattr("rimewatch.mirror.mirror.Mirror", partial(Mirror, pace=QUICK))


@pytest.fixture
def influx() -> Iterator[InfluxAnswers]:
    """Give a server that answers as InfluxDB 2 documents it."""
    server = InfluxAnswers()
    yield server
    server.close()


def warm_morning() -> list[dict[str, object]]:
    """Return an hour with a quarter too warm, and a lot."""
    at = "2026-03-03T{:02}:{:02}:00Z"
    lines: list[dict[str, object]] = [
        {
            "at": at.format(12, 0),
            "do": "receive-lot",
            "lot": "L-1",
            "serve_raw": True,
            "species": "Oncorhynchus nerka",
            "origin": "wild",
            "celsius": 1.0,
        }
    ]
    for minute in range(60):
        value = "8.0" if 20 <= minute < 35 else "2.0"
        topic = "shop/case-1/air"
        lines.append({"at": at.format(12, minute), "topic": topic, "payload": value})
    return lines


def test_service_mirrors_readings_excursions_alarms_and_lots(
    tmp_path: Path, mosquitto: Mosquitto, influx: InfluxAnswers
) -> None:
    """What the shop's night was can be drawn next to its curve, by whatever draws charts."""
    text = SHOP.format(port=mosquitto.port, url=influx.url)
    shop = load_shop(text, {"MIRROR_TOKEN": TOKEN})
    trace = b"".join(json.dumps(line).encode() + b"\n" for line in warm_morning())
    lines = list(read_trace(BytesIO(trace)))
    with RunningService(shop, tmp_path / "rimewatch.db", lines[0].at_ms) as running:
        running.play(mosquitto.port, lines)
        influx.wait_for(lambda one: measured(one)["reading"] == 60, "readings are missing")
    with RunningService(shop, tmp_path / "rimewatch.db", lines[-1].at_ms) as running:
        influx.wait_for(
            lambda one: {"excursion", "alarm", "lot", "unit"} <= measured(one).keys(),
            "books are missing",
        )

    assert measured(influx) | {"lot": 1, "unit": 1} == {
        "reading": 60,
        "governing": 60,
        "excursion": 2,
        "alarm": 2,
        "lot": 1,
        "unit": 1,
    }
    began, ended = (f for (s, _), f in sorted(influx.points.items()) if s.startswith("excursion"))
    assert (began["peak_c"], began["open"]) == ("8", "1")
    assert (ended["final_peak_c"], ended["open"]) == ("8", "0")
    felt = [f["value_c"] for (s, _), f in sorted(influx.points.items()) if s.startswith("gov")]
    assert max(map(float, felt)) == 8.0  # its lag is 0
    unit = next(f for (s, _), f in influx.points.items() if s.startswith("unit"))
    assert (unit["limit_c"], unit["alarms"]) == ("5", "0")
    with JournalReader.open(tmp_path / "rimewatch.db") as journal:
        state = from_text(journal.load_state(MIRROR_STATE))
        assert journal.changed_hours_behind(state.cursor) == 0
    assert TOKEN not in " ".join(running.said)


def measured(influx: InfluxAnswers) -> dict[str, int]:
    """Return how many points there are of each measurement."""
    counts: dict[str, int] = {"reading": 0}
    for series, _ in influx.points:
        name = series.split(",")[0]
        counts[name] = counts.get(name, 0) + 1
    return counts


def test_alarm_comes_in_time_while_the_database_hangs(
    tmp_path: Path, mosquitto: Mosquitto, influx: InfluxAnswers
) -> None:
    """The mirror's trouble is its own: nothing the shop depends on waits for it."""
    influx.answer = Answer.HANG
    text = SHOP.format(port=mosquitto.port, url=influx.url)
    shop = load_shop(text, {"MIRROR_TOKEN": TOKEN})
    trace = b"".join(json.dumps(line).encode() + b"\n" for line in warm_morning())
    lines = list(read_trace(BytesIO(trace)))
    with RunningService(shop, tmp_path / "rimewatch.db", lines[0].at_ms) as running:
        running.play(mosquitto.port, lines)
        influx.wait_for(lambda one: bool(one.batches), "nothing was sent")
        with JournalReader.open(tmp_path / "rimewatch.db") as journal:
            (alarm,) = journal.alarms_between(0, 2**60)
        influx.let_go()

    assert alarm.raised_ms == lines[1].at_ms + 25 * 60_000


@pytest.fixture
def command(
    tmp_path: Path, influx: InfluxAnswers, monkeypatch: pytest.MonkeyPatch
) -> Callable[..., Result]:
    """Return a function that runs ``rimewatch mirror`` on a journal of one shop."""
    monkeypatch.setenv("MIRROR_TOKEN", TOKEN)
    config = tmp_path / "shop.toml"
    text = SHOP.format(port=1883, url=influx.url).replace("case-1-air", "air-0")
    config.write_text(text.replace("Saltmarsh Row Fish", "Saltmarsh Row, Fish = cold"))
    journal = tmp_path / "rimewatch.db"

    def run(*arguments: str) -> Result:
        return CliRunner().invoke(
            rimewatch,
            ["mirror", *arguments, "--config", str(config), "--journal", str(journal)],
            standalone_mode=False,
            catch_exceptions=False,
        )

    return run


PERIOD = ("--from", "2026-03-02T18:00", "--to", "2026-03-03T18:00")


def test_commands_tell_how_far_it_is_what_was_refused_and_send_again(
    tmp_path: Path, influx: InfluxAnswers, command: Callable[..., Result]
) -> None:
    """Status, comparison and sending again, as a person would do after a bad night."""
    shop = mirrored_shop(influx.url, probes=1)
    with new_journal(tmp_path) as journal:
        fill(journal, shop, 0, 1000)
        assert "Nothing was sent yet" in command("status").output
        influx.refuses = lambda line: line.startswith("reading") and line.endswith(str(START_MS))
        with following(shop, journal) as mirror:
            mirror.wait_until_even()
            status = command("status").output
            compared = command("compare", *PERIOD)
            influx.refuses = lambda _line: False
            again = command("resend", *PERIOD)
            mirror.wait_until_even()
        equal = command("compare", *PERIOD)

    assert "Up to date" in status
    assert "Refused for good: 1 points" in status
    assert "field type conflict" in status
    assert TOKEN not in status
    assert compared.return_value == 1
    assert "DIFFERS  air-0: 1,000 here" in compared.output
    assert "hours of a probe will be sent again" in again.output
    assert equal.return_value in (None, 0)
    assert "equal    air-0: 1,000 here" in equal.output


def test_changed_configuration_goes_on_in_the_new_place_from_where_the_old_one_came_to(
    tmp_path: Path, influx: InfluxAnswers, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A reload moves the mirror; without the table it ends, and nothing of it is left running."""
    monkeypatch.setattr("rimewatch.service.mirroring.KEEP_EVERY_S", 0.0)
    said: list[str] = []
    other = InfluxAnswers()
    shop = mirrored_shop(influx.url, probes=1)
    with new_journal(tmp_path) as journal:
        fill(journal, shop, 0, 400)
        mirroring = Mirroring(shop, journal.path, SystemClock(), say=said.append)
        influx.wait_for(lambda one: one.readings == 400, "the first place got nothing")
        mirroring.use(elsewhere(shop, other.url), journal)
        fill(journal, shop, 3600, 3610)
        other.wait_for(lambda one: one.readings == 10, "the second place got nothing new")
        mirroring.use(replace(shop, mirror=None), journal)
        state = from_text(journal.load_state(MIRROR_STATE))
        assert journal.changed_hours_behind(state.cursor) == 0
        mirroring.look(journal)
    other.close()

    assert "mirror" not in [thread.name for thread in threading.enumerate()]
    assert said == []


def test_mirrors_state_is_told_in_words_good_days_and_bad(
    tmp_path: Path, influx: InfluxAnswers, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Up to date, or what is in its way and how much waits; never the token."""
    monkeypatch.setattr("rimewatch.service.mirroring.KEEP_EVERY_S", 0.0)
    shop = mirrored_shop(influx.url, probes=1)
    with new_journal(tmp_path) as journal:
        fill(journal, shop, 0, 400)
        mirroring = Mirroring(shop, journal.path, SystemClock(), say=lambda _: None)

        def words() -> str:
            mirroring.look(journal)
            return mirroring.words(journal)

        until(lambda: words().startswith("up to date, last sent "))
        influx.answer = Answer.UNAUTHORIZED
        fill(journal, shop, 3600, 3610)
        until(lambda: words().startswith("waits since "))
        said = words()
        influx.answer = Answer.TAKE
        mirroring.use(replace(shop, mirror=None), journal)

        assert "; 1 hour of a probe to send, last sent " in said
        assert TOKEN not in said
        assert mirroring.words(journal) == ""


def test_service_shows_its_mirrors_state_on_the_health_page(
    tmp_path: Path, mosquitto: Mosquitto, influx: InfluxAnswers
) -> None:
    """What the pages are told comes from the running mirror itself."""
    text = SHOP.format(port=mosquitto.port, url=influx.url)
    shop = replace(load_shop(text, {"MIRROR_TOKEN": TOKEN}), web=Web(host="127.0.0.1", port=0))
    trace = b"".join(json.dumps(line).encode() + b"\n" for line in warm_morning())
    lines = list(read_trace(BytesIO(trace)))
    with RunningService(shop, tmp_path / "rimewatch.db", lines[0].at_ms) as running:
        running.play(mosquitto.port, lines)
        influx.wait_for(lambda one: measured(one)["reading"] == 60, "readings are missing")

        def told() -> str:
            running.clock.move_to(running.clock.now_ms() + 10_000)
            return running.service.board.latest.health.mirror

        until(lambda: told().startswith("up to date, last sent "))


def until(condition: Callable[[], bool]) -> None:
    """Wait until something is so; fail after a while."""
    ends_s = time.monotonic() + PATIENCE_S
    pause = threading.Event()
    while not condition():
        assert time.monotonic() < ends_s, "it never came"
        pause.wait(0.05)


def test_missing_client_library_is_one_sentence_with_its_cure(tmp_path: Path) -> None:
    """Who asks for a mirror and has not installed its library is told before anything starts."""
    program = (
        "import sys; sys.modules['influxdb_client'] = None\n"
        "from rimewatch.config import load_shop\n"
        "from rimewatch.service.mirroring import MirrorMissing, require_mirror\n"
        "shop = load_shop(sys.stdin.read(), {'MIRROR_TOKEN': 'x'})\n"
        "try: require_mirror(shop)\n"
        "except MirrorMissing as error: print(error)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", program],
        input=SHOP.format(port=1883, url="http://127.0.0.1:8086"),
        capture_output=True,
        text=True,
        check=True,
        cwd=tmp_path,
    )

    assert "pip install 'rimewatch[mirror]'" in run.stdout
