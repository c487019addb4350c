"""What ``rimewatch listen`` shows while it listens, on a terminal of 80 columns."""

import fcntl
import os
import re
import struct
import sys
import termios
import threading
from collections.abc import Iterator
from typing import TextIO

import pytest
from click.testing import CliRunner
from paho.mqtt import publish

from mosquitto_broker import Mosquitto
from rimewatch.cli import rimewatch
from rimewatch.clock import SystemClock
from rimewatch.commands import listening
from rimewatch.shop import Broker

COLUMNS, LINES = 80, 24
LONG = "shop/front-display-case/upper-shelf/temperature"
ERASED_LINE = "\x1b[2K"
SEQUENCES = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[int, TextIO]]:
    """Give both sides of a real terminal: what somebody sees, and what is written to."""
    seen, shown = os.openpty()
    fcntl.ioctl(shown, termios.TIOCSWINSZ, struct.pack("HHHH", LINES, COLUMNS, 0, 0))
    monkeypatch.setenv("COLUMNS", str(COLUMNS))
    monkeypatch.setenv("LINES", str(LINES))
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    with os.fdopen(shown, "w") as written:
        yield seen, written
    os.close(seen)


@pytest.mark.integration
def test_table_that_grows_fits_the_terminal_and_is_gone_at_the_end(
    mosquitto: Mosquitto, terminal: tuple[int, TextIO], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every line within its columns, no topic cut short, nothing left behind on the screen."""
    monkeypatch.setattr(listening, "REDRAW_S", 0.1)
    seen, written = terminal
    pieces: list[bytes] = []

    def read() -> None:
        try:
            while piece := os.read(seen, 4096):
                pieces.append(piece)
        except OSError:
            return  # the other side is closed: all is read

    reader = threading.Thread(target=read)
    reader.start()
    for topic in (LONG, "shop/ulf-1/product"):
        publish.single(topic, b"2.25", retain=True, port=mosquitto.port)
    broker = Broker(url=mosquitto.url, client_id="rimewatch")
    with monkeypatch.context() as on_terminal:
        on_terminal.setattr(sys, "stderr", written)
        survey = listening.listen(broker, SystemClock(), 0.6)
    written.close()
    reader.join(20)
    text = b"".join(pieces).decode()

    assert len(survey.guesses()) == 2
    lines = [SEQUENCES.sub("", line) for line in re.split(r"[\r\n]+", text)]
    assert max(map(len, lines)) <= COLUMNS
    frames = "\n".join(lines).split("Topic")
    assert len(frames) > 2, "it was drawn once only"
    first_columns = "".join(re.split(" {2,}", line[1:])[0] for line in frames[-1].splitlines()[2:])
    assert LONG in first_columns
    assert "…" not in text
    drawn = frames[-1].count("\n")
    assert text.rstrip("\x1b[?25h\r").count(ERASED_LINE) >= drawn, "it was not erased"


@pytest.mark.integration
def test_broker_with_nothing_but_a_resistance_still_gives_the_table_to_add(
    mosquitto: Mosquitto,
) -> None:
    """Nothing looks like a cold unit, and yet the probe is there: what to write is said."""
    publish.single("shop/freezer-1/core", b"92.16", retain=True, port=mosquitto.port)

    done = CliRunner().invoke(rimewatch, ["listen", "--broker", mosquitto.url, "--seconds", "0.5"])

    assert done.exit_code == 1
    assert "nothing that looks like a cold unit" in str(done.exception)
    assert '# "shop/freezer-1/core" sends "92.16"' in done.output
    assert '#scale = "ohm"' in done.output
