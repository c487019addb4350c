import tracemalloc
from typing import Any

import pytest
from intake_shop import ARRIVED_MS, TOPIC, probe, receiver, shop

from rimewatch.evaluation.clock_note import offset_s_of
from rimewatch.evaluation.quarantine_tally import MOST_KINDS, QuarantineTally
from rimewatch.intake.decoders import UnusableProbe
from rimewatch.intake.payload_limit import MAX_PAYLOAD_BYTES
from rimewatch.intake.receiver import Received, Receiver
from rimewatch.intake.topics import REMEMBERED_TOPICS
from rimewatch.readings import Reading, Reason
from rimewatch.shop import Mark
from rimewatch.vocabulary import Measures, ProbeId, Scale, Unread

AIR = ProbeId("case-1-air")


def value(payload: bytes, **changes: Any) -> float:
    """Return the value of the one reading in a payload."""
    return accepted(receiver(**changes).receive(TOPIC, payload, ARRIVED_MS)).value


def accepted(received: Received) -> Reading:
    """Return the one reading of a message that has nothing wrong."""
    assert received.quarantined == ()
    (reading,) = received.readings
    return reading


def refused(received: Received) -> tuple[Reason, str]:
    """Return why the one value of a message was quarantined."""
    assert received.readings == ()
    (quarantined,) = received.quarantined
    return quarantined.reason, quarantined.detail


class TestAReading:
    def test_message_becomes_a_reading_with_its_own_time(self) -> None:
        """What the probe sent, what it means, when it was, when it came."""
        payload = b'{"t": 38.12, "ts": "2026-03-02T07:59:57Z", "bat": 87}'
        received = receiver(scale=Scale.FAHRENHEIT).receive(TOPIC, payload, ARRIVED_MS)

        assert accepted(received) == Reading(
            probe=AIR,
            observed_ms=ARRIVED_MS - 3000,
            arrived_ms=ARRIVED_MS,
            raw=38.12,
            value=3.4,
            battery=87.0,
        )

    @pytest.mark.parametrize(
        ("sent_f", "expected_c"),
        [
            ("41", 5.0),
            ("40", 4.444),
            ("38.12", 3.4),
            ("38", 3.333),
            ("37.94", 3.3),
            ("-4", -20.0),
            ("-31", -35.0),
            ("-40", -40.0),
            ("32", 0.0),
            ("-76", -60.0),
            ("0", -17.778),
        ],
    )
    def test_fahrenheit_at_the_codes_edges_is_exact(self, sent_f: str, expected_c: float) -> None:
        """41 °F is 5 °C and −4 °F is −20 °C, to the digit: limits are compared with them."""
        payload = b'{"t": ' + sent_f.encode() + b"}"
        assert repr(value(payload, scale=Scale.FAHRENHEIT)) == repr(expected_c)

    @pytest.mark.parametrize(
        ("sent", "expected_c"),
        [("2.0005", 2.0), ("2.0015", 2.002), ("-0.0004", 0.0), ("1.0005", 1.0), ("1.0025", 1.002)],
    )
    def test_rounding_is_half_to_even_of_the_decimal(self, sent: str, expected_c: float) -> None:
        """A thousandth is rounded as a person would round the figures written down."""
        assert repr(value(b'{"t": ' + sent.encode() + b"}")) == repr(expected_c)

    def test_correction_is_slope_then_offset_in_celsius(self) -> None:
        """A calibration speaks °C, whatever the probe sends: 50 °F is 10 °C, ×1.01 −0.4."""
        changes = {"scale": Scale.FAHRENHEIT, "slope": 1.01, "offset_c": -0.4}

        assert value(b'{"t": 50}', **changes) == 9.7

    def test_humidity_is_percent_uncorrected(self) -> None:
        """An offset in °C has no meaning for humidity."""
        assert value(b'{"t": 85.5}', measures=Measures.HUMIDITY, offset_c=1.0) == 85.5

    def test_contact_is_one_or_zero(self) -> None:
        """Open is 1, whatever word the sensor has for it."""
        assert value(b"open", measures=Measures.DOOR, format="number") == 1.0


class TestTimes:
    @pytest.mark.parametrize("late_s", [-300, 0, 30 * 86_400])
    def test_payload_time_within_the_contracts_span_is_used(self, late_s: int) -> None:
        """At most 300 s after the arrival and at most 30 days before it."""
        payload = b'{"t": 2.1, "ts": %d}' % (ARRIVED_MS // 1000 - late_s)
        reading = accepted(receiver().receive(TOPIC, payload, ARRIVED_MS))

        assert reading.observed_ms == ARRIVED_MS - late_s * 1000

    @pytest.mark.parametrize(
        "time",
        [
            b"%d" % (ARRIVED_MS + 300_001),
            b"%d" % (ARRIVED_MS - 30 * 86_400_000 - 1),
            b'"2026-03-02T07:59:57"',
            b'"yesterday"',
            b"null",
            b"12345",
        ],
    )
    def test_payload_time_that_cannot_be_gives_way_to_the_arrival(self, time: bytes) -> None:
        """A wrong clock costs no reading; how often it happened is counted."""
        one = receiver()
        reading = accepted(one.receive(TOPIC, b'{"t": 2.1, "ts": ' + time + b"}", ARRIVED_MS))

        assert reading.observed_ms == ARRIVED_MS
        assert one.clock_note(AIR).times_not_used == 1

    def test_probe_without_a_time_field_is_dated_by_arrival_and_not_counted(self) -> None:
        """A probe that never had a clock has no uncertain clock."""
        one = receiver(fields={"value": "t"})
        assert accepted(one.receive(TOPIC, b'{"t": 2.1}', ARRIVED_MS)).observed_ms == ARRIVED_MS
        assert one.clock_note(AIR).times_not_used == 0

    @pytest.mark.parametrize("payload", [b'{"t": 2.1}', b'{"t": 2.1, "ts": "2026-03-02T08:00"}'])
    def test_retained_message_without_a_time_is_no_reading(self, payload: bytes) -> None:
        """What the broker kept may be a week old: it must not stand for now."""
        received = receiver().receive(TOPIC, payload, ARRIVED_MS, retained=True)

        assert refused(received)[0] is Reason.TIME_UNCERTAIN

    def test_retained_message_with_its_own_time_is_a_reading(self) -> None:
        """With its own time it is what it is: an old reading."""
        payload = b'{"t": 2.1, "ts": "2026-03-01T08:00:00Z"}'
        received = receiver().receive(TOPIC, payload, ARRIVED_MS, retained=True)

        assert accepted(received).observed_ms == ARRIVED_MS - 86_400_000

    def test_retained_pack_with_relative_time_is_no_reading(self) -> None:
        """Five seconds before "now" says nothing once a broker has kept it."""
        pack = b'[{"n": "t", "u": "Cel", "t": -5, "v": 2.1}]'
        one = receiver(format="senml", fields={})

        assert accepted(one.receive(TOPIC, pack, ARRIVED_MS)).observed_ms == ARRIVED_MS - 5000
        received = one.receive(TOPIC, pack, ARRIVED_MS, retained=True)
        assert refused(received)[0] is Reason.TIME_UNCERTAIN


class TestClockOffset:
    def test_slow_clock_is_reported_with_a_backlog_in_between(self) -> None:
        """A clock 42 s behind shows through delays of its network and a backlog of hours."""
        one = receiver()
        for n in range(60):
            delay_s = 7200 - n if 20 <= n < 50 else n % 3
            arrived_ms = ARRIVED_MS + n * 60_000
            observed_ms = arrived_ms - (42 + delay_s) * 1000
            accepted(one.receive(TOPIC, b'{"t": 2.1, "ts": %d}' % observed_ms, arrived_ms))

        assert offset_s_of(one.clock_note(AIR).late_ms) == 42.0

    def test_clock_years_off_is_reported_though_its_times_are_not_used(self) -> None:
        """A clock set to 2020 is the very one somebody should hear of."""
        one = receiver()
        for n in range(8):
            assert offset_s_of(one.clock_note(AIR).late_ms) is None
            payload = b'{"t": 2.1, "ts": "2020-01-01T00:00:%02dZ"}' % n
            one.receive(TOPIC, payload, ARRIVED_MS + n * 1000)

        assert offset_s_of(one.clock_note(AIR).late_ms) == (ARRIVED_MS - 1_577_836_800_000) / 1000


class TestQuality:
    @pytest.mark.parametrize(
        ("sent", "reason"),
        [
            ("NaN", Reason.NOT_FINITE),
            ("1e999", Reason.NOT_FINITE),
            ("-127", Reason.FAULT_CODE),
            ("85", Reason.FAULT_CODE),
            ("85.0", Reason.FAULT_CODE),
            ("999", Reason.FAULT_CODE),
            ("-999.0", Reason.FAULT_CODE),
            ("60.001", Reason.OUT_OF_RANGE),
            ("-90.001", Reason.OUT_OF_RANGE),
            ("3276.7", Reason.OUT_OF_RANGE),
            ("1e300", Reason.OUT_OF_RANGE),
        ],
    )
    def test_value_nobody_should_believe_is_quarantined(self, sent: str, reason: Reason) -> None:
        """A broken sensor is not a warm case, and not a cold one."""
        received = receiver().receive(TOPIC, b'{"t": ' + sent.encode() + b"}", ARRIVED_MS)

        assert refused(received)[0] is reason

    @pytest.mark.parametrize("sent", ["60", "-90"])
    def test_value_at_the_end_of_the_plausible_range_is_accepted(self, sent: str) -> None:
        """The ends belong to the range."""
        assert value(b'{"t": ' + sent.encode() + b"}") == float(sent)

    def test_minus_127_is_a_fault_whatever_the_range(self) -> None:
        """No hold is ever credited for a sensor that does not answer."""
        wide = {"plausible_c": (-200.0, 100.0)}
        received = receiver(**wide).receive(TOPIC, b'{"t": -127}', ARRIVED_MS)
        in_fahrenheit = receiver(scale=Scale.FAHRENHEIT, **wide)

        assert refused(received)[0] is Reason.FAULT_CODE
        assert refused(in_fahrenheit.receive(TOPIC, b'{"t": -196.6}', ARRIVED_MS))[0] is (
            Reason.FAULT_CODE
        )

    @pytest.mark.parametrize(
        ("before", "after_s", "is_fault"),
        [
            (4.0, 60, True),
            (4.0, 601, False),
            (70.0, 60, False),
            (64.9, 600, True),
            (None, 0, False),
        ],
    )
    def test_85_inside_the_range_is_a_fault_only_as_a_jump(
        self, before: float | None, after_s: int, is_fault: bool
    ) -> None:
        """A dishwasher may be at 85 °C; a display case does not get there in a minute."""
        one = receiver(plausible_c=(-90.0, 100.0), fields={"value": "t"})
        if before is not None:
            accepted(one.receive(TOPIC, b'{"t": %.1f}' % before, ARRIVED_MS))
        received = one.receive(TOPIC, b'{"t": 85}', ARRIVED_MS + after_s * 1000)

        assert bool(received.quarantined) is is_fault
        assert bool(received.readings) is not is_fault

    def test_85_celsius_sent_as_185_fahrenheit_is_the_same_fault(self) -> None:
        """The code is the sensor's, whatever scale the firmware turns it into."""
        received = receiver(scale=Scale.FAHRENHEIT).receive(TOPIC, b'{"t": 185}', ARRIVED_MS)

        assert refused(received)[0] is Reason.FAULT_CODE

    def test_jump_is_seen_across_a_restart(self) -> None:
        """What was accepted before a restart still counts after it."""
        reading = accepted(receiver().receive(TOPIC, b'{"t": 4}', ARRIVED_MS))
        one = receiver(plausible_c=(-90.0, 100.0))
        one.remember(reading)
        received = one.receive(TOPIC, b'{"t": 85}', ARRIVED_MS + 60_000)

        assert refused(received)[0] is Reason.FAULT_CODE

    @pytest.mark.parametrize("percent", ["-0.1", "100.1"])
    def test_humidity_beyond_its_scale_is_refused(self, percent: str) -> None:
        """Air holds between none and all of the water it can."""
        payload = b'{"t": ' + percent.encode() + b"}"
        received = receiver(measures=Measures.HUMIDITY).receive(TOPIC, payload, ARRIVED_MS)

        assert refused(received)[0] is Reason.OUT_OF_RANGE


class TestQuarantine:
    def test_unknown_topic_is_kept_and_named(self) -> None:
        """A probe nobody configured is found by what it sends."""
        (kept,) = receiver().receive("shop/case-2/air", b"2.1", ARRIVED_MS).quarantined

        assert (kept.reason, kept.topic, kept.probe) == (
            Reason.UNKNOWN_TOPIC,
            "shop/case-2/air",
            None,
        )
        assert kept.payload_start == b"2.1"

    def test_oversized_payload_is_not_decoded_and_cut(self) -> None:
        """A message of megabytes fills neither the memory nor the disk."""
        payload = b'{"t": 2.1, "x": "' + b"x" * MAX_PAYLOAD_BYTES + b'"}'
        (kept,) = receiver().receive(TOPIC, payload, ARRIVED_MS).quarantined

        assert (kept.reason, kept.payload_start) == (Reason.TOO_LARGE, payload[:256])

    def test_payload_of_the_limits_size_is_decoded(self) -> None:
        """The limit itself is allowed."""
        payload = b'{"t": 2.1}'.ljust(MAX_PAYLOAD_BYTES)
        assert value(payload) == 2.1

    def test_broken_message_for_two_probes_counts_once(self) -> None:
        """One broken message is one, however many probes share its topic."""
        one = receiver(probe(), probe(id=ProbeId("case-1-product"), fields={"value": "p"}))
        received = one.receive(TOPIC, b"{", ARRIVED_MS)

        assert refused(received)[0] is Reason.UNDECODABLE

    def test_missing_value_counts_for_its_probe_only(self) -> None:
        """The air is read though the product probe is unplugged."""
        product = ProbeId("case-1-product")
        one = receiver(probe(), probe(id=product, fields={"value": "p"}))
        received = one.receive(TOPIC, b'{"t": 2.1, "p": null}', ARRIVED_MS)

        assert [r.probe for r in received.readings] == [AIR]
        assert [(q.probe, q.reason) for q in received.quarantined] == [
            (product, Reason.UNDECODABLE)
        ]

    def test_pack_for_one_probe_of_a_topic_is_no_fault_of_the_other(self) -> None:
        """Temperature and humidity each in a pack of its own: nothing is missing in either."""
        humidity = ProbeId("case-1-humidity")
        one = receiver(
            probe(format="senml", fields={"value": "temperature"}),
            probe(
                id=humidity,
                measures=Measures.HUMIDITY,
                format="senml",
                fields={"value": "humidity"},
            ),
        )
        warm = one.receive(TOPIC, b'[{"n": "temperature", "u": "Cel", "v": 2.1}]', ARRIVED_MS)
        damp = one.receive(TOPIC, b'[{"n": "humidity", "u": "%RH", "v": 85}]', ARRIVED_MS)

        assert [(r.probe, r.value) for r in (*warm.readings, *damp.readings)] == [
            (AIR, 2.1),
            (humidity, 85.0),
        ]
        assert (warm.quarantined, warm.unread) == ((), ((humidity, Unread.ABSENT),))
        assert (damp.quarantined, damp.unread) == ((), ((AIR, Unread.ABSENT),))

    @pytest.mark.parametrize(
        ("layout", "fields", "payload"),
        [
            ("senml", ("a", "b"), b'[{"n": "c", "u": "Cel", "v": 2.1}]'),
            ("senml", (None, None), b'[{"n": "c", "u": "V", "v": 3.3}]'),
            ("json", ("a", "b"), b'{"c": 2.1}'),
            ("json", ("a.t", "b.t"), b'{"a": 2.1}'),
            ("json", ("c[].a", "c[].b"), b'{"c": []}'),
        ],
    )
    def test_message_that_fits_no_probe_of_its_topic_counts_once(
        self, layout: str, fields: tuple[str | None, str | None], payload: bytes
    ) -> None:
        """Nobody can tell whose it was: one message, one row, and no value to doubt."""
        product = ProbeId("case-1-product")
        first, second = ({} if name is None else {"value": name} for name in fields)
        one = receiver(
            probe(format=layout, fields=first), probe(id=product, format=layout, fields=second)
        )
        received = one.receive(TOPIC, payload, ARRIVED_MS)

        assert refused(received)[0] is Reason.UNDECODABLE
        assert received.quarantined[0].probe is None
        assert received.unread == ((AIR, Unread.ABSENT), (product, Unread.ABSENT))

    def test_message_with_a_probes_mark_and_without_its_value_is_that_probes(self) -> None:
        """The mark says whose it is; what it lacks is to be looked at there."""
        mark = Mark(field="id", equals="a1"), Mark(field="id", equals="a2")
        product = ProbeId("case-1-product")
        one = receiver(probe(match=mark[0]), probe(id=product, match=mark[1]))
        received = one.receive(TOPIC, b'{"id": "a2", "rssi": -71}', ARRIVED_MS)

        assert refused(received)[0] is Reason.UNDECODABLE
        assert received.quarantined[0].probe == product

    def test_topic_of_odd_signs_can_be_stored(self) -> None:
        """A topic nobody can print is still kept in a form that can be."""
        (kept,) = receiver().receive("a\0\ud800\u202eb" + "x" * 9999, b"", ARRIVED_MS).quarantined

        assert kept.topic.startswith(r"a\x00\ud800\u202eb")
        assert len(kept.topic) < 300
        kept.topic.encode()

    def test_format_nobody_reads_is_refused_at_the_start(self) -> None:
        """A probe that could never be read is told before the night, not after it."""
        with pytest.raises(UnusableProbe, match='"runes"'):
            Receiver(shop(probe(format="runes")))


class TestTopics:
    @pytest.mark.parametrize(
        ("topic_filter", "topic"),
        [
            ("shop/+/air", "shop/case-1/air"),
            ("shop/#", "shop/case-1/air"),
            ("shop/#", "shop"),
            ("#", "shop/case-1/air"),
            ("+/+", "/x"),
            ("shop/fälle/luft", "shop/fälle/luft"),
        ],
    )
    def test_filter_that_matches_finds_its_probe(self, topic_filter: str, topic: str) -> None:
        """One configuration entry may follow a probe that changes its topic."""
        received = receiver(topic=topic_filter).receive(topic, b'{"t": 2.1}', ARRIVED_MS)

        assert accepted(received).probe == AIR

    @pytest.mark.parametrize(
        ("topic_filter", "topic"),
        [
            ("shop/+/air", "shop/a/b/air"),
            ("shop/+", "shop"),
            ("#", "$SYS/broker/uptime"),
            ("shop/air", "shop/air/"),
            ("shop/air", "Shop/air"),
        ],
    )
    def test_filter_that_does_not_match_finds_nobody(self, topic_filter: str, topic: str) -> None:
        """And nobody else's messages are taken for its own."""
        received = receiver(topic=topic_filter).receive(topic, b'{"t": 2.1}', ARRIVED_MS)

        assert refused(received)[0] is Reason.UNKNOWN_TOPIC

    def test_two_probes_on_one_filter_are_read_in_the_order_of_the_configuration(self) -> None:
        """One device, one message, an air and a product probe."""
        product = ProbeId("case-1-product")
        one = receiver(
            probe(topic="shop/+/all"),
            probe(id=product, topic="shop/case-1/all", fields={"value": "p"}),
        )
        received = one.receive("shop/case-1/all", b'{"t": 2.1, "p": 1.4}', ARRIVED_MS)

        assert [(r.probe, r.value) for r in received.readings] == [(AIR, 2.1), (product, 1.4)]


def test_topics_without_end_fill_no_memory() -> None:
    """Under a wide filter a stranger may invent topics for ever; what is remembered is bounded."""
    one = receiver(topic="shop/#")
    tally = QuarantineTally()

    def hear(first: int, last: int) -> int:
        for n in range(first, last):
            tally.add(one.receive(f"shop/{n}/{n}", b"no reading", ARRIVED_MS + n).quarantined)
        return tracemalloc.get_traced_memory()[0]

    tracemalloc.start()
    try:
        settled_bytes = hear(100_000, 100_000 + 3 * REMEMBERED_TOPICS)
        # As many as these would take above a megabyte if they were kept.
        assert hear(200_000, 200_000 + 2 * REMEMBERED_TOPICS) < settled_bytes + 300_000
    finally:
        tracemalloc.stop()
    assert (tally.count, len(tally.rows())) == (5 * REMEMBERED_TOPICS, MOST_KINDS + 1)
