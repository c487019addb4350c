"""What the pages ask of whoever listens to the broker for probes that watch nothing yet."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A probe that is heard and watches nothing."""

    key: str
    """Tells it from others, as long as the service runs."""
    topic: str
    what: str
    """What it seems to be, in words, with what it sends."""
    name: str
    """What the unit it hangs in seems to be called."""
    kind: str
    """What kind of unit that seems to be; empty: nobody can tell."""
    table: Mapping[str, Any]
    """The ``[[probe]]`` that reads it, but for its id and its unit."""
    asks: tuple[str, ...] = ()
    """What listening cannot tell, as questions."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What was heard so far."""

    is_listening: bool = False
    left_s: float = 0.0
    """For how long it is listened on."""
    was_listened: bool = False
    found: tuple[Found, ...] = ()
    """Those that watch nothing yet."""
    known: int = 0
    """How many were heard besides that the shop has."""
    strange: tuple[str, ...] = ()
    """Topics of which nobody can tell what they send."""
    trouble: str = ""
    """Why nothing can be heard, a sentence."""


class Listens(Protocol):
    """Listens to the broker for a while. Any thread may ask; neither call waits."""

    def begin(self) -> None:
        """Begin to listen, if nobody does."""
        ...

    def heard(self) -> Heard:
        """Return what was heard so far."""
        ...
