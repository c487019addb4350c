"""Calls an address outside while all is well: its silence is what tells somebody.

In a thread of its own, since a network may take its time. It asks before each call whether
all is well; if not, it calls nobody, and whoever waits for the call raises the alarm. The
address is a secret: nothing of it is told.
"""

import threading
import urllib.error
import urllib.request
from collections.abc import Callable
from typing import Final

WITHIN_S: Final = 10.0
"""How long one call may take, between two pieces of its answer (our choice)."""
_READ_BYTES: Final = 1024


class Heartbeat:
    """Calls an address again and again.

    Args:
        url: Where. Secret.
        every_s: How often, in real seconds.
        is_well: Asked before each call, from the heartbeat's thread; must not raise.
    """

    def __init__(self, url: str, every_s: float, is_well: Callable[[], bool]) -> None:
        self._url = url
        self._every_s = every_s
        self._is_well = is_well
        self._stop = threading.Event()
        self.trouble = ""
        """Why the last call failed, without the address; empty: it did not."""
        self._thread = threading.Thread(target=self._run, name="rimewatch-heartbeat", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """End it. A call under way dies with the process."""
        self._stop.set()

    def _run(self) -> None:
        while not self._stop.is_set():
            if self._is_well():
                self.trouble = self._call()
            self._stop.wait(self._every_s)

    def _call(self) -> str:
        request = urllib.request.Request(  # noqa: S310 (configuration takes http and https alone)
            self._url, headers={"User-Agent": "rimewatch"}
        )
        try:
            with urllib.request.urlopen(request, timeout=WITHIN_S) as answer:  # noqa: S310 (likewise)
                answer.read(_READ_BYTES)
        except urllib.error.HTTPError as error:
            with error:
                return f"it answered {error.code}"
        except urllib.error.URLError as error:
            return f"it was not reached ({type(error.reason).__name__})"
        except Exception as error:  # noqa: BLE001 (whatever a server may send ends no heartbeat)
            return f"it failed ({type(error).__name__})"
        return ""
