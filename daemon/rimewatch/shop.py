"""A shop as the service knows it: units, probes, contacts, the night.

These are plain, already-true values. ``rimewatch.config`` reads the TOML file,
refuses what is wrong, fills the defaults in, and makes these.
Pure: no I/O, no clock. Temperatures °C, durations seconds, unless the name says otherwise.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import time
from functools import cached_property

from rimewatch.vocabulary import (
    ContactId,
    Kind,
    Measures,
    Priority,
    ProbeId,
    Rule,
    Scale,
    UnitId,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DefrostWindow:
    """A scheduled defrost: its local start and its length."""

    start: time
    length_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A display case, walk-in cooler, freezer or ultra-low freezer."""

    id: UnitId
    name: str
    kind: Kind
    limit_c: float
    operating_limit_c: float | None
    deadband_c: float
    on_delay_s: float
    lag_s: float
    defrost: tuple[DefrostWindow, ...] = ()
    door_open_s: float = 300.0
    """How long a door may stand open before the ``door`` alarm (common practice, no source)."""
    laxer_because: str = ""
    """Written reason for a limit above the published one; empty: there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """One sensor and how its messages are read."""

    id: ProbeId
    unit: UnitId
    measures: Measures
    topic: str
    format: str
    fields: Mapping[str, str]
    scale: Scale
    every_s: float | None
    """Expected interval; None for a contact that speaks only when it changes."""
    stale_s: float | None
    """Silence longer than this is missing time; None: the probe is never stale."""
    uncertainty_c: float
    offset_c: float
    slope: float
    plausible_c: tuple[float, float]
    battery_low: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """Somebody who can be told."""

    id: ContactId
    name: str
    urls: tuple[str, ...] = field(repr=False)
    """Apprise URLs, environment references resolved. Secret: never shown or logged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """The hours in which only some priorities may sound. Local times; may span midnight."""

    begins: time
    ends: time
    wake_for: frozenset[Priority]


@dataclass(frozen=True, slots=True, kw_only=True)
class EscalationStep:
    """Whom to tell how long after an alarm was raised, and how often again."""

    after_s: float
    contacts: tuple[ContactId, ...]
    repeat_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Broker:
    """Where the probes publish. The password is never shown or logged."""

    url: str
    client_id: str
    username: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None


@dataclass(frozen=True, kw_only=True)
class Shop:
    """Everything the service knows about a shop. Built once, never changed."""

    name: str
    timezone: str
    display: Scale
    summary_at: time
    broker: Broker
    units: tuple[Unit, ...]
    probes: tuple[Probe, ...]
    contacts: tuple[Contact, ...] = ()
    night: Night | None = None
    escalation: tuple[EscalationStep, ...] = ()
    priorities: Mapping[Rule, Priority] = field(default_factory=dict)
    """The shop's own priorities, where they differ from the usual ones."""

    @cached_property
    def unit(self) -> Mapping[UnitId, Unit]:
        """Units by id."""
        return {unit.id: unit for unit in self.units}

    @cached_property
    def probe(self) -> Mapping[ProbeId, Probe]:
        """Probes by id."""
        return {probe.id: probe for probe in self.probes}

    @cached_property
    def contact(self) -> Mapping[ContactId, Contact]:
        """Contacts by id."""
        return {contact.id: contact for contact in self.contacts}

    def probes_of(self, unit: UnitId, *measures: Measures) -> tuple[Probe, ...]:
        """Return a unit's probes of the given kinds, in the order of the configuration."""
        return tuple(p for p in self.probes if p.unit == unit and p.measures in measures)

    def governing_probes(self, unit: UnitId) -> tuple[Probe, ...]:
        """Return the probes that speak for a unit's fish: product probes, or else air probes.

        The first is the one whose statistics the ledger shows. Every one of them is
        judged against the limits: the warmest corner counts.
        """
        return self.probes_of(unit, Measures.PRODUCT) or self.probes_of(unit, Measures.AIR)
