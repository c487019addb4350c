"""Plays a trace in its own time, faster or slower, into whatever takes its messages.

Knows no network: ``publish`` is the caller's. Time is the caller's as well, if wanted:
``before`` is called with each line's instant before the line, so that a clock can be
moved in lock-step, and ``wait`` may be replaced.
"""

import threading
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from rimewatch_sim.trace import TraceLine

Publish = Callable[[str, bytes], None]
Enter = Callable[[int, Mapping[str, Any]], None]
"""Takes an operator's entry: its instant, and ``do`` with its fields."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a player is."""

    done: int
    at_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """What a player did."""

    messages: int
    entries: int
    entries_left_out: int
    """Entries for which there was nobody to take them."""
    stopped: bool
    """It was stopped before the end."""


class Player:
    """Plays lines in their order, once. The lines may be an iterator."""

    def __init__(self, lines: Iterable[TraceLine]) -> None:
        self._lines = lines

    def play(
        self,
        publish: Publish,
        *,
        enter: Enter | None = None,
        speed: float | None = 60.0,
        rush_until_ms: int | None = None,
        most_per_s: float | None = None,
        before: Callable[[int], None] | None = None,
        on_progress: Callable[[Progress], None] | None = None,
        stop: threading.Event | None = None,
        wait: Callable[[float], None] | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> Played:
        """Play to the end, or until stopped.

        Args:
            publish: Takes each message's topic and payload.
            enter: Takes each operator's entry; None: entries are left out and counted.
            speed: Seconds of the trace in one second; None: as fast as it goes.
            rush_until_ms: Lines before this instant are played as fast as it goes.
            most_per_s: Never more lines a second than this, however fast the rest; None: no
                limit. A broker drops, after acknowledging it, what a subscriber is too slow
                to take beyond its queue, often 1000 messages.
            before: Called with each line's instant, after the waiting, before the line.
            on_progress: Called after each line.
            stop: When set, the player ends before its next line, in the midst of a wait too.
            wait: Waits so many seconds; None: waits for ``stop``, with that limit.
            monotonic: Seconds that never run backwards, on which the pace is kept.

        Raises:
            ValueError: If ``speed`` or ``most_per_s`` is not more than zero.
        """
        if speed is not None and not speed > 0:
            raise ValueError(f"speed is {speed}; it must be more than zero, such as 60")
        if most_per_s is not None and not most_per_s > 0:
            raise ValueError(f"most_per_s is {most_per_s}; it must be more than zero, such as 500")
        ended = threading.Event() if stop is None else stop
        pause = wait if wait is not None else _pause_on(ended)
        pace = _Pace(speed, rush_until_ms, most_per_s, monotonic)
        messages = entries = left_out = 0
        for number, line in enumerate(self._lines, start=1):
            delay_s = pace.delay_s(line.at_ms)
            if delay_s > 0 and not ended.is_set():
                pause(delay_s)
            if ended.is_set():
                break
            if before is not None:
                before(line.at_ms)
            if line.entry is None:
                assert line.topic is not None, "a line is a message or an entry"
                publish(line.topic, line.payload)
                messages += 1
            elif enter is None:
                left_out += 1
            else:
                enter(line.at_ms, line.entry)
                entries += 1
            if on_progress is not None:
                on_progress(Progress(done=number, at_ms=line.at_ms))
        return Played(
            messages=messages,
            entries=entries,
            entries_left_out=left_out,
            stopped=ended.is_set(),
        )


def _pause_on(ended: threading.Event) -> Callable[[float], None]:
    def pause(seconds: float) -> None:
        ended.wait(seconds)

    return pause


class _Pace:
    """Says how long to wait for a line; the pace is kept from its first line, without drift."""

    def __init__(
        self,
        speed: float | None,
        rush_until_ms: int | None,
        most_per_s: float | None,
        monotonic: Callable[[], float],
    ) -> None:
        self._speed = speed
        self._rush_until_ms = rush_until_ms
        self._apart_s = 0.0 if most_per_s is None else 1.0 / most_per_s
        self._monotonic = monotonic
        self._origin: tuple[float, int] | None = None
        self._free_s: float | None = None

    def delay_s(self, at_ms: int) -> float:
        """Return the seconds from now until the line is due; 0 if it is due or late."""
        now_s = self._monotonic()
        due_s = max(now_s, self._due_s(at_ms, now_s))
        if self._free_s is not None:
            due_s = max(due_s, self._free_s)
        self._free_s = due_s + self._apart_s
        return due_s - now_s

    def _due_s(self, at_ms: int, now_s: float) -> float:
        rushes = self._rush_until_ms is not None and at_ms < self._rush_until_ms
        if self._speed is None or rushes:
            return now_s
        if self._origin is None:
            self._origin = (now_s, at_ms)
        began_s, began_ms = self._origin
        return began_s + (at_ms - began_ms) / 1000.0 / self._speed
