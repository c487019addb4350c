"""The demo as somebody sees it who types one command."""

import os
import pty
import re
import signal
import subprocess
import threading
from pathlib import Path

import pytest

from rimewatch.journal.reader import JournalReader
from service_process import PATIENCE_S, command, run_command

pytestmark = pytest.mark.integration

SHORT_NIGHT = """
name = "short-night"
about = "Three hours around the morning in which the side case's door is left open."
shop = "saltmarsh-row"
start = "2026-03-02T05:00"
lasts = "2h"
seed = 5
"""


@pytest.fixture
def scenario(tmp_path: Path) -> Path:
    """Give a scenario of two hours with a morning in it."""
    path = tmp_path / "short-night.toml"
    path.write_text(SHORT_NIGHT)
    return path


def test_demo_at_top_speed_ends_with_the_morning_summary(tmp_path: Path, scenario: Path) -> None:
    """The summary is printed and kept as a page, and the journal beside it is sound."""
    out = tmp_path / "out"

    done = run_command("demo", "--scenario", scenario, "--speed", "1000000", "--out", out)

    said = done.stdout.decode()
    assert done.returncode == 0, done.stderr.decode()
    assert "Saltmarsh Row Fish: 5 units, 9 probes" in said
    text = (out / "summary-2026-03-02.txt").read_text(encoding="utf-8")
    assert text.strip() in said
    assert (out / "summary-2026-03-02.html").is_file()
    with JournalReader.open(out / "rimewatch.db") as journal:
        assert journal.verify() == []
        assert len(journal.span(journal.known_probes()[0]).times_ms) > 60


def test_demo_into_a_folder_that_has_one_is_refused(tmp_path: Path, scenario: Path) -> None:
    """A second run must not mix its night into the first."""
    (tmp_path / "rimewatch.db").write_bytes(b"")

    done = run_command("demo", "--scenario", scenario, "--out", tmp_path)

    assert done.returncode == 2
    assert b"is there already; choose another folder with --out" in done.stderr


class Terminal:
    """A demo in a terminal of its own, as a person has it."""

    def __init__(self, *arguments: str | Path) -> None:
        self._ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            command("demo", *arguments),
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            start_new_session=True,
            env={**os.environ, "TERM": "xterm", "COLUMNS": "100"},
        )
        os.close(theirs)
        self._more = threading.Condition()
        self._shown = ""
        self._ended = False
        self._listener = threading.Thread(target=self._listen)
        self._listener.start()

    def _listen(self) -> None:
        try:
            while data := os.read(self._ours, 65536):
                with self._more:
                    self._shown += data.decode("utf-8", "replace")
                    self._more.notify_all()
        except OSError:
            pass  # Linux: the other end was closed
        with self._more:
            self._ended = True
            self._more.notify_all()

    def wait_for(self, pattern: str) -> None:
        """Wait until something is shown."""

        def is_so() -> bool:
            return re.search(pattern, self._shown) is not None

        with self._more:
            self._more.wait_for(lambda: is_so() or self._ended, PATIENCE_S)
            assert is_so(), f"waited in vain for {pattern!r}; it showed: {self._shown}"

    def press_ctrl_c(self) -> int:
        """Send what Ctrl-C sends; return the exit code."""
        self.process.send_signal(signal.SIGINT)
        code = self.process.wait(PATIENCE_S)
        self._listener.join(PATIENCE_S)
        os.close(self._ours)
        return code

    @property
    def shown(self) -> str:
        """Everything that was shown so far."""
        with self._more:
            return self._shown


@pytest.mark.parametrize(
    ("speed", "moment"),
    [
        ("1", "Ctrl-C ends it"),
        ("1", r"Mon 05:00"),
        ("1800", r"\b[1-9]\d? %"),
    ],
)
def test_ctrl_c_ends_the_demo_cleanly_at_any_moment(
    tmp_path: Path, scenario: Path, speed: str, moment: str
) -> None:
    """At the start, in the midst of a wait of seconds, and while messages fly."""
    terminal = Terminal("--scenario", scenario, "--speed", speed, "--out", tmp_path / "out")
    terminal.wait_for(moment)

    assert terminal.press_ctrl_c() == 0

    assert "Stopped before the first morning." in terminal.shown
    assert "Traceback" not in terminal.shown
    with JournalReader.open(tmp_path / "out" / "rimewatch.db") as journal:
        assert journal.verify() == []
