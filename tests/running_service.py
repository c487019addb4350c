"""Runs the real service in a thread of a test, on a stepped clock, and plays a trace into it."""

import threading
from collections.abc import Callable, Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion

from rimewatch.clock import SteppedClock
from rimewatch.intake.trace import TraceEntry, TraceMessage
from rimewatch.journal.journal import Journal
from rimewatch.service.service import Service
from rimewatch.service.surroundings import Surroundings
from rimewatch.shop import Shop

PATIENCE_S = 60.0
"""Only a run that fails takes so long: the machine may be very busy."""


class RunningService:
    """The service under test, between ``__enter__`` and ``__exit__``."""

    def __init__(
        self,
        shop: Shop,
        journal_path: Path,
        start_ms: int,
        reread: Callable[[], Shop] | None = None,
        *,
        clock: SteppedClock | None = None,
        config_path: Path | None = None,
        surroundings: Surroundings | None = None,
    ) -> None:
        self.clock = clock or SteppedClock(start_ms)
        self.said: list[str] = []
        self.journal_path = journal_path
        self.error: BaseException | None = None
        self.service = Service(
            shop,
            journal_path,
            self.clock,
            say=self.said.append,
            reread=reread,
            config_path=config_path,
            surroundings=surroundings,
        )
        self._thread = threading.Thread(target=self._run, name="service-under-test")
        self._published = 0
        self._entered = 0

    def __enter__(self) -> Self:
        self._thread.start()
        assert self.service.wait_until_listening(PATIENCE_S), self.said
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.service.stop()
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive(), "the service did not stop"
        if self.error is not None:
            raise self.error

    def _run(self) -> None:
        try:
            self.service.run()
        except BaseException as error:  # noqa: BLE001 (raised again in the test's own thread)
            self.error = error

    def play(self, port: int, lines: Iterable[TraceMessage | TraceEntry]) -> None:
        """Play lines in lock-step: each is on the disk before the next."""
        client = Client(CallbackAPIVersion.VERSION2, client_id="probes-of-the-test")
        client.connect("127.0.0.1", port)
        client.loop_start()
        try:
            for line in lines:
                self.clock.move_to(line.at_ms)
                if isinstance(line, TraceMessage):
                    sent: MQTTMessageInfo = client.publish(line.topic, line.payload, qos=1)
                    sent.wait_for_publish(PATIENCE_S)
                    self._published += 1
                else:
                    with Journal.open(self.journal_path, check=False) as journal:
                        journal.add_entry(line.entry, "test")
                    self._entered += 1
                assert self.service.wait_for(
                    arrivals=self._published, entries=self._entered, timeout_s=PATIENCE_S
                ), f"line at {line.at_ms} was not taken in: {self.said}"
        finally:
            client.disconnect()
            client.loop_stop()
