"""What a decoder gives back: drafts of readings, or one error.

A decoder knows the form of a payload and nothing of what is plausible; the
receiver judges that. Never touches the network, the clock or a file.
"""

from collections.abc import Callable, Sequence
from enum import StrEnum
from typing import Final, NamedTuple

from rimewatch.vocabulary import ProbeId, Scale

SHOWN_CHARS: Final = 80
"""How much of a strange value is repeated in a message."""


class TimeOrigin(StrEnum):
    """Where a draft's time comes from."""

    OWN = "own"
    """The payload names an instant."""
    RELATIVE = "relative"
    """The payload says how long before or after "now"; true only if it was not queued."""
    ABSENT = "absent"
    """The payload has no time."""
    UNREADABLE = "unreadable"
    """The payload has a time that names no instant: no zone, out of range, not a time."""


class Draft(NamedTuple):
    """One value as a probe sent it, not yet judged.

    ``value`` is in ``scale`` where the message named one, else in the probe's own (SenML: already
    °C, since the payload names its unit), percent for humidity, 1.0 or 0.0 for contacts; it may
    be infinite or not a number. ``observed_ms`` is None unless ``origin`` is OWN or RELATIVE.
    """

    value: float
    observed_ms: int | None = None
    battery: float | None = None
    origin: TimeOrigin = TimeOrigin.ABSENT
    scale: Scale | None = None


class Undecodable(Exception):  # noqa: N818 - a word of the trade reads better than "Error"
    """A payload, or what the probe looks for in it, could not be read.

    The only error a decoder raises.

    Attributes:
        whole: True if the payload as such is broken, whichever probe looks at it;
            False if only this probe's value is missing or of the wrong kind.
    """

    def __init__(self, what: str, *, whole: bool = False) -> None:
        super().__init__(what)
        self.whole = whole


class Absent(Undecodable):
    """A payload has nothing of what the probe looks for; it may be meant for another one."""


class UnusableProbe(ValueError):  # noqa: N818 - see above
    """A probe's configuration cannot be turned into a decoder. Fix the configuration.

    Attributes:
        probe: The probe's id.
    """

    def __init__(self, probe: ProbeId, what: str) -> None:
        super().__init__(f'probe "{probe}": {what}')
        self.probe = probe


Decoder = Callable[[bytes, int], Sequence[Draft]]
"""``decode(payload, arrived_ms)``: the drafts in a payload; none only where the payload is
another probe's, by the mark that tells them apart.

Raises :class:`Undecodable` and nothing else, whatever the bytes.
"""


def shown(value: object) -> str:
    """Return a strange value as short, plain ASCII text for a message."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 10**SHOWN_CHARS:
        return "a number of more than 80 digits"
    if isinstance(value, dict | list):
        return f"a {'list' if isinstance(value, list) else 'group'} of {len(value)}"
    if not isinstance(value, str | bytes | int | float | None):
        return f"a {type(value).__name__}"
    text = ascii(value)
    return text if len(text) <= SHOWN_CHARS else f"{text[:SHOWN_CHARS]}..."
