"""What the running service says: readable on a terminal, a line an event for programs."""

import fcntl
import os
import struct
import termios
from collections.abc import Callable

import pytest

from rimewatch.commands.terminal import fitted, tell

EVENT = (
    "The journal /var/lib/rimewatch/rimewatch.db cannot be written: the disk is full. The broker "
    "keeps what arrives meanwhile; a stand-in watches in memory, and its messages say so."
)
LINK = "https://rime.example.com/set-up/0123456789abcdefghijklmnopqrstuvwxyz-0123456789"


def said_to(
    reading: int, writing: int, monkeypatch: pytest.MonkeyPatch, say: Callable[[], None]
) -> list[str]:
    """Return the lines that come out at the other end of what standard error is."""
    with os.fdopen(writing, "w") as stream:
        monkeypatch.setattr("sys.stderr", stream)
        say()
        monkeypatch.undo()
        text = os.read(reading, 65_536).decode()
    os.close(reading)
    return text.splitlines()


def test_terminal_has_whole_words_in_lines_of_its_width(monkeypatch: pytest.MonkeyPatch) -> None:
    """Further lines of an event hang below its first."""
    reading, writing = os.openpty()
    fcntl.ioctl(writing, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 60, 0, 0))

    lines = said_to(reading, writing, monkeypatch, lambda: tell(EVENT))

    assert len(lines) == 4
    assert all(len(line) <= 60 for line in lines)
    assert [line.startswith("  ") for line in lines] == [False, True, True, True]
    assert " ".join(line.strip() for line in lines) == EVENT


def test_pipe_has_one_line_an_event(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever width the environment speaks of."""
    monkeypatch.setenv("COLUMNS", "60")
    reading, writing = os.pipe()

    assert said_to(reading, writing, monkeypatch, lambda: tell(EVENT)) == [EVENT]


def test_terminal_that_does_not_know_its_width_has_one_line_an_event(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A console on a serial line says 0 columns."""
    reading, writing = os.openpty()
    fcntl.ioctl(writing, termios.TIOCSWINSZ, struct.pack("HHHH", 0, 0, 0, 0))

    assert said_to(reading, writing, monkeypatch, lambda: tell(EVENT)) == [EVENT]


def test_link_is_never_cut() -> None:
    """It is copied from there."""
    assert LINK in fitted(f"The first person signs in by {LINK} within a day.", 40).splitlines()[1]


def test_lines_of_an_event_stay_lines() -> None:
    """A wrong configuration has a line for each thing that is wrong."""
    assert fitted("first problem\nsecond problem", 40) == "first problem\nsecond problem"
