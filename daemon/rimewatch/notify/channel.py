"""One address of a contact: a thread that sends to it, and a limit on how long that may take.

A send can hang beyond every time-out: time-outs count between two pieces of an answer,
and a service may trickle. So each channel sends in a thread of its own, and whoever asked
stops waiting when the time is up. A thread keeps the Apprise objects it uses to itself,
since nobody promises that they may be shared. Nothing of an address but its scheme is
shown, nothing is logged.
"""

import queue
import threading
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import apprise

from rimewatch.clock import Clock, SystemClock
from rimewatch.notify import addresses
from rimewatch.notify.asked_pauses import pauses_asked
from rimewatch.notify.letter import Letter
from rimewatch.notify.redaction import redacted
from rimewatch.notify.results import ChannelHealth, Limits
from rimewatch.notify.urgency import for_urgency

MACHINE: Final = SystemClock()
"""Waiting for a network is real time, even where the service runs on a trace's."""
MOST_LANES: Final = 4
"""Threads at most for one address, those that hang included (our choice)."""
PICTURE_REFUSED_S: Final = 3.0
"""A message with a picture that fails so soon is sent once more without it (our choice); after
a longer wait it is the network, and there is no time for a second one."""
LONGEST_PAUSE_S: Final = 3600.0
"""A service that asks for a longer pause is tried again after this (our choice)."""
URGENT_PAUSE_S: Final = 300.0
"""After so long of a pause an urgent message is tried all the same (our choice): one more request,
while somebody's fish is at stake."""
MOST_LATE: Final = 64
"""Letters remembered that were taken after their time was up (our choice)."""


@dataclass(slots=True)
class _Task:
    """A letter on its way through a lane. ``error`` is empty once it was taken."""

    letter: Letter
    began_s: float
    done: threading.Event = field(default_factory=threading.Event)
    error: str = "no answer yet"
    overdue: bool = False
    """Whether whoever asked has stopped waiting."""
    pause_s: float | None = None
    """For how long the service asked to be left alone; None: it did not."""


class Channel:
    """Sends letters to one address, one after the other.

    Args:
        address: An Apprise URL, references resolved. Secret.
        secrets: Everything that must not show in an error's text.
        limits: How long things may take.
        clock: Stamps what health tells.
    """

    def __init__(
        self, address: str, *, secrets: tuple[str, ...], limits: Limits, clock: Clock
    ) -> None:
        self._address = address
        self._secrets = secrets
        self._limits = limits
        self._clock = clock
        self.scheme: Final = addresses.scheme(address)
        self._lanes: list[_Lane] = []
        self._pending: _Task | None = None
        self._late: deque[int] = deque(maxlen=MOST_LATE)
        self._paused_s, self._pause_s = 0.0, 0.0
        """Since when the service wants no message, on the machine's clock, and for how long."""
        self.last_delivered_ms: int | None = None
        self.last_failed_ms: int | None = None
        lane = self._new_lane()
        self.usable: Final = lane is not None
        if lane is not None:
            self._lanes.append(lane)

    @property
    def hanging(self) -> bool:
        """Whether a send has not come back although its time is up."""
        pending = self._pending
        return pending is not None and pending.overdue and not pending.done.is_set()

    def health(self) -> ChannelHealth:
        """Return how the channel is doing. May be called from any thread."""
        return ChannelHealth(
            scheme=self.scheme,
            usable=self.usable,
            hanging=self.hanging,
            last_delivered_ms=self.last_delivered_ms,
            last_failed_ms=self.last_failed_ms,
        )

    def send(self, letter: Letter, *, within_s: float) -> str:
        """Send a letter; wait for the end of it for a limited time.

        A letter whose earlier send comes back late is not sent again: its late success
        counts. Called by one thread alone, the contact's.

        Returns:
            Empty when the service took it; else what went wrong, without secrets.
        """
        assert self.usable, "an address that Apprise refused must not be sent to"
        error = "" if self._is_taken(letter) else self._send(letter, within_s)
        if error:
            self.last_failed_ms = self._clock.now_ms()
        else:
            self.last_delivered_ms = self._clock.now_ms()
        return error

    def stop(self) -> None:
        """Let the threads end as soon as what they are at comes back; send nothing after it.

        Does not wait.
        """
        for lane in self._lanes[-1:]:  # those before it were told when it was begun
            lane.stop()

    def join(self, timeout_s: float) -> bool:
        """Wait for the newest thread to end; return whether none is left that runs."""
        for lane in self._lanes[-1:]:
            lane.join(timeout_s)
        return not any(lane.alive for lane in self._lanes)

    def _is_taken(self, letter: Letter) -> bool:
        """Return whether a letter was taken after its time was up, once."""
        task = self._pending
        if task is not None and task.done.is_set():
            if not task.error:
                self._late.append(task.letter.id)
            self._pending = None
        if letter.id not in self._late:
            return False
        self._late.remove(letter.id)
        return True

    def _send(self, letter: Letter, within_s: float) -> str:
        task = self._pending
        if task is None and (left_s := self._left_s(letter)) > 0:
            return f"asked us to come back in {left_s:.0f} s"
        if task is not None:
            if self._begin_anew(task):
                task = None
            elif task.letter.id != letter.id:
                return "still waits for the end of an earlier message"
        if task is None:
            task = self._pending = _Task(letter, MACHINE.monotonic_s())
            self._lanes[-1].put(task)
        if not task.done.wait(max(0.0, within_s)):
            task.overdue = True
            return f"no answer within {within_s:.0f} s"
        self._pending = None
        if task.pause_s is not None:
            self._paused_s, self._pause_s = MACHINE.monotonic_s(), task.pause_s
        return task.error

    def _left_s(self, letter: Letter) -> float:
        """Return for how much longer the service is to be left alone."""
        longest_s = URGENT_PAUSE_S if letter.urgent else LONGEST_PAUSE_S
        return self._paused_s + min(self._pause_s, longest_s) - MACHINE.monotonic_s()

    def _begin_anew(self, hanging: _Task) -> bool:
        """Return whether there is a free lane now beside one that has hung for too long."""
        self._lanes = [lane for lane in self._lanes if lane.alive]
        hung_s = MACHINE.monotonic_s() - hanging.began_s
        patient = hung_s < self._limits.stuck_s or len(self._lanes) >= MOST_LANES
        if self._lanes and patient:
            return False
        lane = self._new_lane()
        if lane is None:
            return False
        for old in self._lanes[-1:]:
            old.stop()
        self._lanes.append(lane)
        return True

    def _new_lane(self) -> "_Lane | None":
        services = _services(self._address, self._limits)
        if services is None:
            return None
        return _Lane(services, self._secrets)


class _Lane:
    """A thread and the Apprise objects that only it uses. Dies with the process."""

    def __init__(
        self, services: dict[tuple[bool, bool], apprise.Apprise], secrets: tuple[str, ...]
    ) -> None:
        self._services = services
        self._secrets = secrets
        self._tasks: queue.SimpleQueue[_Task | None] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._run, name="rimewatch-send", daemon=True)
        self._thread.start()

    @property
    def alive(self) -> bool:
        return self._thread.is_alive()

    def put(self, task: _Task) -> None:
        self._tasks.put(task)

    def stop(self) -> None:
        self._tasks.put(None)

    def join(self, timeout_s: float) -> None:
        self._thread.join(max(0.0, timeout_s))

    def _run(self) -> None:
        while (task := self._tasks.get()) is not None:
            try:
                with pauses_asked() as pauses:
                    task.error = self._sent(task.letter, pauses)
                task.pause_s = max(pauses, default=None) if task.error else None
            except Exception as error:  # noqa: BLE001 - services are many people's code
                # The text may hold the address, so the kind alone is told.
                task.error = f"failed unexpectedly ({type(error).__name__})"
            finally:
                task.done.set()

    def _sent(self, letter: Letter, pauses: list[float]) -> str:
        # A picture that is gone by now would fail the whole send.
        if not Path(letter.attachment or "-").is_file():
            return self._sent_with(letter, None)
        began_s = MACHINE.monotonic_s()
        error = self._sent_with(letter, letter.attachment)
        if error and not pauses and MACHINE.monotonic_s() - began_s < PICTURE_REFUSED_S:
            # Whatever it has against a picture, the words must arrive.
            error = self._sent_with(letter, None)
        return error

    def _sent_with(self, letter: Letter, attach: str | None) -> str:
        carrier = self._services[letter.is_summary, letter.urgent]
        result = carrier.notify(
            body=letter.body,
            title=letter.title,
            notify_type=letter.kind,
            body_format="text",
            attach=attach,
        )
        # An address marked as optional counts as success whether or not it took the message,
        # so the attempts are asked, not the result alone.
        took = [any(bool(attempt) for attempt in service) for service in result.results]
        if bool(result) and took and all(took):
            return ""
        said = [entry.message for entry in result.logs()]
        return redacted(said[-1], self._secrets) if said else "was not taken, without a reason"


def _services(address: str, limits: Limits) -> dict[tuple[bool, bool], apprise.Apprise] | None:
    """Return an Apprise object for each kind of letter, or None if the address is unusable.

    The keys are (is a summary, is urgent). What the shop set in its address stays.
    """
    plain = addresses.build(address)
    if plain is None:
        return None
    found: dict[tuple[bool, bool], apprise.Apprise] = {}
    for is_summary in (False, True):
        for urgent in (False, True):
            adapted = for_urgency(address, urgent=urgent)
            # A summary may fill several messages. Of an alarm the beginning is enough, and a
            # message that is too long could be refused as a whole.
            general = {
                "cto": f"{limits.connect_s:g}",
                "rto": f"{limits.read_s:g}",
                "overflow": "split" if is_summary else "truncate",
            }
            for name, value in general.items():
                adapted = addresses.with_parameter(adapted, name, value)
            found[is_summary, urgent] = addresses.build(adapted) or plain
    return found
