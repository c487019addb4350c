"""A broker inside the process, for the demo: MQTT 3.1.1, in memory, on loopback only."""

import asyncio
import logging
import threading
from types import TracebackType
from typing import Any, Self

from amqtt.broker import Broker

START_S = 10.0


class EmbeddedBrokerError(Exception):
    """The embedded broker did not start."""


class EmbeddedBroker:
    """A broker on a free port, in a thread and an event loop of its own."""

    plugins: tuple[str, ...] = ()
    """What asks who may do what, beside the one that lets everybody in."""

    def __init__(self) -> None:
        self.port = 0
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._serve, name="embedded-broker", daemon=True)
        self._started = threading.Event()
        self._error: BaseException | None = None
        self._broker: Any = None

    @property
    def url(self) -> str:
        """Where it listens."""
        return f"mqtt://127.0.0.1:{self.port}"

    def __enter__(self) -> Self:
        """Start it, and wait until it listens.

        Raises:
            EmbeddedBrokerError: If it does not.
        """
        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        self._thread.start()
        if not self._started.wait(START_S) or self._error is not None:
            raise EmbeddedBrokerError(f"the embedded broker did not start: {self._error}")
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop it."""
        asyncio.run_coroutine_threadsafe(self._broker.shutdown(), self._loop).result(START_S)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(START_S)

    def _serve(self) -> None:
        asyncio.set_event_loop(self._loop)
        try:
            self._loop.run_until_complete(self._start())
        except BaseException as error:  # noqa: BLE001 (told to the thread that waits)
            self._error = error
            self._started.set()
            return
        self._started.set()
        self._loop.run_forever()
        # It leaves tasks behind when it shuts down; nobody would end them but the collector.
        left = asyncio.all_tasks(self._loop)
        for task in left:
            task.cancel()
        self._loop.run_until_complete(asyncio.gather(*left, return_exceptions=True))
        self._loop.close()

    async def _start(self) -> None:
        self._broker = Broker(
            {
                "listeners": {"default": {"type": "tcp", "bind": "127.0.0.1:0"}},
                "plugins": {
                    "amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True},
                    **{name: {} for name in self.plugins},
                },
            }
        )
        await self._broker.start()
        (server,) = self._broker._servers.values()  # noqa: SLF001 (it has no other way to tell)
        self.port = server.instance.sockets[0].getsockname()[1]
