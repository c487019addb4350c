"""listen, probe and quarantine at the command line, beside a real broker and a running service."""

import json
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from paho.mqtt import publish

from mosquitto_broker import Mosquitto
from rimewatch.cli import rimewatch
from rimewatch.clock import SystemClock
from rimewatch.config import load_shop
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.intake.trace import TraceMessage
from rimewatch.journal.reader import JournalReader
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.resume import account_of, resume
from rimewatch.vocabulary import ProbeId
from running_service import RunningService

pytestmark = pytest.mark.integration

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
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "json"
fields = {{ value = "{value}", time = "ts" }}
every_s = 30
"""
SAID = [
    ("shop/case-1/air", b'{"t": 2.4}', 0, False),
    ("shop/freezer/air", b"-19.5", 0, False),
    ("shop/case-1/door", b'{"open": false}', 0, False),
    ("printer/ink", b"full", 0, False),
]
AIR = ProbeId("case-1-air")


def run(*words: object) -> str:
    """Run a command that must succeed; return what it said."""
    result = CliRunner().invoke(rimewatch, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result.output


def air(celsius: float, at_ms: int, key: str = "t", late_s: int = 0) -> TraceMessage:
    payload = json.dumps({key: celsius, "ts": at_ms - late_s * 1000})
    return TraceMessage(at_ms, "shop/case-1/air", payload.encode())


class TestListen:
    def test_what_listen_writes_is_accepted_by_check(
        self, tmp_path: Path, mosquitto: Mosquitto
    ) -> None:
        """From an unknown broker to a sound configuration, by two commands."""
        shop, stop = tmp_path / "shop.toml", threading.Event()

        def talk() -> None:
            while not stop.is_set():
                publish.multiple(SAID, port=mosquitto.port)
                stop.wait(0.1)

        talker = threading.Thread(target=talk)
        talker.start()
        try:
            said = run("listen", "--broker", mosquitto.url, "--seconds", 3, "--write", shop)
        finally:
            stop.set()
            talker.join()

        assert "lets anybody in without a password" in said
        assert "a freezer" in said
        assert "2 units, 3 probes" in run("check", "--config", shop)

    @pytest.mark.parametrize(
        ("words", "expected"),
        [
            (("--broker", "mqtt://127.0.0.1:1", "--seconds", "1"), "does not listen there"),
            (("--broker", "http://x"), "expected mqtt://HOST:PORT"),
            (
                ("--broker", "mqtt://x", "--password-env", "NO_SUCH"),
                "has no NO_SUCH",
            ),
        ],
    )
    def test_what_cannot_be_listened_to_is_one_sentence(
        self, words: tuple[str, ...], expected: str
    ) -> None:
        """A user's mistake is told, with its cure."""
        result = CliRunner().invoke(rimewatch, ["listen", *words])

        assert result.exit_code != 0
        assert expected in (result.output + str(result.exception))

    def test_quiet_broker_is_said_to_be_quiet(self, mosquitto: Mosquitto) -> None:
        """Nothing heard is no configuration."""
        result = CliRunner().invoke(
            rimewatch, ["listen", "--broker", mosquitto.url, "--seconds", "0.3"]
        )

        assert result.exit_code != 0
        assert "nothing that looks like a cold unit" in (result.output + str(result.exception))


@pytest.fixture
def at_work(tmp_path: Path, mosquitto: Mosquitto) -> Callable[..., tuple[Path, RunningService]]:
    def make(value: str, start_ms: int) -> tuple[Path, RunningService]:
        text = SHOP.format(port=mosquitto.port, value=value)
        config = tmp_path / f"shop-{value}.toml"
        config.write_text(text)
        return config, RunningService(load_shop(text), tmp_path / "rime.db", start_ms)

    return make


AtWork = Callable[..., tuple[Path, RunningService]]


class TestIcePoint:
    def test_check_in_ice_is_recorded_and_its_offset_holds_from_then_on(
        self, at_work: AtWork, mosquitto: Mosquitto
    ) -> None:
        """Settled 0.4 °C too warm: recorded, corrected from now on, on the ledger, never before."""
        now_ms = SystemClock().now_ms()
        config, running = at_work("t", now_ms - 600_000)
        ice = [air(0.4, now_ms - 300_000 + n * 30_000) for n in range(10)]
        options = ("--config", config, "--journal", running.journal_path)
        with running:
            running.play(mosquitto.port, ice)
            said = run("probe", "check", AIR, *options, "--set-offset", "--who", "Ana")
            assert "+0.40 °C off at 0.0 °C, inside ±1.5 °C" in said
            assert "(FDA Food Code 2022, 4-203.12(A); from memory)" in said
            assert running.service.wait_for(entries=1, timeout_s=20)
            later_ms = SystemClock().now_ms() + 1000
            running.play(mosquitto.port, [air(2.4, later_ms)])
            listed = run("probe", "list", *options)

        assert "offset −0.40 °C by its check" in listed
        assert "(+0.40 °C off), due in 180 days" in listed
        with JournalReader.open(running.journal_path) as journal:
            values = list(journal.span(AIR, None, None).values)
            shop = load_shop(config.read_text())
            evaluator = resume(shop, journal, later_ms).evaluator
            account = account_of(journal, evaluator, now_ms - 600_000, later_ms)
            ledger = ledger_document(
                build_ledger(shop, journal, account, from_ms=now_ms - 600_000, to_ms=later_ms)
            )
        assert values == [0.4] * 10 + [2.0]
        (check,) = ledger["calibration_checks"]
        assert (check["who"], check["found_c"], check["offset_c"]) == ("Ana", 0.4, -0.4)

    def test_unsettled_probe_is_not_recorded(self, at_work: AtWork, mosquitto: Mosquitto) -> None:
        """Still falling: come back, with the guide at hand."""
        now_ms = SystemClock().now_ms()
        config, running = at_work("t", now_ms - 600_000)
        with running:
            falling = [air(5.0 - n / 2, now_ms - 300_000 + n * 30_000) for n in range(10)]
            running.play(mosquitto.port, falling)
        options = ("--config", config, "--journal", running.journal_path)
        words = ["probe", "check", AIR, *map(str, options)]
        result = CliRunner().invoke(rimewatch, words)

        assert result.exit_code != 0
        assert "not settled yet" in (result.output + str(result.exception))
        assert "never checked" in run(
            "probe", "list", "--config", config, "--journal", running.journal_path
        )

    def test_slow_clock_is_listed(self, at_work: AtWork, mosquitto: Mosquitto) -> None:
        """A probe whose clock is 90 s behind is shown so, and nothing is corrected by it."""
        now_ms = SystemClock().now_ms()
        config, running = at_work("t", now_ms - 600_000)
        with running:
            late = [air(2.0, now_ms - 300_000 + n * 20_000, late_s=90) for n in range(10)]
            running.play(mosquitto.port, late)

        assert "clock 90 s slow" in run(
            "probe", "list", "--config", config, "--journal", running.journal_path
        )


class TestQuarantine:
    def test_mended_configuration_takes_in_what_was_refused(
        self, at_work: AtWork, mosquitto: Mosquitto
    ) -> None:
        """The field's name was wrong: mended, the readings stand at their own times."""
        now_ms = SystemClock().now_ms()
        wrong, before = at_work("temp", now_ms - 600_000)
        sent = [air(2.0 + n / 10, now_ms - 300_000 + n * 30_000) for n in range(5)]
        with before:
            before.play(mosquitto.port, [*sent, TraceMessage(now_ms, "shop/case-1/air", b"hello")])
        listed = run("quarantine", "list", "--config", wrong, "--journal", before.journal_path)
        assert listed.count("undecodable") == 7, "six rows and their sum"
        assert "Most of them: 6 on shop/case-1/air." in listed

        mended, after = at_work("t", now_ms)
        with after:
            said = run("quarantine", "retry", "--config", mended, "--journal", before.journal_path)
            assert "5 of 6 messages now parse" in said
            assert after.service.wait_for(entries=1, timeout_s=20)

        with JournalReader.open(before.journal_path) as journal:
            span = journal.span(AIR, None, None)
            left = journal.quarantine_latest()
        assert list(span.times_ms) == [message.at_ms for message in sent]
        assert list(span.values) == [2.0, 2.1, 2.2, 2.3, 2.4]
        assert [row.payload_start for row in left] == [b"hello"]
        again = run("quarantine", "retry", "--config", mended, "--journal", before.journal_path)
        assert "None of 1 messages gives a reading" in again
