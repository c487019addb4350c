"""What libraries write to the log, bounded: one line each, and few of them a minute.

A server that is flooded, or a process without file handles, has its libraries repeat one warning
with its traceback thousands of times a second: hundreds of megabytes before the morning, on the
disk that the readings need. What the service itself has to say goes another way.
"""

import logging
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from rimewatch.clock import Clock

LINES_A_MINUTE: Final = 10
"""Of one logger (our choice)."""
LONGEST_LINE: Final = 600
MOST_LOGGERS: Final = 100
_MINUTE_S: Final = 60.0
_FRAMES: Final = 3


@dataclass(slots=True)
class _Minute:
    """What a logger has had said within its present minute."""

    begun_s: float
    said: int = 0
    left_out: int = 0


class BoundedLog(logging.Handler):
    """Says warnings of libraries, shortened, and of a repeating logger only the first.

    Args:
        say: Told each line.
        clock: Measures the minutes.
    """

    def __init__(self, say: Callable[[str], None], clock: Clock) -> None:
        super().__init__(logging.WARNING)
        self._say = say
        self._clock = clock
        self._minutes: dict[str, _Minute] = {}

    def emit(self, record: logging.LogRecord) -> None:
        """Say a record, or count it. Called by one thread at a time, as every handler."""
        now_s = self._clock.monotonic_s()
        minute = self._minutes.get(record.name)
        if minute is None or now_s - minute.begun_s >= _MINUTE_S:
            if minute is not None and minute.left_out:
                self._say(f"{record.name}: {minute.left_out} more of the like were left out.")
            if len(self._minutes) >= MOST_LOGGERS:
                self._minutes.clear()
            minute = self._minutes[record.name] = _Minute(now_s)
        if minute.said >= LINES_A_MINUTE:
            minute.left_out += 1
            return
        minute.said += 1
        self._say(one_line(record))


def one_line(record: logging.LogRecord) -> str:
    """Return a record in one line: who says what, and where an exception came from."""
    try:
        said = record.getMessage()
    except (TypeError, ValueError):
        said = str(record.msg)
    line = f"{record.name}: {said}"
    error = None if record.exc_info is None else record.exc_info[1]
    if error is not None:
        frames = traceback.extract_tb(error.__traceback__)[-_FRAMES:]
        places = " < ".join(f"{f.filename}:{f.lineno} {f.name}" for f in reversed(frames))
        line = f"{line} ({type(error).__name__}: {error}; at {places})"
    line = " ".join(line.split())
    return line if len(line) <= LONGEST_LINE else line[: LONGEST_LINE - 1] + "…"


def bound_library_logs(say: Callable[[str], None], clock: Clock) -> None:
    """Have every library's warnings said in this way, from now on."""
    root = logging.getLogger()
    for before in [h for h in root.handlers if isinstance(h, BoundedLog)]:
        root.removeHandler(before)
    root.addHandler(BoundedLog(say, clock))
