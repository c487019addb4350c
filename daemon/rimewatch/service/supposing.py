"""Plays other settings over the shop's own past, in a process of its own at the lowest priority.

By the command that does the same (``what-if``), so that page and command say the same. The watch
waits for none of it; one is worked out at a time.
"""

import json
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from rimewatch.clock import Clock
from rimewatch.config.changing import Tables
from rimewatch.config.editing import NotEditable, edited
from rimewatch.config.held import look
from rimewatch.web.what_if_page import Supposed, Supposition

WITHIN_S: Final = 900.0
"""Longer is not waited for (our choice)."""
LEAST_PRIORITY: Final = 19
_OWNER_ALONE: Final = 0o600


class Supposing:
    """Works out what other settings would have made of the past.

    Args:
        config: The configuration's file.
        journal: The journal's file.
        environ: What the process is to see of the environment.
        clock: Measures how long it takes.
    """

    def __init__(
        self, config: Path, journal: Path, environ: Mapping[str, str], clock: Clock
    ) -> None:
        self._config = config
        self._journal = journal
        self._environ = environ
        self._clock = clock
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._process: subprocess.Popen[str] | None = None
        self._began_s = 0.0
        self._latest = Supposed()

    def begin(self, supposition: Supposition, tables: Tables) -> bool:
        """Begin to work one out; False: another is being worked out."""
        with self._lock:
            if self._thread is not None and self._thread.is_alive():
                return False
            self._began_s = self._clock.monotonic_s()
            self._latest = Supposed(supposition=supposition, is_at_work=True)
            self._thread = threading.Thread(
                target=self._work, args=(supposition, tables), name="rimewatch-what-if", daemon=True
            )
            self._thread.start()
            return True

    def latest(self) -> Supposed:
        """Return the one that is being worked out, or was last."""
        found = self._latest
        if not found.is_at_work:
            return found
        return Supposed(
            supposition=found.supposition,
            is_at_work=True,
            for_s=self._clock.monotonic_s() - self._began_s,
        )

    def wait(self, timeout_s: float) -> None:
        """Wait until the one that is being worked out is done, or time is up."""
        if self._thread is not None:
            self._thread.join(timeout_s)

    def stop(self) -> None:
        """End it."""
        process = self._process
        if process is not None and process.poll() is None:
            process.kill()

    def _work(self, supposition: Supposition, tables: Tables) -> None:
        document: Mapping[str, Any] = {}
        trouble = ""
        try:
            with tempfile.TemporaryDirectory(prefix="rimewatch-what-if-") as folder:
                changed = Path(folder) / self._config.name
                handle = os.open(changed, os.O_WRONLY | os.O_CREAT, _OWNER_ALONE)
                with os.fdopen(handle, "w", encoding="utf-8") as file:
                    file.write(edited(look(self._config).text, tables))
                document, trouble = self._asked(changed, supposition)
        except (OSError, NotEditable, ValueError) as error:
            trouble = f"It could not be worked out: {error}."
        self._latest = Supposed(supposition=supposition, document=document, trouble=trouble)

    def _asked(self, changed: Path, supposition: Supposition) -> tuple[Mapping[str, Any], str]:
        command = [
            sys.executable, "-m", "rimewatch", "what-if", "--json",
            "--config", str(self._config.resolve()), "--changed", str(changed),
            "--journal", str(self._journal),
            "--from", supposition.first.isoformat(), "--to", supposition.last.isoformat(),
        ]  # fmt: skip
        self._process = subprocess.Popen(  # noqa: S603 (our own program, our own files)
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            errors="replace",
            env=dict(self._environ),
            preexec_fn=_politely,  # noqa: PLW1509 (one call that takes no lock)
        )
        try:
            said, wrong = self._process.communicate(timeout=WITHIN_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.communicate()
            return {}, f"It was not done within {WITHIN_S / 60:.0f} min; try fewer days."
        if self._process.returncode:
            last = wrong.strip().splitlines()[-1:] or ["it ended without a word"]
            return {}, f"It could not be worked out: {last[0]}"
        return json.loads(said), ""


def _politely() -> None:
    os.nice(LEAST_PRIORITY)
