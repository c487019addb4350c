"""From a message to readings, or to quarantine.

Decodes, dates, converts and judges each message by the configuration of the probes
on its topic. Nothing is dropped: what becomes no reading is quarantined with its
reason. Deterministic: the same messages in the same order give the same results.
Never touches the network, the clock or the disk.

One thread at a time: a receiver keeps each probe's last value and clock offset.
"""

from typing import Final, NamedTuple

from rimewatch.entries import AnyEntry
from rimewatch.intake.conversion import celsius
from rimewatch.intake.decoders import Draft, TimeOrigin, Undecodable, make_decoder
from rimewatch.intake.device_time import ClockOffset, is_plausible
from rimewatch.intake.entries import EntryError
from rimewatch.intake.entry_messages import entry_of_message
from rimewatch.intake.quality import Refusal, doubt_finite, doubt_humidity, doubt_temperature
from rimewatch.intake.topics import TopicTable, storable
from rimewatch.readings import Quarantined, Reading, Reason
from rimewatch.shop import Probe, Shop
from rimewatch.vocabulary import Measures, ProbeId, Scale

MAX_PAYLOAD_BYTES: Final = 64 * 1024
"""A larger payload is not decoded. A probe's message has some hundred bytes."""

KEPT_BYTES: Final = 256
"""How much of a quarantined payload is kept."""

_OWN: Final = TimeOrigin.OWN
_ABSENT: Final = TimeOrigin.ABSENT
_OF_UNKNOWN_AGE: Final = Refusal(
    Reason.TIME_UNCERTAIN, "kept by the broker, with no usable time of its own"
)


class Received(NamedTuple):
    """What became of one message."""

    readings: tuple[Reading, ...] = ()
    quarantined: tuple[Quarantined, ...] = ()
    entry: AnyEntry | None = None
    """An operator's entry, where the shop takes them from the broker."""


class _Watched:
    """A probe with its decoder and what is remembered of it."""

    __slots__ = (
        "clock",
        "decode",
        "id",
        "is_fahrenheit",
        "is_temperature",
        "last",
        "probe",
        "times_not_used",
    )

    def __init__(self, probe: Probe) -> None:
        self.probe = probe
        self.id = probe.id
        self.decode = make_decoder(probe)
        self.is_temperature = probe.measures.is_temperature
        self.is_fahrenheit = probe.scale is Scale.FAHRENHEIT
        self.last: tuple[int, float] | None = None
        self.clock = ClockOffset()
        self.times_not_used = 0


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
        self._table = TopicTable((w.probe.topic, w) for w in self._watched.values())

    def receive(
        self, topic: str, payload: bytes, arrived_ms: int, *, retained: bool = False
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
        """
        if topic == self._entry_topic:
            return self._entered(topic, payload, arrived_ms, retained=retained)
        watched = self._table.find(topic)
        if not watched:
            return _refused(topic, payload, arrived_ms, Reason.UNKNOWN_TOPIC, "no probe has it")
        if len(payload) > MAX_PAYLOAD_BYTES:
            detail = f"{len(payload)} bytes; at most {MAX_PAYLOAD_BYTES} are read"
            return _refused(topic, payload, arrived_ms, Reason.TOO_LARGE, detail)
        readings: list[Reading] = []
        quarantined: list[Quarantined] = []
        is_broken = False
        for one in watched:
            try:
                drafts = one.decode(payload, arrived_ms)
            except Undecodable as err:
                if err.whole and is_broken:
                    continue  # one broken message is one, however many probes share its topic
                is_broken = is_broken or err.whole
                probe = None if err.whole and len(watched) > 1 else one.id
                refusal = Refusal(Reason.UNDECODABLE, str(err))
                quarantined.append(_quarantined(topic, payload, arrived_ms, probe, refusal))
                continue
            for draft in drafts:
                accepted = self._judge(one, draft, arrived_ms, retained=retained)
                if isinstance(accepted, Reading):
                    readings.append(accepted)
                else:
                    quarantined.append(_quarantined(topic, payload, arrived_ms, one.id, accepted))
        return Received(tuple(readings), tuple(quarantined))

    def _entered(self, topic: str, payload: bytes, arrived_ms: int, *, retained: bool) -> Received:
        if len(payload) > MAX_PAYLOAD_BYTES:
            detail = f"{len(payload)} bytes; at most {MAX_PAYLOAD_BYTES} are read"
            return _refused(topic, payload, arrived_ms, Reason.TOO_LARGE, detail)
        try:
            entry = entry_of_message(self._shop, payload, arrived_ms, retained=retained)
        except EntryError as err:
            return _refused(topic, payload, arrived_ms, Reason.UNDECODABLE, str(err))
        return Received(entry=entry)

    def remember(self, reading: Reading) -> None:
        """Take a probe's last accepted reading from before a restart."""
        self._watched[reading.probe].last = (reading.observed_ms, reading.value)

    def clock_offset_s(self, probe: ProbeId) -> float | None:
        """Return how far a probe's clock lies behind the arrivals, in seconds.

        Positive for a slow clock, negative for a fast one; None while too few of its
        messages had a time. For a report only: no reading is corrected by it.
        """
        return self._watched[probe].clock.offset_s()

    def times_not_used(self, probe: ProbeId) -> int:
        """Return how many of a probe's readings got their arrival's time for want of a better.

        Counts only those whose payload should have had a time: without a zone,
        unreadable, missing, or outside the plausible span. Their time is uncertain.
        """
        return self._watched[probe].times_not_used

    def _judge(
        self, one: _Watched, draft: Draft, arrived_ms: int, *, retained: bool
    ) -> Reading | Refusal:
        sent, _, battery, _ = draft
        observed_ms = self._date(one, draft, arrived_ms, retained=retained)
        if observed_ms is None:
            return _OF_UNKNOWN_AGE
        if (refusal := doubt_finite(sent)) is not None:
            return refusal
        if one.is_temperature:
            value, refusal = _temperature(one, sent, observed_ms)
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

    def _date(self, one: _Watched, draft: Draft, arrived_ms: int, *, retained: bool) -> int | None:
        """Return the reading's time; None for a kept message without a usable one of its own."""
        _, observed_ms, _, origin = draft
        if observed_ms is not None:
            if origin is _OWN:
                one.clock.add(arrived_ms - observed_ms)
            if is_plausible(observed_ms, arrived_ms):
                return None if retained and origin is not _OWN else observed_ms
        if retained:
            return None
        if origin is not _ABSENT:
            one.times_not_used += 1
        return arrived_ms


def _temperature(one: _Watched, sent: float, observed_ms: int) -> tuple[float, Refusal | None]:
    probe = one.probe
    value_c = celsius(
        sent, is_fahrenheit=one.is_fahrenheit, slope=probe.slope, offset_c=probe.offset_c
    )
    return value_c, doubt_temperature(
        sent=sent,
        uncorrected_c=(sent - 32.0) * 5.0 / 9.0 if one.is_fahrenheit else sent,
        value_c=value_c,
        plausible_c=probe.plausible_c,
        observed_ms=observed_ms,
        last=one.last,
    )


def _refused(topic: str, payload: bytes, arrived_ms: int, reason: Reason, detail: str) -> Received:
    refusal = Refusal(reason, detail)
    return Received((), (_quarantined(topic, payload, arrived_ms, None, refusal),))


def _quarantined(
    topic: str, payload: bytes, arrived_ms: int, probe: ProbeId | None, refusal: Refusal
) -> Quarantined:
    return Quarantined(
        arrived_ms=arrived_ms,
        topic=storable(topic),
        probe=probe,
        reason=refusal.reason,
        detail=refusal.detail,
        payload_start=bytes(payload[:KEPT_BYTES]),
    )
