"""A disk that stands still: nothing acknowledged, little held, the wait on the record."""

import sqlite3
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from broker_sides import publish_many

from mosquitto_broker import Mosquitto
from rimewatch.config import load_shop
from rimewatch.intake.session_client import RECEIVE_MAXIMUM
from rimewatch.journal.reader import JournalReader
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
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
fields = {{ value = "t", time = "n" }}
"""
START_MS = 1_772_438_400_000
PATIENCE_S = 60.0


def until(true: Callable[[], bool], what: str) -> None:
    end_s, pause = time.monotonic() + PATIENCE_S, threading.Event()
    while not true():
        assert time.monotonic() < end_s, what
        pause.wait(0.05)


@pytest.mark.integration
def test_locked_journal_holds_the_messages_at_the_broker_and_loses_none(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto]
) -> None:
    """Three thousand messages meet a locked file: the broker keeps them until it is free."""
    broker = start_mosquitto("max_inflight_messages 200\nmax_queued_messages 100000\n")
    journal_path = tmp_path / "rimewatch.db"
    running = RunningService(load_shop(SHOP.format(port=broker.port)), journal_path, START_MS)
    with running:
        holder = sqlite3.connect(journal_path, isolation_level=None, check_same_thread=False)
        until(lambda: _locked(holder), "the file was never free to be locked")
        publish_many(broker.port, 3000)
        until(
            lambda: any("Not recording" in line for line in running.said), "nobody was told of it"
        )
        waiting = running.service._session.health().waiting
        assert running.service._arrivals == 0, "something counts that is not on the disk"
        assert waiting <= RECEIVE_MAXIMUM, "the broker's window did not bound what is held"
        holder.execute("ROLLBACK")
        holder.close()
        assert running.service.wait_for(arrivals=3000, timeout_s=PATIENCE_S), running.said

    with JournalReader.open(journal_path) as journal:
        events = [event.what for event in journal.events_between(0, START_MS * 2)]
    assert "recording again" in events


def _locked(connection: sqlite3.Connection) -> bool:
    try:
        connection.execute("BEGIN IMMEDIATE")
    except sqlite3.OperationalError:
        return False
    return True
