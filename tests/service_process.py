"""Runs ``rimewatch run`` as a process of its own, and looks at it as an operator would."""

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from rimewatch.journal.errors import JournalError
from rimewatch.journal.reader import JournalReader

PATIENCE_S = 60.0
"""Only a run that fails takes so long: the machine may be very busy."""

LOOK_EVERY_S = 0.05

T = TypeVar("T")


def until(look: Callable[[], T], what: str, *, within_s: float = PATIENCE_S) -> T:
    """Look again and again until something true is seen; fail after a while."""
    end_s = time.monotonic() + within_s
    pause = threading.Event()
    while not (seen := look()):
        assert time.monotonic() < end_s, f"waited {within_s:g} s for {what}"
        pause.wait(LOOK_EVERY_S)
    return seen


def command(*arguments: str | Path) -> list[str]:
    """Return the command line of one of rimewatch's commands."""
    return [sys.executable, "-m", "rimewatch", *map(str, arguments)]


def run_command(
    *arguments: str | Path, stdin: bytes = b"", cwd: Path | None = None
) -> subprocess.CompletedProcess[bytes]:
    """Run a command to its end, without whatever the environment says of a shop."""
    environment = {k: v for k, v in os.environ.items() if not k.startswith("RIMEWATCH")}
    return subprocess.run(
        command(*arguments),
        input=stdin,
        capture_output=True,
        timeout=PATIENCE_S,
        cwd=cwd,
        env=environment,
        check=False,
    )


class ServiceProcess:
    """The service as a process, between ``__enter__`` and ``__exit__``."""

    def __init__(self, config: Path, journal: Path) -> None:
        self.config = config
        self.journal = journal
        self._lines: list[str] = []
        self._more = threading.Condition()
        self._silent = False
        """Whether it has ended, and will say nothing more."""
        self._process: subprocess.Popen[str] | None = None
        self.prefix: tuple[str, ...] = ()
        """A program that runs it, with its arguments."""

    def __enter__(self) -> Self:
        self._process = subprocess.Popen(
            [*self.prefix, *command("run", "--config", self.config, "--journal", self.journal)],
            stderr=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            text=True,
            start_new_session=True,
        )
        self._listener = threading.Thread(target=self._listen, args=(self._process.stderr,))
        self._listener.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        assert self._process is not None
        if self._process.poll() is None:
            self.send_to_all(signal.SIGKILL)
            self._process.wait(PATIENCE_S)
        self._listener.join(PATIENCE_S)
        assert self._process.stderr is not None
        self._process.stderr.close()

    def _listen(self, stderr: object) -> None:
        for line in stderr:  # type: ignore[attr-defined]
            with self._more:
                self._lines.append(line.rstrip("\n"))
                self._more.notify_all()
        with self._more:
            self._silent = True
            self._more.notify_all()

    @property
    def pid(self) -> int:
        """Its process's number."""
        assert self._process is not None
        return self._process.pid

    @property
    def said(self) -> str:
        """Everything it has said so far."""
        with self._more:
            return "\n".join(self._lines)

    def wait_for(self, text: str, *, times: int = 1) -> None:
        """Wait until it has said something so many times."""

        def is_so() -> bool:
            return sum(text in line for line in self._lines) >= times

        with self._more:
            self._more.wait_for(lambda: is_so() or self._silent, PATIENCE_S)
            assert is_so(), f'waited in vain for "{text}" (x{times}); it said: {self.said}'

    def send(self, number: signal.Signals) -> None:
        """Send it a signal."""
        assert self._process is not None
        self._process.send_signal(number)

    def send_to_all(self, number: signal.Signals) -> None:
        """Send a signal to it and to the program that runs it."""
        assert self._process is not None
        os.killpg(self._process.pid, number)

    def is_over(self) -> bool:
        """Return whether it has ended."""
        assert self._process is not None
        return self._process.poll() is not None

    def ended(self) -> int:
        """Wait for its end and return its exit code; negative for a signal."""
        assert self._process is not None
        try:
            code = self._process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            raise AssertionError(f"it does not end; it said: {self.said}") from None
        self._listener.join(PATIENCE_S)
        return code

    def stop(self, number: signal.Signals = signal.SIGTERM) -> int:
        """Ask it to end and return its exit code."""
        self.send(number)
        return self.ended()

    def look(self, see: Callable[[JournalReader], T]) -> T | None:
        """Look into its journal; None while there is none to look into."""
        if not self.journal.exists():
            return None
        try:
            with JournalReader.open(self.journal) as reader:
                return see(reader)
        except JournalError:
            return None  # it is just being made

    def wait_for_readings(self, probe: str, count: int, *, within_s: float = PATIENCE_S) -> None:
        """Wait until so many readings of a probe are on the disk."""
        seen: list[int] = []

        def enough() -> bool:
            seen[:] = [readings(self, probe)]
            assert seen[0] >= count or not self._silent, f"it ended; it said: {self.said}"
            return seen[0] >= count

        try:
            until(enough, f"{count} readings of {probe}", within_s=within_s)
        except AssertionError as error:
            raise AssertionError(f"{error}; there are {seen}; it said: {self.said}") from None


def readings(service: ServiceProcess, probe: str) -> int:
    """Return how many readings of a probe are on the disk."""
    return service.look(lambda j: len(j.span(probe).times_ms)) or 0  # type: ignore[arg-type]


class Probes:
    """Publishes at QoS 1, and knows when the broker has it all."""

    def __init__(self, port: int) -> None:
        self._client = Client(CallbackAPIVersion.VERSION2, client_id="probes-of-the-test")
        self._client.max_inflight_messages_set(500)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()

    def publish(self, topic: str, payloads: Sequence[str | bytes]) -> None:
        """Publish, and wait until the broker has confirmed every message."""
        sent = [self._client.publish(topic, payload, qos=1) for payload in payloads]
        for info in sent:
            info.wait_for_publish(PATIENCE_S)
            assert info.is_published(), "the broker did not confirm a message"
