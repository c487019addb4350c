"""Stands in while the journal cannot be used: judges in memory, and says that nothing is kept.

A damaged file or a dead disk at three in the morning must not leave fish without a watch.
A second service, with a journal in memory that begins empty, hears what the probes send
from now on and sends alarms by the same rules and the same ways. Its session at the broker
ends with it, so that the broker goes on keeping for the real one whatever that has not
acknowledged. Each of its messages says that it is not recorded.

It knows nothing of the time before: neither lots and their holds, nor acknowledgements.
"""

import os
import shutil
import tempfile
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Final

from rimewatch.clock import Clock
from rimewatch.intake.broker import BrokerSession
from rimewatch.journal.errors import JournalError
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.dispatcher import Dispatcher
from rimewatch.service.service import Service
from rimewatch.service.surroundings import Surroundings
from rimewatch.service.systemd import Notifier
from rimewatch.shop import Shop

MEMORY: Final = Path("/dev/shm")  # noqa: S108 - a folder of our own is made in it
"""Where Linux keeps files in memory; elsewhere the system's folder for passing files serves."""

PREFIX: Final = "rimewatch-stand-in-"
"""Followed by the process's number."""

NOT_RECORDED: Final = "Not recorded. "
BEGIN_WITHIN_S: Final = 10.0
END_WITHIN_S: Final = 15.0


class PassingSession(BrokerSession):
    """A session that the broker forgets when it ends."""

    is_lasting = False


class UnrecordedDispatcher(Dispatcher):
    """Says of each message that nothing of it is kept."""

    def submit(self, row: OutboxRow) -> bool:
        """Hand a message over, marked."""
        return super().submit(replace(row, title=f"{NOT_RECORDED}{row.title}"))


class StandIn:
    """A watch without a record, in a thread of its own; begun and ended by the writer.

    Args:
        shop: What is watched.
        clock: Tells the time.
        say: Told what a person at the console would want to know.
    """

    def __init__(self, shop: Shop, clock: Clock, say: Callable[[str], None]) -> None:
        self._shop = _without_extras(shop)
        self._clock = clock
        self._say = say
        self._service: Service | None = None
        self._thread: threading.Thread | None = None

    def begin(self, why: str) -> bool:
        """Begin to watch, if it does not yet; return whether it does.

        Args:
            why: Why nothing is recorded: its mornings' messages say so too.
        """
        if self._thread is not None and self._thread.is_alive():
            return True
        begun = threading.Event()
        self._thread = threading.Thread(
            target=self._watch, args=(begun, why), name="stand-in", daemon=True
        )
        self._thread.start()
        begun.wait(BEGIN_WITHIN_S)
        service = self._service
        if service is None or not service.wait_until_listening(BEGIN_WITHIN_S):
            return False
        self._say("Standing in: readings are judged in memory, and none of it is recorded.")
        return True

    def end(self) -> None:
        """End the watch and forget what it held."""
        if self._thread is None:
            return
        if self._service is not None:
            self._service.stop()
        self._thread.join(END_WITHIN_S)
        self._thread = self._service = None

    def _watch(self, begun: threading.Event, why: str) -> None:
        memory = MEMORY if MEMORY.is_dir() else Path(tempfile.gettempdir())
        try:
            _sweep(memory)
            with tempfile.TemporaryDirectory(
                prefix=f"{PREFIX}{os.getpid()}-", dir=memory
            ) as folder:
                self._service = Service(
                    self._shop,
                    Path(folder) / "unrecorded.db",
                    self._clock,
                    say=lambda text: self._say(f"Standing in: {text}"),
                    surroundings=Surroundings(
                        session=PassingSession,
                        dispatcher=UnrecordedDispatcher,
                        notifier=Notifier({}, self._clock.monotonic_s),
                        trouble=(f"Nothing is recorded. {why}",),
                    ),
                )
                begun.set()
                self._service.run()
        except (OSError, JournalError) as error:
            self._say(f"Standing in failed too: {error}")
        finally:
            begun.set()


def _sweep(memory: Path) -> None:
    """Remove what a stand-in left whose process was killed: it lies in memory."""
    for left in memory.glob(f"{PREFIX}*"):
        number = left.name.removeprefix(PREFIX).partition("-")[0]
        if number.isdigit() and not Path(f"/proc/{number}").exists():
            shutil.rmtree(left, ignore_errors=True)


def _without_extras(shop: Shop) -> Shop:
    """Return what is watched and who is told, and nothing that needs a record."""
    return replace(
        shop,
        broker=replace(shop.broker, client_id=f"{shop.broker.client_id}-stand-in", entries=False),
        web=None,
        mirror=None,
        self_watch=replace(shop.self_watch, heartbeat_url=""),
    )
