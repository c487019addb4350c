"""What is known of a probe's clock, whether one device alone sends for it, and how it sends.

The offset is reported, never used: no reading is corrected by it. What its times were seen to
do decides whether they are believed, and lasts over a restart. Pure, and plain enough to be
written down.
"""

import json
from collections.abc import Collection
from dataclasses import asdict, dataclass
from typing import Any, Final, NamedTuple

from rimewatch.evaluation.figures import figure
from rimewatch.vocabulary import MS_PER_S

ENOUGH: Final = 8
"""Messages before anything is said of a clock."""


def offset_s_of(late_ms: Collection[int]) -> float | None:
    """Return how far a clock lies behind the arrivals, s; None before the eighth message.

    Args:
        late_ms: By how much its last messages came after their own time.
    """
    if len(late_ms) < ENOUGH:
        return None
    return sorted(late_ms)[len(late_ms) // 10] / MS_PER_S


class Dating(NamedTuple):
    """What the times in a probe's messages were seen to do."""

    lags_ms: tuple[int, ...] = ()
    """How late its last messages came whose times were believed."""
    gaps_ms: tuple[int, ...] = ()
    """How far those times lay apart."""
    arrived_ms: int | None = None
    """When the message before arrived, and what time it bore."""
    own_ms: int | None = None
    believed_ms: int | None = None
    """The latest time that was believed."""
    lag_ms: int = 0
    """Of the first of those in a row whose times cannot be."""
    doubted: int = 0
    """How many in a row cannot be."""
    by_arrival: bool = False
    """Whether its messages are dated by their arrival."""


NOTHING_SEEN: Final = Dating()


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockNote:
    """What a probe's last messages say of its clock."""

    late_ms: tuple[int, ...] = ()
    times_not_used: int = 0
    two_sources_ms: int | None = None
    """When its readings were last found to come from two devices."""
    qos_0_ms: int | None = None
    """When a reading first came at QoS 0, which a broker keeps for nobody (MQTT 5.0, 4.3.1)."""
    dating: Dating = NOTHING_SEEN

    def to_text(self) -> str:
        """Return it as JSON."""
        return json.dumps(asdict(self), separators=(",", ":"))

    @classmethod
    def from_text(cls, text: str) -> "ClockNote":
        """Return what :meth:`to_text` wrote."""
        found = json.loads(text)
        dating: Any = [
            tuple(one) if isinstance(one, list) else one for one in found.get("dating", ())
        ]
        return cls(**found | {"late_ms": tuple(found["late_ms"]), "dating": Dating(*dating)})

    @property
    def offset_s(self) -> float | None:
        """How far the clock lies behind the arrivals, s; None: too little is known."""
        return figure(offset_s_of(self.late_ms), 3)
