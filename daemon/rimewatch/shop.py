"""A shop as the service knows it: units, probes, contacts, the night.

These are plain, already-true values. ``rimewatch.config`` reads the TOML file,
refuses what is wrong, fills the defaults in, and makes these: a number that stands for
a key left out is declared there, and only there.
Pure: no I/O, no clock. Temperatures °C, durations seconds, unless the name says otherwise.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, time
from functools import cached_property
from math import inf
from types import MappingProxyType
from typing import Any, Final

from rimewatch.vocabulary import (
    Code,
    ContactId,
    Kind,
    Measures,
    Paper,
    Priority,
    ProbeId,
    Rule,
    Scale,
    TrueMeans,
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
    door_open_s: float
    """How long a door may stand open before the ``door`` alarm (common practice, no source)."""
    defrost: tuple[DefrostWindow, ...] = ()
    laxer_because: str = ""
    """Written reason for a limit above the published one; empty: there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """How a probe's messages are told from others on its topic."""

    equals: str | float | bool
    field: str = ""
    """Path into the payload; empty: the level of the topic tells."""
    level: int | None = None
    """Which level of the topic, counted from 1."""
    """What stands there in this probe's messages."""


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
    check_every_days: float
    """How often it is to be checked in ice (common practice, no source)."""
    is_uncertainty_stated: bool = True
    """Whether the shop said ``uncertainty_c``; else it is the usual one."""
    battery_low: float | None = None
    humidity_high_percent: float | None = None
    """Relative humidity above which air is too damp; None: nobody asks."""
    match: Mark | None = None
    """None: every message on the topic is its own."""
    time_zone: str = ""
    """Zone of payload times that name none; empty: such a time is not used."""
    true_means: TrueMeans | None = None
    """What a contact's 1 or true stands for; None: open, or wet."""


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
class Shift:
    """Who is on call on some days, from one local wall time to another.

    It belongs to the day on which it begins; ``ends`` at or before ``begins`` is on the
    day after.
    """

    rota: ContactId
    """The name under which an escalation step asks for whoever is on call."""
    days: frozenset[int]
    """Weekdays on which it begins, Monday is 0."""
    on_holidays: bool
    """Whether it begins on holidays."""
    begins: time
    ends: time
    contacts: tuple[ContactId, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Web:
    """Where the service's own pages are found."""

    host: str
    port: int
    url: str = ""
    """The address under which a phone reaches them; empty: messages hold no link."""
    path: str = ""
    """Below which path a proxy serves them, such as ``/rimewatch``; empty: at the root."""

    def reached_at(self, port: int | None = None) -> str:
        """Return the address under which people reach the pages.

        Args:
            port: Where they are served; None: where they were to be.

        >>> Web(host="127.0.0.1", port=8080, path="/rimewatch").reached_at()
        'http://127.0.0.1:8080/rimewatch'
        """
        host = f"[{self.host}]" if ":" in self.host else self.host
        return self.url or f"http://{host}:{self.port if port is None else port}{self.path}"


@dataclass(frozen=True, slots=True, kw_only=True)
class SelfWatch:
    """How somebody outside learns that the watch itself is well."""

    heartbeat_s: float
    least_free_mb: float
    """Less free room on the journal's disk than this is told."""
    heartbeat_url: str = field(default="", repr=False)
    """Called while all is well; empty: nobody is. Secret: whoever knows it can fake it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AtStake:
    """From when on what a unit holds makes a lesser alarm more urgent."""

    kilograms: float | None = None
    """Fish in the unit; None: its weight makes no alarm more urgent."""
    hold_h: float | None = None
    """Hours that a hold in the unit has been credited; None: they make none more urgent."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MessageTexts:
    """In which words alarms are told."""

    language: str
    overrides: Mapping[str, Any] = field(default_factory=lambda: MappingProxyType({}))
    """The shop's own sentences, by the keys of the shipped ones."""
    source: str = ""
    """The file they stand in, for messages about it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopSpecies:
    """A fish the shop buys that the catalogue does not have."""

    common: str
    scientific: str
    group: str
    """What it counts as under the section on parasite destruction, by the catalogue's words."""
    forms_scombrotoxin: bool
    other_names: tuple[str, ...] = ()
    use_by_ice_days: float | None = None
    """The shop's own limit of days on ice, a matter of quality; None: the shop's usual one."""


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
    entries: bool = False
    """Whether operators' entries are taken from the broker, and who may send is its ACL's."""
    sparkplug_host: str = ""
    """The name under which Sparkplug nodes may wait for us; empty: we say nothing to them."""

    @property
    def entry_topic(self) -> str:
        """Where operators' entries are published, where they are taken at all."""
        return f"rimewatch/{self.client_id}/entry"

    @property
    def answer_topic(self) -> str:
        """Where it is said what became of each."""
        return f"rimewatch/{self.client_id}/answer"


@dataclass(frozen=True, slots=True, kw_only=True)
class MirrorTo:
    """The time series database that follows the journal. The token is never shown or logged."""

    url: str
    org: str
    bucket: str
    shop: str
    """What the tag ``shop`` says of every point; the shop's name unless it says otherwise."""
    token: str | None = field(default=None, repr=False)
    ca_file: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Earlier:
    """Settings that held before, and until when; which are not those of now."""

    until_ms: int
    """From then on others held."""
    shop: "Shop"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """How a probe stood in a unit from an instant on."""

    from_ms: float
    unit: Unit
    probe: Probe


MOVED: Final = "@"
"""Stands in the key of a seat that is over, between the probe's id and until when; in no id."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """A probe that speaks for a unit's fish, from one instant to another."""

    key: ProbeId
    """The probe's id where it lasts; else one that no other seat has."""
    from_ms: float
    """When it was put there, or began to speak for the fish; −∞: it always did."""
    to_ms: float
    """When it was taken away, or another one spoke for the fish; ∞: it does now."""
    stages: tuple[Stage, ...]
    """Its settings, the first from its beginning on; at least one."""

    @classmethod
    def of(cls, unit: Unit, probe: Probe) -> "Seat":
        """Return the seat of a probe that always stood in a unit, under one configuration."""
        only = Stage(from_ms=-inf, unit=unit, probe=probe)
        return cls(key=probe.id, from_ms=-inf, to_ms=inf, stages=(only,))

    @property
    def unit(self) -> Unit:
        """The unit, as it was last."""
        return self.stages[-1].unit

    @property
    def probe(self) -> Probe:
        """The probe, as it was last."""
        return self.stages[-1].probe

    @property
    def lasts(self) -> bool:
        """Whether it is there now."""
        return self.to_ms == inf

    def covers(self, at_ms: float) -> bool:
        """Whether a reading of an instant is one of its own."""
        return self.from_ms <= at_ms < self.to_ms


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
    paper: Paper
    """What records are printed on."""
    keep_chilled_days: int
    """How long readings of cases and walk-ins are kept whole."""
    keep_frozen_days: int
    """How long readings of freezers are kept whole."""
    keep_days: int
    """Calendar days for which a lot's record is kept beyond its last sale, at least 90
    (FDA Food Code 2022, 3-402.12(A))."""
    code: Code
    """Which freezing options, exemptions and statements count as proof."""
    self_watch: SelfWatch
    messages: MessageTexts
    contacts: tuple[Contact, ...] = ()
    night: Night | None = None
    escalation: tuple[EscalationStep, ...] = ()
    priorities: Mapping[Rule, Priority] = field(default_factory=dict)
    """The shop's own priorities, where they differ from the usual ones."""
    species: tuple[ShopSpecies, ...] = ()
    """The shop's own species, beside the catalogue's."""
    use_by_ice_days: float | None = None
    """The shop's own limit of days on ice, a matter of quality and not of safety."""
    acknowledged_for_s: float = 4 * 3600.0
    """How long an acknowledgement without a promise holds for an alarm of the highest priority:
    as long as fish may be out of control by time (FDA Food Code 2022, 3-501.19(B): 4 h)."""
    shifts: tuple[Shift, ...] = ()
    """Who is on call when, over all rotas, in the order of the configuration."""
    holidays: frozenset[date] = frozenset()
    """Local dates on which the shifts for holidays hold."""
    web: Web | None = None
    """None: the service has no pages."""
    at_stake: AtStake = AtStake()
    mirror: MirrorTo | None = None
    """Where the journal is mirrored to; None: nowhere."""
    said: str = field(default="", compare=False)
    """The configuration that it was made of, as tables in JSON, marks for secrets; empty: none."""
    earlier: tuple[Earlier, ...] = ()
    """What held before, the earliest first; each without anything earlier. Empty: all of this
    has always held."""

    @property
    def pages_url(self) -> str:
        """The address under which a phone reaches the pages; empty: there is none."""
        return self.web.url if self.web else ""

    @property
    def pages_path(self) -> str:
        """The path below which a proxy serves the pages; empty: at the root."""
        return self.web.path if self.web else ""

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
        return tuple(p for p in self._by_unit.get(unit, ()) if p.measures in measures)

    def probes_of_unit(self, unit: UnitId) -> tuple[Probe, ...]:
        """Return all of a unit's probes, in the order of the configuration."""
        return self._by_unit.get(unit, ())

    @cached_property
    def _by_unit(self) -> Mapping[UnitId, tuple[Probe, ...]]:
        found: dict[UnitId, list[Probe]] = {}
        for probe in self.probes:
            found.setdefault(probe.unit, []).append(probe)
        return {unit: tuple(probes) for unit, probes in found.items()}

    def governing_probes(self, unit: UnitId) -> tuple[Probe, ...]:
        """Return the probes that speak for a unit's fish: product probes, or else air probes.

        The first is the one whose statistics the ledger shows. Every one of them is
        judged against the limits: the warmest corner counts.
        """
        return self.probes_of(unit, Measures.PRODUCT) or self.probes_of(unit, Measures.AIR)

    # --- settings over time ---------------------------------------------------------------

    @cached_property
    def held(self) -> tuple[tuple[float, float, "Shop"], ...]:
        """Return from when to when which settings held, in order; the last are those of now.

        Each knows what was before it.
        """
        found: list[tuple[float, float, Shop]] = []
        from_ms = -inf
        for number, before in enumerate(self.earlier):
            then = replace(before.shop, earlier=self.earlier[:number])
            found.append((from_ms, before.until_ms, then))
            from_ms = before.until_ms
        return (*found, (from_ms, inf, self))

    @cached_property
    def seats(self) -> tuple[Seat, ...]:
        """Return every probe that ever spoke for a unit's fish, where and when it did.

        A probe that was moved has a seat in each unit; so has one that measures something else
        now, or sends by another topic: that is another probe under the same id.
        """
        last: dict[tuple[ProbeId, UnitId], list[Stage]] = {}
        over: list[Seat] = []
        for from_ms, _, then in self.held:
            stands = {
                (probe.id, unit.id): Stage(from_ms=from_ms, unit=unit, probe=probe)
                for unit in then.units
                for probe in then.governing_probes(unit.id)
            }
            for place in list(last):
                stage = stands.get(place)
                if stage is None or not _same_sensor(last[place][-1].probe, stage.probe):
                    over.append(_seat(last.pop(place), from_ms))
            for place, stage in stands.items():
                last.setdefault(place, []).append(stage)
        return (*over, *(_seat(stages, inf) for stages in last.values()))

    def seats_in(self, unit: UnitId, from_ms: float = -inf, to_ms: float = inf) -> tuple[Seat, ...]:
        """Return the probes that spoke for a unit's fish at some time, those of now first.

        Args:
            unit: The unit.
            from_ms: Start of the time.
            to_ms: Its end.
        """
        found = (
            seat
            for seat in self._seats_of.get(unit, ())
            if seat.from_ms <= to_ms and seat.to_ms > from_ms
        )
        return tuple(sorted(found, key=lambda seat: -seat.to_ms))

    @cached_property
    def _seats_of(self) -> Mapping[UnitId, tuple[Seat, ...]]:
        found: dict[UnitId, list[Seat]] = {}
        for seat in self.seats:
            found.setdefault(seat.unit.id, []).append(seat)
        return {unit: tuple(seats) for unit, seats in found.items()}


def _same_sensor(before: Probe, after: Probe) -> bool:
    return (before.measures, before.topic, before.match) == (
        after.measures,
        after.topic,
        after.match,
    )


def _seat(stages: Sequence[Stage], to_ms: float) -> Seat:
    probe, from_ms = stages[0].probe.id, stages[0].from_ms
    return Seat(
        key=probe if to_ms == inf else ProbeId(f"{probe}{MOVED}{to_ms:.0f}"),
        from_ms=from_ms,
        to_ms=to_ms,
        stages=tuple(stages),
    )
