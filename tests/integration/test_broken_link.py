"""The wire to the broker breaks, or the broker has no more room: what is kept, and told."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from broker_link import Break, BrokerLink
from case_and_phone import AIR, CASE_ALONE
from mosquitto_broker import Mosquitto
from rimewatch.clock import SteppedClock, SystemClock
from rimewatch.config import load_shop
from rimewatch.evaluation.ledger import build_ledger
from rimewatch.journal.reader import JournalReader
from rimewatch.report.ledger_json import ledger_document
from rimewatch.service.resume import account_of, resume
from running_service import RunningService
from service_process import Probes, until

pytestmark = pytest.mark.integration


def minutes(count: int, *, before_s: int = 0) -> list[int]:
    """Return so many instants a minute apart, in ms, the last so many seconds ago."""
    end_s = SystemClock().now_ms() // 1000 - before_s
    return [1000 * (end_s - 60 * step) for step in range(count)][::-1]


def payloads(times_ms: list[int]) -> list[str]:
    """Make a cold reading of each instant."""
    at = [datetime.fromtimestamp(ms // 1000, tz=UTC).isoformat() for ms in times_ms]
    return [f'{{"t": 1.5, "ts": "{moment}"}}' for moment in at]


@pytest.mark.parametrize("how", Break)
def test_link_that_breaks_within_a_message_is_noticed_and_every_reading_is_kept_once(
    tmp_path: Path, mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch, how: Break
) -> None:
    """A cut cable, and a router without power that tells nobody: neither costs a reading."""
    monkeypatch.setattr("rimewatch.intake.session_client.KEEPALIVE_S", 1)
    journal_path = tmp_path / "rimewatch.db"
    sent_ms = minutes(400)

    with BrokerLink(mosquitto.port) as link, Probes(mosquitto.port) as probes:
        shop = load_shop(CASE_ALONE.format(port=link.port))
        with RunningService(shop, journal_path, sent_ms[-1]) as running:
            link.break_after(how, 10_000)
            probes.publish(AIR, payloads(sent_ms))
            until(lambda: link.is_broken, "the link to break")
            until(lambda: link.connections > 1, "a new connection")
            until(lambda: kept(journal_path) >= len(sent_ms), "every reading")
            assert running.service.wait_until_listening(60.0)

    with JournalReader.open(journal_path) as journal:
        assert journal.span(shop.probes[0].id).times_ms.tolist() == sent_ms
        assert journal.quarantine_latest() == []
        events = [event.what for event in journal.events_between(0, 10**14)]
    assert "broker disconnected" in events
    assert "broker session lost" not in events


def test_what_the_broker_dropped_while_we_were_away_counts_as_missing_time(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto]
) -> None:
    """Its queue held fifty of three hundred minutes: the rest is a gap, and nothing else is."""
    broker = start_mosquitto("max_queued_messages 50\nmax_inflight_messages 1\n")
    journal_path = tmp_path / "rimewatch.db"
    shop = load_shop(CASE_ALONE.format(port=broker.port))
    sent_ms = minutes(330)
    clock = SteppedClock(sent_ms[9])

    with Probes(broker.port) as probes:
        with RunningService(shop, journal_path, sent_ms[9], clock=clock):
            probes.publish(AIR, payloads(sent_ms[:10]))
            until(lambda: kept(journal_path) >= 10, "the readings before")
        probes.publish(AIR, payloads(sent_ms[10:310]))  # nobody is there, and the queue fills
        clock.move_to(sent_ms[-1])
        with RunningService(shop, journal_path, sent_ms[-1], clock=clock):
            until(lambda: kept(journal_path) >= 60, "what the broker had kept")
            probes.publish(AIR, payloads(sent_ms[310:]))
            until(lambda: kept(journal_path) >= 80, "the readings after")

    with JournalReader.open(journal_path) as journal:
        times_ms = journal.span(shop.probes[0].id).times_ms.tolist()
        evaluator = resume(shop, journal, sent_ms[-1]).evaluator
        span = {"from_ms": sent_ms[0], "to_ms": sent_ms[-1]}
        account = account_of(journal, evaluator, **span)
        ledger = ledger_document(
            build_ledger(shop, journal, account, **span, histories=evaluator.histories())
        )
    unit = ledger["units"]["case-1"]
    dropped_ms = [at for at in sent_ms if at not in times_ms]
    assert dropped_ms == sent_ms[60:310]
    assert unit["missing_s"] == (sent_ms[310] - sent_ms[59]) / 1000
    assert unit["readings"] == 80


def kept(journal_path: Path) -> int:
    with JournalReader.open(journal_path) as journal:
        return len(journal.span(load_shop(CASE_ALONE.format(port=1)).probes[0].id).times_ms)
