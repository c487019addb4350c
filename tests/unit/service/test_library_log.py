"""What libraries write to the log: one line each, few a minute, and the rest counted."""

import logging
import resource

import pytest

from rimewatch.clock import SteppedClock
from rimewatch.service.handles import raise_handle_limit
from rimewatch.service.library_log import (
    LINES_A_MINUTE,
    LONGEST_LINE,
    BoundedLog,
    bound_library_logs,
)

NOW_MS = 1_772_452_800_000


class HandClock(SteppedClock):
    """A clock whose seconds a test sets."""

    seconds = 0.0

    def monotonic_s(self) -> float:
        """Return what was set."""
        return self.seconds


def record(name: str, said: str, error: Exception | None = None) -> logging.LogRecord:
    """Return a warning."""
    info = None if error is None else (type(error), error, error.__traceback__)
    return logging.LogRecord(name, logging.WARNING, __file__, 1, said, (), info)


def test_logger_that_repeats_itself_is_cut_off_and_counted() -> None:
    """A thousand lines within a minute are ten; the next minute says how many were not said."""
    said: list[str] = []
    clock = HandClock(NOW_MS)
    log = BoundedLog(said.append, clock)
    for _ in range(1000):
        log.emit(record("loud", "again"))
    assert said == ["loud: again"] * LINES_A_MINUTE

    log.emit(record("other", "something else"))
    clock.seconds = 60.0
    log.emit(record("loud", "again"))
    assert said[LINES_A_MINUTE:] == [
        "other: something else",
        "loud: 990 more of the like were left out.",
        "loud: again",
    ]


def test_traceback_is_told_in_the_same_line() -> None:
    """What went wrong and where, however long or broken it is."""
    said: list[str] = []
    log = BoundedLog(said.append, SteppedClock(NOW_MS))
    try:
        int("no\nnumber " + "x" * 5000)
    except ValueError as error:
        log.emit(record("server", "it failed", error))
        log.emit(record("server", "it failed", OSError("short")))

    assert all("\n" not in line and len(line) <= LONGEST_LINE for line in said)
    assert said[0].startswith("server: it failed (ValueError: invalid literal")
    assert said[1] == "server: it failed (OSError: short; at )"


def test_libraries_are_bounded_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """However often the service is started within one process."""
    root = logging.getLogger()
    monkeypatch.setattr(root, "handlers", [])
    said: list[str] = []
    for _ in range(3):
        bound_library_logs(said.append, SteppedClock(NOW_MS))
    logging.getLogger("some.library").warning("%d times", 3)

    assert said == ["some.library: 3 times"]


def test_limit_of_handles_is_raised_as_far_as_may_be() -> None:
    """And never lowered."""
    before = resource.getrlimit(resource.RLIMIT_NOFILE)
    hard = before[1]
    try:
        resource.setrlimit(resource.RLIMIT_NOFILE, (256, hard))
        assert raise_handle_limit() == min(4096, hard)
        assert resource.getrlimit(resource.RLIMIT_NOFILE) == (min(4096, hard), hard)
        resource.setrlimit(resource.RLIMIT_NOFILE, (min(5000, hard), hard))
        assert raise_handle_limit() == min(5000, hard)
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, before)
