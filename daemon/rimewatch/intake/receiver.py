"""From a message to readings, or to quarantine.

Decodes, dates, converts and judges each message by the configuration of the probes
on its topic. Nothing is dropped: what becomes no reading is quarantined with its
reason. Deterministic: the same messages in the same order give the same results.
Never touches the network, the clock or the disk.

One thread at a time: a receiver keeps each probe's last value and clock offset.
"""

import math
from collections.abc import Iterable
from typing import Final, NamedTuple

from rimewatch.config.topics import own_filter
from rimewatch.entries import AnyEntry, CalibrationCheck
from rimewatch.evaluation.clock_note import ClockNote, Dating
from rimewatch.evaluation.over_time import shop_at
from rimewatch.intake.conversion import celsius
from rimewatch.intake.decoders import Absent, Draft, TimeOrigin, Undecodable, make_decoder
from rimewatch.intake.device_time import ClockOffset, dated, is_of_a_burst, is_plausible
from rimewatch.intake.entries import EntryError
from rimewatch.intake.entry_messages import Became, answer, entry_of_message
from rimewatch.intake.offsets import Offsets
from rimewatch.intake.payload_limit import MAX_PAYLOAD_BYTES
from rimewatch.intake.quality import Refusal, doubt_finite, doubt_humidity, doubt_temperature
from rimewatch.intake.sparkplug.host import Request, SparkplugHost
from rimewatch.intake.sparkplug.topics import source_of
from rimewatch.intake.topics import TopicTable, storable
from rimewatch.intake.two_sources import TwoSources
from rimewatch.readings import PAYLOAD_START_BYTES, Quarantined, Reading, Reason
from rimewatch.rules.probe_rule import UnreadProbe
from rimewatch.science.rtd import celsius_from_ohms
from rimewatch.science.scales import celsius_of_fahrenheit, celsius_of_kelvin
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import MS_PER_S, Measures, ProbeId, Scale, Unread

SPARKPLUG: Final = "sparkplug"
"""The one format whose messages mean nothing without those before them."""

_OWN: Final = TimeOrigin.OWN
_ABSENT: Final = TimeOrigin.ABSENT
_OF_UNKNOWN_AGE: Final = Refusal(
    Reason.TIME_UNCERTAIN, "kept by the broker, with no usable time of its own"
)


_UNREAD: Final = {Reason.UNDECODABLE: Unread.FORMAT}


class Note(NamedTuple):
    """Something to be told of a probe, once."""

    what: str
    """What kind of thing it is, as the journal's events name it."""
    text: str


class Received(NamedTuple):
    """What became of one message."""

    readings: tuple[Reading, ...] = ()
    quarantined: tuple[Quarantined, ...] = ()
    entry: AnyEntry | None = None
    """An operator's entry, where the shop takes them from the broker."""
    gone: tuple[ProbeId, ...] = ()
    """Probes that have said, by whoever speaks for them, that they are gone."""
    requests: tuple[Request, ...] = ()
    """What is to be published in answer."""
    notes: tuple[Note, ...] = ()
    """What somebody should hear of, and no reading is changed by."""

    unread: tuple[UnreadProbe, ...] = ()
    """Probes that it may have been meant for and that it gave no reading of, once a value."""

    @property
    def is_more(self) -> bool:
        """Whether there is more than readings and an entry in it."""
        return bool(self.quarantined or self.gone or self.requests or self.notes or self.unread)


class _Watched:
    """A probe with its decoder and what is remembered of it."""

    __slots__ = (
        "clock",
        "dating",
        "decode",
        "id",
        "is_temperature",
        "last",
        "offsets",
        "probe",
        "qos_0_ms",
        "sources",
        "times_not_used",
        "two_sources_ms",
    )

    def __init__(self, probe: Probe) -> None:
        self.probe = probe
        self.id = probe.id
        self.decode = None if probe.format == SPARKPLUG else make_decoder(probe)
        self.is_temperature = probe.measures.is_temperature
        self.last: tuple[int, float] | None = None
        self.clock = ClockOffset()
        self.dating = Dating()
        self.times_not_used = 0
        self.offsets = Offsets(probe.offset_c)
        self.sources = TwoSources()
        self.two_sources_ms: int | None = None
        self.qos_0_ms: int | None = None


class Receiver:
    """Turns messages into readings by a shop's configuration.

    Args:
        shop: The shop, already checked.

    Raises:
        UnusableProbe: If a probe's format or fields cannot be read by this version.
    """

    def __init__(self, shop: Shop) -> None:
        self._shop = shop
        self._entry_topic = shop.broker.entry_topic if shop.broker.entries else None
        self._watched = {probe.id: _Watched(probe) for probe in shop.probes}
        self._table = TopicTable(
            (own_filter(w.probe.topic, w.probe.match), w)
            for w in self._watched.values()
            if w.decode is not None
        )
        self._host = SparkplugHost(p for p in shop.probes if p.format == SPARKPLUG)
        self._moved: set[ProbeId] = set()
        self._checks: list[CalibrationCheck] = []
        earlier = shop.earlier
        self._changed_ms = earlier[-1].until_ms if earlier else None
        for one in self._watched.values() if earlier else ():
            one.offsets = self._offsets(one.probe)

    def receive(
        self,
        topic: str,
        payload: bytes,
        arrived_ms: int,
        *,
        retained: bool = False,
        qos: int = 1,
    ) -> Received:
        """Return the readings in a message, and what of it was not believed.

        A message that cannot be decoded is quarantined once, a value that is not
        believed once each. A retained message is one the broker kept, of unknown age:
        without a usable time of its own it is quarantined.

        Args:
            topic: The topic it was published to.
            payload: Its bytes, of any size.
            arrived_ms: When it arrived, milliseconds UTC.
            retained: Whether the broker had kept it.
            qos: With which quality of service it came.
        """
        if topic == self._entry_topic:
            return self._entered(topic, payload, arrived_ms, retained=retained)
        watched = self._table.find(topic)
        if not watched:
            if self._host.follows(topic) is not None:
                return self._heard(topic, payload, arrived_ms, retained=retained)
            return refused(topic, payload, arrived_ms, Reason.UNKNOWN_TOPIC, "no probe has it")
        if len(payload) > MAX_PAYLOAD_BYTES:
            detail = f"more than {MAX_PAYLOAD_BYTES} bytes, the most that is read"
            return refused(topic, payload, arrived_ms, Reason.TOO_LARGE, detail)
        found = self._decoded(watched, topic, payload, arrived_ms, retained=retained)
        return found if qos else self._at_qos_0(found)

    def _at_qos_0(self, found: Received) -> Received:
        notes = list(found.notes)
        for reading in found.readings:
            one = self._watched[reading.probe]
            if one.qos_0_ms is None:
                one.qos_0_ms = reading.arrived_ms
                text = (
                    f"{one.id}: its messages come at QoS 0, which the broker keeps for nobody; set "
                    "the device to QoS 1, or what it sends while this service is away is lost"
                )
                notes.append(Note("sent at QoS 0", text))
        return found._replace(notes=tuple(notes))

    def _decoded(
        self,
        watched: tuple[_Watched, ...],
        topic: str,
        payload: bytes,
        arrived_ms: int,
        *,
        retained: bool,
    ) -> Received:
        readings: list[Reading] = []
        quarantined: list[Quarantined] = []
        notes: list[Note] = []
        lacking: list[tuple[_Watched, Absent]] = []
        unread: list[UnreadProbe] = []
        is_broken = is_served = False
        for one in watched:
            assert one.decode is not None, "the table has no others"
            try:
                drafts = one.decode(payload, arrived_ms)
            except Absent as err:
                lacking.append((one, err))
                unread.append((one.id, Unread.ABSENT))
                continue
            except Undecodable as err:
                unread.append((one.id, Unread.FORMAT))
                if err.whole and is_broken:
                    continue  # one broken message is one, however many probes share its topic
                is_broken = is_broken or err.whole
                probe = None if err.whole and len(watched) > 1 else one.id
                refusal = Refusal(Reason.UNDECODABLE, str(err))
                quarantined.append(_quarantined(topic, payload, arrived_ms, probe, refusal))
                continue
            is_served = is_served or bool(drafts)
            for draft in drafts:
                accepted = self._judge(one, draft, arrived_ms, retained=retained)
                if isinstance(accepted, Reading):
                    readings.append(accepted)
                    self._look_for_two(one, accepted, notes)
                else:
                    unread.append((one.id, Unread.DISBELIEVED))
                    quarantined.append(_quarantined(topic, payload, arrived_ms, one.id, accepted))
        if lacking and not is_served and not quarantined:
            # Who is not in a message that another probe is served by misses nothing in it; what
            # serves nobody is one message, and a probe's own only where no other may be meant.
            meant, why = lacking[0]
            probe = meant.id if len(lacking) == 1 else None
            refusal = Refusal(Reason.UNDECODABLE, str(why))
            quarantined.append(_quarantined(topic, payload, arrived_ms, probe, refusal))
        if not readings and not quarantined:
            detail = "no probe on this topic has its mark; see match"
            return refused(topic, payload, arrived_ms, Reason.UNKNOWN_TOPIC, detail)
        return Received(
            tuple(readings), tuple(quarantined), None, (), (), tuple(notes), tuple(unread)
        )

    def _heard(self, topic: str, payload: bytes, arrived_ms: int, *, retained: bool) -> Received:
        """Take a Sparkplug message: whose it is, only the messages before it can tell."""
        if len(payload) > MAX_PAYLOAD_BYTES:
            detail = f"more than {MAX_PAYLOAD_BYTES} bytes, the most that is read"
            return refused(topic, payload, arrived_ms, Reason.TOO_LARGE, detail)
        told = self._host.hear(topic, payload, arrived_ms)
        readings: list[Reading] = []
        notes: list[Note] = []
        doubts = list(told.refused)
        for probe, draft in told.drafts:
            one = self._watched[probe]
            accepted = self._judge(one, draft, arrived_ms, retained=retained)
            if isinstance(accepted, Reading):
                readings.append(accepted)
                self._look_for_two(one, accepted, notes)
            else:
                doubts.append((probe, accepted))
        return Received(
            tuple(readings),
            tuple(_quarantined(topic, payload, arrived_ms, *pair) for pair in doubts),
            gone=tuple(told.gone),
            requests=tuple(told.requests),
            notes=tuple(notes),
            unread=tuple(
                (probe, why.unread or _UNREAD.get(why.reason, Unread.DISBELIEVED))
                for probe, why in doubts
                if probe is not None
            ),
        )

    def _look_for_two(self, one: _Watched, reading: Reading, notes: list[Note]) -> None:
        if not one.is_temperature:
            return
        is_new = one.sources.add(reading.observed_ms, reading.value)
        if one.sources.found:
            one.two_sources_ms = reading.arrived_ms  # the last time: it may go on for days
        if is_new:
            topic = storable(own_filter(one.probe.topic, one.probe.match))
            text = (
                f"{one.id}: its readings come in turn from two levels, as if two devices sent on "
                f"{topic}; see who may publish there"
            )
            notes.append(Note("two sources", text))

    def enter(self, entry: AnyEntry) -> None:
        """Take an operator's entry: a check may set a new offset from then on."""
        if isinstance(entry, CalibrationCheck) and entry.offset_c is not None:
            self._checks.append(entry)
            one = self._watched.get(entry.probe)
            if one is not None:
                one.offsets.add(entry.from_ms, entry.offset_c)

    def begin_anew(self, entries: Iterable[AnyEntry]) -> None:
        """Forget what a batch that failed had brought; take the entries that hold."""
        self._checks.clear()
        for one in self._watched.values():
            one.offsets = self._offsets(one.probe)
        for entry in entries:
            self.enter(entry)
        self._host.lose_count()

    def alike(self, entries: Iterable[AnyEntry]) -> "Receiver":
        """Return a fresh one for the same shop, with the offsets that these entries set."""
        fresh = Receiver(self._shop)
        fresh.begin_anew(entries)
        return fresh

    def under(self, shop: Shop, entries: Iterable[AnyEntry]) -> "Receiver":
        """Return one that goes on from here under other settings.

        Args:
            shop: The settings from now on, with what held before.
            entries: What was entered so far: checks may have set offsets.
        """
        after = Receiver(shop)
        after.begin_anew(entries)
        for probe, one in after._watched.items():
            before = self._watched.get(probe)
            if before is not None:
                one.last = before.last
                after.remember_clock(probe, self.clock_note(probe))
        return after

    def greet(self, now_ms: int) -> list[Request]:
        """Return what to publish once the subscriptions stand."""
        return self._host.greet(now_ms)

    def clock_notes(self) -> dict[ProbeId, ClockNote]:
        """Return what is known of the probes' clocks, of those heard since the last call."""
        notes = {probe: self.clock_note(probe) for probe in sorted(self._moved)}
        self._moved.clear()
        return notes

    def clock_note(self, probe: ProbeId) -> ClockNote:
        """Return what is known of a probe's clock and its sources."""
        one = self._watched[probe]
        return ClockNote(
            late_ms=one.clock.late_ms(),
            times_not_used=one.times_not_used,
            two_sources_ms=one.two_sources_ms,
            qos_0_ms=one.qos_0_ms,
            dating=one.dating,
        )

    def remember_clock(self, probe: ProbeId, note: ClockNote) -> None:
        """Take what was known of a probe's clock before a restart."""
        one = self._watched[probe]
        one.clock = ClockOffset(note.late_ms)
        one.dating = note.dating
        one.times_not_used = note.times_not_used
        one.two_sources_ms = note.two_sources_ms
        one.qos_0_ms = note.qos_0_ms

    def _entered(self, topic: str, payload: bytes, arrived_ms: int, *, retained: bool) -> Received:
        if len(payload) > MAX_PAYLOAD_BYTES:
            detail = f"more than {MAX_PAYLOAD_BYTES} bytes, the most that is read"
            return self._no_entry(topic, payload, arrived_ms, Reason.TOO_LARGE, detail)
        try:
            entry = entry_of_message(payload, arrived_ms, retained=retained)
        except EntryError as err:
            return self._no_entry(topic, payload, arrived_ms, Reason.UNDECODABLE, str(err))
        return Received(entry=entry)

    def _no_entry(
        self, topic: str, payload: bytes, arrived_ms: int, reason: Reason, detail: str
    ) -> Received:
        said = answer(Became.REFUSED, None, arrived_ms, detail)
        of_it = refused(topic, payload, arrived_ms, reason, detail)
        return of_it._replace(requests=(Request(self._shop.broker.answer_topic, said),))

    def remember(self, reading: Reading) -> None:
        """Take a probe's last accepted reading from before a restart."""
        self._watched[reading.probe].last = (reading.observed_ms, reading.value)

    def _judge(
        self, one: _Watched, draft: Draft, arrived_ms: int, *, retained: bool
    ) -> Reading | Refusal:
        sent, _, battery, _, said_scale = draft
        self._moved.add(one.id)
        observed_ms = self._date(one, draft, arrived_ms, retained=retained)
        if observed_ms is None:
            return _OF_UNKNOWN_AGE
        if self._changed_ms is not None and observed_ms < self._changed_ms:
            # A backlog is read as its probe was configured when it was measured.
            one = self._then(one, observed_ms)
        if (refusal := doubt_finite(sent)) is not None:
            return refusal
        if one.is_temperature:
            value, refusal = _temperature(one, sent, said_scale or one.probe.scale, observed_ms)
        else:
            value = sent
            refusal = doubt_humidity(sent) if one.probe.measures is Measures.HUMIDITY else None
        if refusal is not None:
            return refusal
        if one.last is None or observed_ms >= one.last[0]:
            one.last = (observed_ms, value)
        return Reading(
            probe=one.id,
            observed_ms=observed_ms,
            arrived_ms=arrived_ms,
            raw=sent,
            value=value,
            battery=battery,
        )

    def _then(self, one: _Watched, observed_ms: int) -> _Watched:
        """Return a probe as it was when a reading was taken, with its id of then."""
        known = shop_at(self._shop, observed_ms).probes
        same = [p for p in known if (p.topic, p.match) == (one.probe.topic, one.probe.match)]
        probe = next((p for p in same if p.id == one.id), next(iter(same), one.probe))
        if probe == one.probe:
            return one
        then = _Watched(probe)
        then.offsets = self._offsets(probe)
        return then

    def _offsets(self, probe: Probe) -> Offsets:
        """Return a probe's offsets as they were configured over time; checks may set others."""
        found: Offsets | None = None
        before: Probe | None = None
        for from_ms, _, shop in self._shop.held:
            known = shop.probe.get(probe.id)
            if known is None or before is None or known.offset_c != before.offset_c or (
                known.topic, known.match) != (before.topic, before.match):  # fmt: skip
                if known is not None and found is None:
                    found = Offsets(known.offset_c)
                elif known is not None and found is not None:
                    found.add(int(from_ms), known.offset_c)
            before = known
        assert found is not None, "it is configured at some time"
        for entry in self._checks:
            if entry.probe == probe.id and entry.offset_c is not None:
                found.add(entry.from_ms, entry.offset_c)
        return found

    def _date(self, one: _Watched, draft: Draft, arrived_ms: int, *, retained: bool) -> int | None:
        """Return the reading's time; None for a kept message without a usable one of its own."""
        observed_ms, origin = draft.observed_ms, draft.origin
        if observed_ms is not None:
            if origin is _OWN:
                one.clock.add(arrived_ms - observed_ms)
            if is_plausible(observed_ms, arrived_ms):
                if retained:
                    return observed_ms if origin is _OWN else None
                if origin is not _OWN or _is_believed(one, observed_ms, arrived_ms):
                    return observed_ms
        if retained:
            return None
        if origin is not _ABSENT:
            one.times_not_used += 1
        return arrived_ms


def _is_believed(one: _Watched, observed_ms: int, arrived_ms: int) -> bool:
    """Whether a message's own time dates it: not where the times cannot be, but for a backlog's."""
    before, probe = one.dating, one.probe
    if probe.every_s is None or probe.stale_s is None:
        return True  # a contact speaks when it likes
    every_ms = probe.every_s * MS_PER_S
    one.dating = dated(
        before, observed_ms, arrived_ms, every_ms=every_ms, stale_ms=probe.stale_s * MS_PER_S
    )
    return not one.dating.by_arrival or is_of_a_burst(before, arrived_ms, every_ms=every_ms)


def subscription(probe: Probe) -> str:
    """Return the topic filter under which a probe's messages are heard.

    A device's births and deaths may come by its node alone, so all of the node is heard.
    """
    source = source_of(probe.topic) if probe.format == SPARKPLUG else None
    return probe.topic if source is None else source.node.filter


def _temperature(
    one: _Watched, sent: float, scale: Scale, observed_ms: int
) -> tuple[float, Refusal | None]:
    probe = one.probe
    offset_c = one.offsets.at(observed_ms)
    is_fahrenheit = scale is Scale.FAHRENHEIT
    if scale is Scale.KELVIN:
        sent = round(celsius_of_kelvin(sent), 9)
    elif scale is Scale.OHM:
        try:
            sent = celsius_from_ohms(sent)
        except ValueError as err:
            return math.nan, Refusal(Reason.OUT_OF_RANGE, str(err))
    value_c = celsius(sent, is_fahrenheit=is_fahrenheit, slope=probe.slope, offset_c=offset_c)
    return value_c, doubt_temperature(
        sent=sent,
        uncorrected_c=celsius_of_fahrenheit(sent) if is_fahrenheit else sent,
        value_c=value_c,
        plausible_c=probe.plausible_c,
        observed_ms=observed_ms,
        last=one.last,
    )


def refused(topic: str, payload: bytes, arrived_ms: int, reason: Reason, detail: str) -> Received:
    """Return a message that is put into quarantine whole, whosever it is."""
    refusal = Refusal(reason, detail)
    return Received((), (_quarantined(topic, payload, arrived_ms, None, refusal),))


def _quarantined(
    topic: str, payload: bytes, arrived_ms: int, probe: ProbeId | None, refusal: Refusal
) -> Quarantined:
    is_more = PAYLOAD_START_BYTES <= len(payload) <= MAX_PAYLOAD_BYTES
    return Quarantined(
        arrived_ms=arrived_ms,
        topic=storable(topic),
        probe=probe,
        reason=refusal.reason,
        detail=refusal.detail,
        payload_start=bytes(payload[:PAYLOAD_START_BYTES]),
        whole=payload if is_more else None,
    )
