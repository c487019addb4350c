"""The watch is watched: by systemd, by somebody outside, and by a test that rings a phone."""

import re
import socket
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from handmade import ONE_CONTACT, probe, shop, unit
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.cli import rimewatch
from rimewatch.clock import SystemClock
from rimewatch.journal.reader import JournalReader
from rimewatch.service.heartbeat import Heartbeat
from rimewatch.service.systemd import Notifier, watchdog_s
from rimewatch.service.writer import Writer
from rimewatch.shop import Contact, Shop, Web
from running_service import RunningService

pytestmark = pytest.mark.integration
WAIT_S = 60.0


class Manager:
    """A service manager's end of the notification socket."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self.heard: list[str] = []

    def until(self, line: str) -> None:
        """Wait until it hears a line."""
        end_s = time.monotonic() + WAIT_S
        while line not in self.heard:
            self._socket.settimeout(max(0.01, end_s - time.monotonic()))
            self.heard += self._socket.recv(4096).decode().splitlines()

    def hears_nothing_more(self, line: str, for_s: float) -> bool:
        """Return whether a line is not heard for a while, what was under way left aside."""
        end_s = time.monotonic() + for_s
        count = 0
        while (left_s := end_s - time.monotonic()) > 0:
            self._socket.settimeout(left_s)
            try:
                count += self._socket.recv(4096).decode().splitlines().count(line)
            except TimeoutError:
                break
        return count == 0

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def manager(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Manager]:
    """Give a manager that the environment names, with a watchdog of a second."""
    made = Manager(tmp_path / "notify")
    monkeypatch.setenv("NOTIFY_SOCKET", str(made.path))
    monkeypatch.setenv("WATCHDOG_USEC", "1000000")
    yield made
    made.close()


@pytest.fixture
def own_shop(mosquitto: Mosquitto, receiver: Receiver) -> Shop:
    """Return a shop with a broker, a phone and pages of this test's."""
    plain = shop(unit(), probe("fish", measures="product"), ONE_CONTACT)
    return replace(
        plain,
        broker=replace(plain.broker, url=mosquitto.url),
        contacts=(Contact(id=plain.contacts[0].id, name="Night phone", urls=(receiver.url(),)),),
        web=Web(url="http://phone.test", host="127.0.0.1", port=0),
    )


def soon_ms() -> int:
    """Return an instant that any message made in this test falls before."""
    return SystemClock().now_ms() + 3_600_000


def test_service_tells_systemd_that_it_is_ready_alive_and_stopping(
    own_shop: Shop, tmp_path: Path, manager: Manager
) -> None:
    """Ready once the journal is open; alive as long as the writer's loop turns."""
    with RunningService(own_shop, tmp_path / "rimewatch.db", soon_ms()):
        manager.until("READY=1")
        manager.until("WATCHDOG=1")
    manager.until("STOPPING=1")

    assert manager.heard.index("READY=1") < manager.heard.index("STOPPING=1")


def test_watchdog_is_not_fed_while_the_writer_is_stuck(
    own_shop: Shop, tmp_path: Path, manager: Manager, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Other threads live on; systemd must start the service again all the same."""
    let_go = threading.Event()
    with RunningService(own_shop, tmp_path / "rimewatch.db", soon_ms()) as running:
        manager.until("WATCHDOG=1")
        stuck = threading.Event()

        def hang(_writer: Writer) -> bool:
            stuck.set()
            let_go.wait(WAIT_S)
            return False

        monkeypatch.setattr(Writer, "has_work", hang)
        assert stuck.wait(WAIT_S)
        manager.hears_nothing_more("", 0.2)
        fed = not manager.hears_nothing_more("WATCHDOG=1", 2.0)
        let_go.set()
        assert not fed
        assert running.error is None


def test_watchdog_meant_for_another_process_is_left_alone(tmp_path: Path) -> None:
    """A command started by the service has its environment."""
    manager = Manager(tmp_path / "notify")
    environ = {
        "NOTIFY_SOCKET": str(manager.path),
        "WATCHDOG_USEC": "1000000",
        "WATCHDOG_PID": "1",
    }
    notifier = Notifier(environ, time.monotonic, pid=4711)
    notifier.alive()

    assert watchdog_s(environ, pid=4711) is None
    assert watchdog_s({**environ, "WATCHDOG_PID": "4711"}, pid=4711) == 0.5
    assert manager.hears_nothing_more("WATCHDOG=1", 0.2)
    manager.close()


@pytest.mark.parametrize("environ", [{}, {"NOTIFY_SOCKET": "/nowhere/at/all"}])
def test_service_without_systemd_goes_its_way(environ: dict[str, str]) -> None:
    """On a desk or in a container nobody listens."""
    unreadable = {**environ, "WATCHDOG_USEC": "x"}
    notifier = Notifier(unreadable, time.monotonic)
    notifier.ready("Watching")
    notifier.alive()
    notifier.stopping()

    assert watchdog_s(unreadable, pid=4711) is None


class Outside:
    """Somebody who waits for the heartbeat."""

    def __init__(self) -> None:
        self.beats = 0
        self.answer = 200
        self._changed = threading.Condition()
        outside = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                with outside._changed:
                    outside.beats += self.path == "/beat/s3cret"
                    outside._changed.notify_all()
                self.send_response(outside.answer)
                self.end_headers()

            def log_message(self, *_: object) -> None:
                """Keep the tests' output clean."""

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self._server.server_address[1]}/beat/s3cret"
        threading.Thread(target=self._server.serve_forever, args=(0.02,), daemon=True).start()

    def until(self, beats: int) -> None:
        with self._changed:
            assert self._changed.wait_for(lambda: self.beats >= beats, WAIT_S), self.beats

    def close(self) -> None:
        self._server.shutdown()
        self._server.server_close()


@pytest.fixture
def outside() -> Iterator[Outside]:
    """Give somebody who waits."""
    made = Outside()
    yield made
    made.close()


def until(condition: Callable[[], bool], what: str) -> None:
    """Wait for a condition that other threads bring about."""
    end_s = time.monotonic() + WAIT_S
    pause = threading.Event()
    while not condition():
        assert time.monotonic() < end_s, f"waited {WAIT_S} s for {what}"
        pause.wait(0.01)


def test_heartbeat_beats_only_while_all_is_well(outside: Outside) -> None:
    """Its silence is the alarm of whoever waits for it."""
    well, asked = threading.Event(), threading.Semaphore(0)
    well.set()

    def is_well() -> bool:
        asked.release()
        return well.is_set()

    beat = Heartbeat(outside.url, 0.05, is_well)
    outside.until(3)
    well.clear()
    assert asked.acquire(timeout=WAIT_S)
    for _ in range(100):  # what was asked before it was unwell may still be under way
        if not asked.acquire(blocking=False):
            break
    before = outside.beats
    for _ in range(5):
        assert asked.acquire(timeout=WAIT_S)
    assert outside.beats <= before + 1
    well.set()
    outside.until(before + 2)
    beat.stop()


def test_heartbeat_tells_why_it_failed_and_never_where(outside: Outside) -> None:
    """The address is a secret, also in the morning's message."""
    outside.answer = 503
    beat = Heartbeat(outside.url, 0.05, lambda: True)
    until(lambda: beat.trouble == "it answered 503", "the answer")
    outside.close()
    until(lambda: beat.trouble.startswith("it was not reached"), "the refusal")
    assert "s3cret" not in beat.trouble
    beat.stop()


def test_heartbeat_of_a_running_service_reaches_whoever_waits(
    own_shop: Shop, tmp_path: Path, outside: Outside
) -> None:
    """Readings flow, messages go out: it beats."""
    own = replace(own_shop.self_watch, heartbeat_url=outside.url, heartbeat_s=0.1)
    watched = replace(own_shop, self_watch=own)
    with RunningService(watched, tmp_path / "rimewatch.db", soon_ms()):
        outside.until(2)


def ring(config: Path, journal: Path, *more: str) -> Result:
    """Run the command as a person does."""
    arguments = ["test-alarm", "--config", str(config), "--journal", str(journal), *more]
    return CliRunner().invoke(rimewatch, arguments)


@pytest.fixture
def config(tmp_path: Path, own_shop: Shop, receiver: Receiver) -> Path:
    """Write the configuration that belongs to the running service."""
    assert own_shop.contacts
    text = (
        '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
        + unit()
        + probe("fish", measures="product")
        + f'[[contact]]\nid = "first"\nname = "Night phone"\nurls = ["{receiver.url()}"]\n'
    )
    path = tmp_path / "shop.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_test_alarm_rings_the_phone_and_hears_its_answer(
    own_shop: Shop, tmp_path: Path, receiver: Receiver, config: Path
) -> None:
    """Through the outbox, the push service, the link and back: the way of a real alarm."""
    journal = tmp_path / "rimewatch.db"
    answers: list[Result] = []
    with RunningService(own_shop, journal, soon_ms()) as running:
        asking = threading.Thread(target=lambda: answers.append(ring(config, journal)))
        asking.start()
        receiver.wait_for(lambda r: bool(r.got), "the test")
        message = receiver.got[0]
        assert message["title"] == "Saltmarsh Row Fish: a test, no fish is at risk"
        assert message["type"] == "failure"  # as urgent as the real thing
        found = re.search(r"http://phone\.test(/a/\S+)", message["message"])
        assert found is not None
        url = f"http://127.0.0.1:{running.service.pages.port}{found[1]}"
        with urllib.request.urlopen(url, timeout=WAIT_S) as page:
            assert b"<button" in page.read()
        with urllib.request.urlopen(url, data=b"", timeout=WAIT_S) as page:
            assert b"by Night phone" in page.read()
        asking.join(WAIT_S)

    (answer,) = answers
    assert answer.exit_code == 0, answer.output
    assert "Acknowledged by Night phone" in answer.output
    with JournalReader.open(journal) as reader:
        assert reader.alarms_between(0, 4_000_000_000_000) == []  # it counts as no alarm


def test_test_alarm_that_nobody_answers_says_so(
    tmp_path: Path, own_shop: Shop, config: Path
) -> None:
    """With a hint if it has not even left."""
    journal = tmp_path / "rimewatch.db"
    with RunningService(own_shop, journal, soon_ms()):
        pass
    answer = ring(config, journal, "--wait-s", "0.1")

    assert answer.exit_code == 1
    assert "Nobody acknowledged within 0.1 s" in answer.output
    assert "is the service running" in answer.output

    seen = ring(config, journal, "--seen", "--who", "Mia")
    assert seen.exit_code == 0
    assert "Noted" in seen.output


def test_test_alarm_for_an_unknown_contact_is_refused(
    tmp_path: Path, own_shop: Shop, config: Path
) -> None:
    """A typo must not pass for a phone that works."""
    journal = tmp_path / "rimewatch.db"
    with RunningService(own_shop, journal, soon_ms()):
        pass
    answer = ring(config, journal, "--contact", "frist")

    assert answer.exception is not None
    assert 'no contact or rota "frist"; the configuration has first' in str(answer.exception)
