"""How far the mirror has come: what a restart goes on from, and what a person is shown.

Pure: values and their JSON. Holds no secret: whoever fills it in has taken them out.
"""

import json
from dataclasses import asdict, dataclass
from typing import Final

MIRROR_STATE: Final = "mirror"
"""The state's name in the journal. Only the writer saves it."""

ASKED_STATE: Final = "mirror-asked"
"""What a command asked the mirror for; see :class:`Asked`."""

REFUSED_KEPT: Final = 100
"""Refused points kept with the server's words; the count goes on (our choice)."""

TEXT_KEPT: Final = 300
"""Characters kept of a point, and of what the server said of it (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """Points that the database will not have, however often they are sent."""

    at_ms: int
    points: int
    line: str
    """The point, or the first of several, in line protocol."""
    said: str
    """Status and the server's own words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MirrorState:
    """What the mirror has done so far."""

    cursor: int = 0
    """The last place in the journal's line of changed hours that is on the other side."""
    sent: int = 0
    """Points sent, repetitions included."""
    passed_over: int = 0
    """Hours of probes that the configuration does not have (any more): not sent."""
    refused_total: int = 0
    refused: tuple[Refused, ...] = ()
    """The latest, oldest first."""
    sent_ms: int | None = None
    """When the database last took something."""
    books_ms: int | None = None
    """Up to when excursions, alarms and lots are on the other side."""
    asked: int = 0
    """Number of the last request that was carried out."""
    error: str = ""
    """Why nothing goes through at present; empty: it does."""
    error_since_ms: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A command's request: send excursions, alarms and lots from an instant on once more."""

    number: int
    from_ms: int


def to_text(state: MirrorState | Asked) -> str:
    """Return a state as JSON."""
    return json.dumps(asdict(state), ensure_ascii=False)


def from_text(text: str | None) -> MirrorState:
    """Return the state that :func:`to_text` wrote; None: the very first."""
    if text is None:
        return MirrorState()
    values = json.loads(text)
    values["refused"] = tuple(Refused(**one) for one in values["refused"])
    return MirrorState(**values)


def asked_from_text(text: str | None) -> Asked | None:
    """Return the latest request, if there ever was one."""
    return None if text is None else Asked(**json.loads(text))
