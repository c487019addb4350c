"""Listens to the broker as a guest, while somebody looks for a probe on a page.

In a thread of its own, for a while, with a connection of its own: the watch does not notice it.
"""

import hashlib
import threading
from collections.abc import Callable
from typing import Final

from rimewatch.clock import Clock
from rimewatch.intake.broker_settings import BrokerSettingsError
from rimewatch.intake.eavesdrop import eavesdrop
from rimewatch.intake.guest import NotHeard
from rimewatch.intake.heard_besides import besides
from rimewatch.intake.placing import Placeable, placeable, unplaced
from rimewatch.intake.survey import Guess, Survey
from rimewatch.report import wording
from rimewatch.shop import Shop
from rimewatch.web.heard import Found, Heard

LISTENS_S: Final = 90.0
"""A probe that sends each minute is heard within it (our choice)."""
MOST_STRANGE: Final = 20
LOOK_EACH_S: Final = 0.5


class Hearing:
    """Listens for probes that watch nothing.

    Args:
        shop: Gives the shop as it is now.
        clock: Measures for how long it is listened.
    """

    def __init__(self, shop: Callable[[], Shop], clock: Clock) -> None:
        self._shop = shop
        self._clock = clock
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._guesses: tuple[Guess, ...] = ()
        self._ends_s = 0.0
        self._trouble = ""
        self._was_listened = False
        self._stop = threading.Event()

    def begin(self) -> None:
        """Begin to listen, if nobody does."""
        with self._lock:
            if self._thread is not None and self._thread.is_alive():
                return
            self._trouble, self._guesses = "", ()
            self._was_listened = True
            self._ends_s = self._clock.monotonic_s() + LISTENS_S
            self._thread = threading.Thread(
                target=self._listen, name="rimewatch-hearing", daemon=True
            )
            self._thread.start()

    def stop(self) -> None:
        """End it."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(5.0)

    def heard(self) -> Heard:
        """Return what was heard so far."""
        shop, guesses = self._shop(), self._guesses
        found = placeable(guesses, shop.timezone)
        new = unplaced(found, shop.probes)
        strange = besides(guesses, (each.guess for each in found))
        is_on = self._thread is not None and self._thread.is_alive()
        return Heard(
            is_listening=is_on,
            left_s=max(0.0, self._ends_s - self._clock.monotonic_s()) if is_on else 0.0,
            was_listened=self._was_listened,
            found=tuple(found_of(each) for each in new),
            known=len(found) - len(new),
            strange=tuple(wording.printable(guess.topic) for guess in strange[:MOST_STRANGE]),
            trouble=self._trouble,
        )

    def _listen(self) -> None:
        survey = Survey()
        looked_s = self._clock.monotonic_s()
        try:
            for heard in eavesdrop(self._shop().broker, self._clock, LISTENS_S):
                if self._stop.is_set():
                    return
                if heard is not None and not heard.topic.startswith("rimewatch/"):
                    survey.add(
                        heard.topic, heard.payload, heard.arrived_ms, retained=heard.retained
                    )
                if self._clock.monotonic_s() - looked_s >= LOOK_EACH_S:
                    looked_s = self._clock.monotonic_s()
                    self._guesses = tuple(survey.guesses())
            self._guesses = tuple(survey.guesses())
        except (NotHeard, BrokerSettingsError) as error:
            self._trouble = f"{error}."


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def found_of(each: Placeable) -> Found:
    """Return what was heard as a page shows it."""
    guess = each.guess
    key = f"{guess.topic}\n{guess.value}\n{guess.match}"
    sends = f", sends {guess.span}" if guess.span else ""
    return Found(
        key=hashlib.sha256(key.encode()).hexdigest()[:16],
        topic=wording.printable(guess.topic),
        what=wording.printable(_upper(f"{guess.likeness}{sends}")),
        name=wording.printable(each.name),
        kind=each.kind,
        table=each.table,
        asks=tuple(wording.printable(_upper(ask)) for ask in each.asks),
    )
