"""A real database for tests: VictoriaMetrics, which takes InfluxDB 2 writes, on its own port."""

import shutil
import signal
import socket
import subprocess
import time
import urllib.request
from pathlib import Path

START_LIMIT_S = 60.0


class Victoria:
    """One database with its files in a folder; ``port`` stays the same over restarts."""

    def __init__(self, folder: Path, *, merges: bool = True) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.folder = folder
        self._merging = ["-dedup.minScrapeInterval=1ms"] if merges else []
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        """The address, as a configuration names it."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it and wait until it answers."""
        assert self._process is None, "already running"
        program = shutil.which("victoria-metrics")
        assert program, "the tests need victoria-metrics: install your system's package"
        log = (self.folder / "log").open("ab")
        self._process = subprocess.Popen(
            [
                program,
                f"-httpListenAddr=127.0.0.1:{self.port}",
                f"-storageDataPath={self.folder / 'data'}",
                *self._merging,
                "-retentionPeriod=100y",
                "-http.maxGracefulShutdownDuration=1s",
                "-memory.allowedBytes=256MiB",
            ],
            stdout=log,
            stderr=log,
        )
        log.close()
        end_s = time.monotonic() + START_LIMIT_S
        while True:
            assert self._process.poll() is None, f"it ended: {(self.folder / 'log').read_text()}"
            try:
                self.get("/health")
            except OSError:
                assert time.monotonic() < end_s, "victoria-metrics does not answer"
            else:
                return

    def get(self, path: str) -> bytes:
        """Return what it answers to a GET."""
        with urllib.request.urlopen(self.url + path, timeout=20) as answer:
            body: bytes = answer.read()
        return body

    def show_everything(self) -> None:
        """Make all that it has taken visible to queries."""
        self.get("/internal/force_flush")

    def stop(self) -> None:
        """End it in good order: what it has acknowledged is on its disk."""
        self._end(signal.SIGTERM)

    def kill(self) -> None:
        """End it as a power cut would: the last seconds it acknowledged may be lost."""
        self._end(signal.SIGKILL)

    def _end(self, how: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(timeout=START_LIMIT_S)
            self._process = None
