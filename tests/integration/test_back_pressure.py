"""A disk that stands still, or is slow: nothing acknowledged, little held, the wait told."""

import functools
import re
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest
from broker_sides import publish_many

from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.clock import SteppedClock
from rimewatch.config import load_shop
from rimewatch.intake.arrivals import Item
from rimewatch.intake.broker import BrokerSession
from rimewatch.intake.bulk_client import PlainMessage
from rimewatch.intake.session_client import RECEIVE_MAXIMUM
from rimewatch.journal.journal import Journal
from rimewatch.journal.reader import JournalReader
from rimewatch.service.surroundings import Surroundings
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
PHONE = """
[[contact]]
id = "first"
name = "Night phone"
urls = ["{url}"]
"""
START_MS = 1_772_438_400_000
FIRST_S = START_MS // 1000 - 3000
"""The first reading's own time; each further one is a second later."""
PATIENCE_S = 60.0


def until(true: Callable[[], bool], what: str) -> None:
    end_s, pause = time.monotonic() + PATIENCE_S, threading.Event()
    while not true():
        assert time.monotonic() < end_s, what
        pause.wait(0.05)


@pytest.mark.integration
def test_locked_journal_holds_the_messages_at_the_broker_and_loses_none(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three thousand messages meet a locked file: the broker keeps them until it is free."""
    monkeypatch.setitem(Journal.open.__func__.__kwdefaults__, "busy_s", 0.5)  # a shop's: 5 s
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
        assert running.service._progress.arrivals == 0, "something counts that is not on the disk"
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


class SlowDisk:
    """Each commit of SQLite's own takes five minutes of a played time, once it is slow.

    Real time passes only until the broker has sent something more. Delaying the process's own
    calls (strace) shows the same, and takes most of a minute to attach.
    """

    COMMIT_MS = 310_000

    def __init__(self, published: int) -> None:
        self.published = published
        self.running: RunningService | None = None
        """Whose disk it is; None: it is quick."""
        self.commits = 0
        self.received = 0
        self.acknowledged = 0
        self.most_ahead = 0
        """Acknowledged, and not in the file."""

    def commit(self) -> None:
        running = self.running  # the test may let it go meanwhile
        if running is None:
            return
        more = min(self.published, self.acknowledged + 50)
        until(lambda: self.received >= more, "the broker sends nothing more")
        with JournalReader.open(running.journal_path) as journal:
            ahead = self.acknowledged - len(journal.span("case-1-air").times_ms)
        self.most_ahead = max(self.most_ahead, ahead)
        self.commits += 1
        running.clock.move_to(running.clock.now_ms() + self.COMMIT_MS)


class DurationsToo(SteppedClock):
    """A played clock whose durations are played as well, beside those that pass."""

    def monotonic_s(self) -> float:
        return super().monotonic_s() + (self.now_ms() - START_MS) / 1000.0


@pytest.mark.integration
def test_slow_disk_is_told_and_nothing_is_acknowledged_before_it_is_there(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto], receiver: Receiver
) -> None:
    """No error anywhere, and alarms minutes late: log and phone say so, and when it is over."""
    disk = SlowDisk(published=400)

    class Connection(sqlite3.Connection):
        def execute(self, sql: str, *rest: Any) -> sqlite3.Cursor:
            if sql == "COMMIT":
                disk.commit()
            return super().execute(sql, *rest)

    class Session(BrokerSession):
        def _on_plain_messages(self, client: Any, messages: list[PlainMessage]) -> None:
            disk.received += len(messages)
            super()._on_plain_messages(client, messages)

        def ack(self, items: Iterable[Item]) -> int:
            count = super().ack(items)
            disk.acknowledged += count
            return count

    broker = start_mosquitto("max_queued_messages 100000\n")
    text = SHOP.format(port=broker.port) + "stale_s = 86400\n" + PHONE.format(url=receiver.url())
    journal_path = tmp_path / "rimewatch.db"
    running = RunningService(
        load_shop(text),
        journal_path,
        START_MS,
        clock=DurationsToo(START_MS),
        surroundings=Surroundings(
            open_journal=functools.partial(Journal.open, connection_type=Connection),
            session=Session,
        ),
    )
    with running:
        disk.running = running
        publish_many(broker.port, disk.published, first=FIRST_S)
        assert running.service.wait_for(arrivals=disk.published, timeout_s=PATIENCE_S), running.said
        receiver.wait_for(lambda r: bool(r.got), "the call", PATIENCE_S)
        disk.running = None
        publish_many(broker.port, 1, first=FIRST_S + disk.published)
        arrivals = disk.published + 1
        assert running.service.wait_for(arrivals=arrivals, timeout_s=PATIENCE_S), running.said
        assert "Recording keeps up again." not in running.said, "one quick batch is no proof"
        running.clock.move_to(running.clock.now_ms() + 61_000)
        receiver.wait_for(
            lambda r: any("in time again" in title for title in r.titles()), "the end", PATIENCE_S
        )

    assert disk.most_ahead == 0
    assert disk.commits
    late = [line for line in running.said if line.startswith("Recording is ")]
    assert re.search(r"min behind: a batch takes 3\d\d\.\d s, 3\d\d\.\d s of it the disk", late[0])
    assert len(late) <= 4, "it is told each time it has doubled, not each batch"
    assert running.said.count("Recording keeps up again.") == 1
    assert receiver.titles()[0] == "Saltmarsh Row Fish: alarms come late"
    with JournalReader.open(journal_path) as journal:
        assert len(journal.span("case-1-air").times_ms) == arrivals
