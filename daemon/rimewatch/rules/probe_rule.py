"""The shape of a rule over one probe, and what it is given and gives back.

A rule is a pure fold: ``step(state, sample) -> state``, with plain, serialisable
state. What it finds wrong is read off the state and the time; when that may change
by itself, without a further sample, it says beforehand. A new rule is one module
with such a class, one row in ``rules.probe_rules``, and its tests.

Samples come in order of their own time. A late one is not given to these rules:
they judge how a probe is *now*; what a late reading changes in the past is the
channel fold's business (``rules.channel``).
"""

from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

from rimewatch.shop import Probe, Unit
from rimewatch.vocabulary import Priority, ProbeId, Rule, Unread

UnreadProbe = tuple[ProbeId, Unread]
"""A probe that a message on its topic gave no reading of, and why."""


class Sample(NamedTuple):
    """A probe's reading as rules see it."""

    at_ms: int
    value: float
    battery: float | None = None
    arrived_ms: int | None = None
    """When it arrived; None: not known, as after a restart."""
    beside_c: float | None = None
    """What another temperature probe of the unit last said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What a rule finds wrong."""

    since_ms: int
    """Event time at which it began."""
    detail: str
    """A half sentence with the figures: "silent for 3 min"."""
    priority: Priority | None = None
    """By consequence; None: the rule's usual one."""
    unread: UnreadProbe | None = None
    """Of a silent probe on whose topic messages arrive all the same: which, and why they give
    no reading."""


class ProbeRule(Protocol):
    """A rule over one probe."""

    rule: Rule

    def applies(self, unit: Unit, probe: Probe) -> bool:
        """Whether the rule watches this probe."""
        ...

    def start(self, unit: Unit, probe: Probe, at_ms: int) -> Any:  # noqa: ANN401 (each rule's own state)
        """Return the state before the first sample, when watching begins at an instant."""
        ...

    def step(self, state: Any, sample: Sample) -> Any:  # noqa: ANN401 (likewise)
        """Return the state after a sample."""
        ...

    def finding(self, state: Any, now_ms: int) -> Finding | None:  # noqa: ANN401 (likewise)
        """Return what is wrong at an instant, if anything."""
        ...

    def due_ms(self, state: Any) -> int | None:  # noqa: ANN401 (likewise)
        """Return when the finding may change without a further sample; None: it will not."""
        ...
