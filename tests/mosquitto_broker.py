"""A real broker for tests: mosquitto, on a port of its own, with its sessions on disk."""

import getpass
import os
import shutil
import signal
import socket
import subprocess
import threading
import time
from pathlib import Path

START_LIMIT_S = 60.0
LOOK_EVERY_S = 0.01
"""Between two looks: a loop without a pause takes the time from the broker it waits for."""


class Mosquitto:
    """A real broker with its sessions on disk, for one test.

    ``port`` stays the same over restarts. ``stop`` lets it save its sessions,
    ``kill`` (SIGKILL) does not: then only what it had saved before is left. It confirms
    a message to its publisher *before* it saves it, so a test that kills it waits with
    ``until_saved`` first.
    """

    def __init__(self, folder: Path, extra_config: str = "") -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        self._config = folder / "mosquitto.conf"
        self._config.write_text(
            f"user {getpass.getuser()}\n"
            f"persistence true\npersistence_location {folder}/\n"
            # Every second. Saving "on changes" counts no message on its way to a client
            # that is connected: such messages never reached the disk (seen on 2.0.11).
            "autosave_interval 1\n"
            f"log_dest file {folder}/mosquitto.log\n"
            + ("" if "allow_anonymous" in extra_config else "allow_anonymous true\n")
            + extra_config.replace("PORT", str(self.port))
            + ("" if "listener" in extra_config else f"\nlistener {self.port} 127.0.0.1\n")
        )
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        """The address, as a configuration names it."""
        return f"mqtt://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it and wait until it answers; fail if it cannot have its port."""
        assert self._process is None, "already running"
        path = f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin"
        program = shutil.which("mosquitto", path=path)
        assert program, "the tests need mosquitto: install your system's package of that name"
        self._process = subprocess.Popen([program, "-c", str(self._config)])
        end_s, pause = time.monotonic() + START_LIMIT_S, threading.Event()
        while True:
            said = self.log()
            assert self._process.poll() is None, f"mosquitto ended at once; its log: {said}"
            try:
                socket.create_connection(("127.0.0.1", self.port), timeout=0.2).close()
            except OSError:
                assert time.monotonic() < end_s, f"mosquitto does not answer; its log: {said}"
                pause.wait(LOOK_EVERY_S)
            else:
                return

    def log(self) -> str:
        """Return what it has said; more of it with ``log_type all``."""
        log = self.folder / "mosquitto.log"
        return log.read_text() if log.exists() else "nothing"

    def stop(self) -> None:
        """End it in good order."""
        self._end(signal.SIGTERM)

    def until_saved(self, payloads: list[bytes]) -> None:
        """Wait until these messages, held for somebody, are in its file on disk."""
        file = self.folder / "mosquitto.db"
        end_s, pause = time.monotonic() + START_LIMIT_S, threading.Event()
        missing = payloads
        while missing:
            assert time.monotonic() < end_s, f"{len(missing)} messages are still not on disk"
            saved = file.read_bytes() if file.exists() else b""
            missing = [payload for payload in missing if payload not in saved]
            if missing:
                pause.wait(LOOK_EVERY_S)

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(signal.SIGKILL)

    def restart(self) -> None:
        """Stop and start again on the same port."""
        self.stop()
        self.start()

    def _end(self, how: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(timeout=START_LIMIT_S)
            self._process = None
