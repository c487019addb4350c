"""Marks, lists, kelvin and ohms, zones, checks, two sources: what probes come up with."""

import json
import re
from typing import Any

import pytest
from intake_shop import ARRIVED_MS, TOPIC, probe, receiver, shop

from rimewatch.config import ConfigError, load_shop, warnings_of
from rimewatch.entries import CalibrationCheck
from rimewatch.intake.receiver import Receiver, subscription
from rimewatch.intake.two_sources import TwoSources
from rimewatch.readings import Reason
from rimewatch.science.rtd import ohms_from_celsius
from rimewatch.shop import Mark
from rimewatch.vocabulary import ProbeId, Scale

MINUTE_MS = 60_000


def take(one: Receiver, document: object, arrived_ms: int = ARRIVED_MS) -> Any:
    return one.receive(TOPIC, json.dumps(document).encode(), arrived_ms)


class TestMarks:
    def both(self) -> Receiver:
        fields = {"value": "t"}
        return Receiver(
            shop(
                probe(id=ProbeId("a"), fields=fields, match=Mark(field="id", equals="a1")),
                probe(id=ProbeId("b"), fields=fields, match=Mark(field="id", equals=2)),
            )
        )

    @pytest.mark.parametrize(("mark", "owner"), [("a1", "a"), (2, "b"), (2.0, "b")])
    def test_message_is_the_probe_s_whose_mark_it_bears(self, mark: object, owner: str) -> None:
        """Several probes on one topic, told apart by a field."""
        (reading,) = take(self.both(), {"id": mark, "t": 2.5}).readings

        assert reading.probe == owner

    @pytest.mark.parametrize("mark", ["a2", "2", True, None, ["a1"]])
    def test_message_of_nobody_s_mark_is_a_stranger_s(self, mark: object) -> None:
        """It is quarantined once, whatever probes share the topic."""
        (kept,) = take(self.both(), {"id": mark, "t": 2.5}).quarantined

        assert (kept.reason, kept.probe) == (Reason.UNKNOWN_TOPIC, None)


class TestLevels:
    def both(self, topic: str, level: int) -> Receiver:
        marks = {name: Mark(level=level, equals=name) for name in ("case-1", "case-2")}
        return Receiver(
            shop(
                *(
                    probe(id=ProbeId(name), topic=topic, fields={"value": "t"}, match=mark)
                    for name, mark in marks.items()
                )
            )
        )

    @pytest.mark.parametrize(
        ("topic", "level", "sent"),
        [
            ("shop/+/temperature", 2, "shop/{}/temperature"),
            ("shop/+/+/temperature", 3, "shop/back/{}/temperature"),
            ("shop/#", 2, "shop/{}/temperature"),
            ("shop/#", 2, "shop/{}"),
            ("shop/#", 3, "shop/back/{}/temperature/now"),
            ("+/temperature", 1, "{}/temperature"),
        ],
    )
    def test_message_is_the_probe_s_whom_the_topic_names(
        self, topic: str, level: int, sent: str
    ) -> None:
        """One filter, many probes: a level tells whose message it is."""
        both = self.both(topic, level)
        for name in ("case-2", "case-1"):
            (reading,) = both.receive(sent.format(name), b'{"t": 2.5}', ARRIVED_MS).readings
            assert reading.probe == name
        (kept,) = both.receive(sent.format("case-3"), b'{"t": 2.5}', ARRIVED_MS).quarantined
        assert (kept.reason, kept.probe) == (Reason.UNKNOWN_TOPIC, None)

    def test_whole_filter_is_subscribed_to_so_that_a_new_device_is_noticed(self) -> None:
        """What nobody has configured yet shows in quarantine."""
        one = probe(topic="shop/+/temperature", match=Mark(level=2, equals="case-1"))

        assert subscription(one) == "shop/+/temperature"


class TestLists:
    def one(self) -> Receiver:
        return receiver(fields={"value": "r[].t", "time": "r[].ts"})

    def test_list_gives_a_reading_for_each_with_its_own_time(self) -> None:
        """A probe that saves its battery sends ten minutes at once."""
        rows = [{"t": 2.0 + n, "ts": ARRIVED_MS - n * MINUTE_MS} for n in range(3)]
        found = take(self.one(), {"r": rows}).readings

        assert [(r.value, r.observed_ms) for r in found] == [
            (2.0 + n, ARRIVED_MS - n * MINUTE_MS) for n in range(3)
        ]

    def test_list_without_as_many_times_is_refused_whole(self) -> None:
        """Nobody can tell which value belongs to which time."""
        rows = [{"t": 2.0, "ts": ARRIVED_MS}, {"t": 3.0}]
        told = take(self.one(), {"r": rows})

        assert told.readings == ()
        assert [q.reason for q in told.quarantined] == [Reason.UNDECODABLE]

    def test_nothing_among_values_costs_that_one_alone(self) -> None:
        """One missing value leaves the others."""
        one = receiver(fields={"value": "t", "time": "ts"})
        told = take(one, {"t": [2.0, None], "ts": [ARRIVED_MS - MINUTE_MS, ARRIVED_MS]})

        assert [r.value for r in told.readings] == [2.0]
        assert [q.reason for q in told.quarantined] == [Reason.NOT_FINITE]


class TestScales:
    def test_kelvin_is_read_to_the_digit(self) -> None:
        """273.15 K is 0 °C, exactly."""
        (reading,) = take(receiver(scale=Scale.KELVIN), {"t": 278.15}).readings

        assert (reading.value, reading.raw) == (5.0, 278.15)

    @pytest.mark.parametrize("celsius", [-60.0, -38.0, -18.0, 0.0, 5.0])
    def test_ohms_of_a_pt100_are_its_temperature(self, celsius: float) -> None:
        """IEC 60751; 85 ohms is −38 °C, and no code for a fault."""
        ohms = round(ohms_from_celsius(celsius), 4)
        (reading,) = take(receiver(scale=Scale.OHM), {"t": ohms}).readings

        assert reading.value == pytest.approx(celsius, abs=0.002)

    @pytest.mark.parametrize("ohms", [0.0, 1e6, -3.0])
    def test_ohms_of_a_broken_lead_are_refused(self, ohms: float) -> None:
        """A short or a break is no temperature."""
        (kept,) = take(receiver(scale=Scale.OHM), {"t": ohms}).quarantined

        assert kept.reason is Reason.OUT_OF_RANGE


class TestZones:
    @pytest.mark.parametrize(
        ("zone", "said", "used"),
        [
            ("UTC", "2026-03-02T07:59:00", True),
            ("America/Chicago", "2026-03-02T01:59:00", True),
            ("", "2026-03-02T07:59:00", False),
        ],
    )
    def test_time_without_a_zone_is_used_where_the_zone_is_named(
        self, zone: str, said: str, used: bool
    ) -> None:
        """Nobody guesses; whoever knows the probe's clock says so."""
        one = receiver(time_zone=zone)
        (reading,) = take(one, {"t": 2.0, "ts": said}).readings

        assert reading.observed_ms == (ARRIVED_MS - MINUTE_MS if used else ARRIVED_MS)
        assert one.clock_note(ProbeId("case-1-air")).times_not_used == (0 if used else 1)


class TestChecks:
    def check(self, at_ms: int, offset_c: float | None, **more: Any) -> CalibrationCheck:
        return CalibrationCheck(
            at_ms=at_ms, probe=ProbeId("case-1-air"), found_c=0.4, offset_c=offset_c, **more
        )

    def test_offset_of_a_check_holds_for_readings_from_then_on(self) -> None:
        """Not for a late one that was taken before."""
        one = receiver(offset_c=0.1)
        one.enter(self.check(ARRIVED_MS, -0.4))
        late = take(one, {"t": 2.0, "ts": ARRIVED_MS - MINUTE_MS}).readings
        now = take(one, {"t": 2.0, "ts": ARRIVED_MS}).readings

        assert [r.value for r in (*late, *now)] == [2.1, 1.6]

    def test_offset_entered_afterwards_never_goes_back(self) -> None:
        """A check of this morning entered at noon corrects from noon on."""
        one = receiver()
        one.enter(self.check(ARRIVED_MS, -0.4, entered_ms=ARRIVED_MS + MINUTE_MS))
        told = [
            take(one, {"t": 2.0, "ts": ARRIVED_MS + n * MINUTE_MS}, ARRIVED_MS + 2 * MINUTE_MS)
            for n in (0, 1)
        ]

        assert [r.readings[0].value for r in told] == [2.0, 1.6]

    def test_check_without_an_offset_changes_nothing(self) -> None:
        """A probe found good is only noted."""
        one = receiver(offset_c=0.1)
        one.enter(self.check(ARRIVED_MS, None))

        assert take(one, {"t": 2.0, "ts": ARRIVED_MS}).readings[0].value == 2.1

    def test_offset_of_a_batch_that_was_undone_does_not_stay(self) -> None:
        """The entry was never kept: what is read from then on is corrected as before it."""
        one = receiver(offset_c=0.1)
        kept = self.check(ARRIVED_MS - 5 * MINUTE_MS, 0.2)
        one.enter(kept)
        one.enter(self.check(ARRIVED_MS, -0.4))

        one.begin_anew([kept])

        assert take(one, {"t": 2.0, "ts": ARRIVED_MS}).readings[0].value == 2.2


class TestTwoSources:
    def test_two_levels_in_turn_are_told_of_once_and_change_no_reading(self) -> None:
        """A stranger on a probe's topic: every value is kept, somebody hears of it."""
        one = receiver()
        told = [
            take(one, {"t": 2.0 if n % 2 else 9.0}, ARRIVED_MS + n * MINUTE_MS) for n in range(20)
        ]

        assert sum(len(r.readings) for r in told) == 20
        assert [n for n, r in enumerate(told) if r.notes] == [8]

    @pytest.mark.parametrize(
        "values",
        [
            [2.0 + 0.1 * (n % 2) for n in range(40)],
            [2.0, 2.1, 9.0, 11.0, 9.0, 6.0, 4.0, 3.0, 2.0] * 4,
            [-20.0 + n for n in range(40)],
        ],
    )
    def test_doors_defrosts_and_flicker_are_one_source(self, values: list[float]) -> None:
        """What air really does is no stranger."""
        watch = TwoSources()

        assert not any(watch.add(n * MINUTE_MS, value) for n, value in enumerate(values))


SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
{shop}
[[unit]]
id = "ulf-1"
name = "Ultra-low freezer"
kind = "freezer"
limit_c = -35.0
[[probe]]
id = "a"
unit = "ulf-1"
measures = "air"
topic = "{topic}"
{probe}
"""


class TestConfiguration:
    @pytest.mark.parametrize(
        ("keys", "expected"),
        [
            ('format = "sparkplug"', "expected spBv1.0/GROUP/+/NODE/DEVICE"),
            ('match = { field = "id", equals = "a" }', "expected no match.field but with format"),
            ('match = { level = 1, equals = "x" }', 'expected the place of a "+" in "shop/x"'),
            ('match = { level = 3, equals = "x" }', 'expected the place of a "+" in "shop/x"'),
            ('match = { level = 0, equals = "x" }', "expected a whole number from 1"),
            ("match = { level = 2, equals = 7 }", "expected one level of a topic"),
            ('match = { level = 2, equals = "a/b" }', "expected one level of a topic"),
            ('match = { level = 2, field = "id", equals = "x" }', "has both field and level"),
            ('match = { equals = "x" }', "has neither field nor level"),
            ('time_zone = "UTC"', "expected no time_zone but with format"),
            ('format = "csv"', "fields.value is missing; expected the column"),
            ('format = "csv"\nfields = { value = "2" }', 'such as "2 of 3"'),
            ('format = "csv"\nfields = { value = "4 of 3" }', 'such as "2 of 3"'),
            (
                'format = "csv"\nfields = { value = "2 of 3", time = "1 of 4" }',
                "expected as many columns as elsewhere in fields, 4",
            ),
            ('scale = "R"', 'expected one of "C", "F", "K", "ohm"'),
            ('true_means = "shut"', 'only where measures is "door" or "water"'),
            ('true_means = "left"', 'expected one of "open", "shut", "wet", "dry"'),
            ('format = "senml"\nfields = { unit = "u" }', "expected no path to a unit but with"),
            ('format = "json"\nmatch = { feld = "id", equals = 1 }', "did you mean field"),
            ('format = "json"\nmatch = { field = "a..", equals = 1 }', "expected a JMESPath"),
        ],
    )
    def test_mistake_is_named_with_its_cure(self, keys: str, expected: str) -> None:
        """Each key says what would be right."""
        with pytest.raises(ConfigError, match=re.escape(expected)):
            load_shop(SHOP.format(shop="", topic="shop/x", probe=keys))

    def test_door_is_not_wet(self) -> None:
        """A word that means nothing for what is measured is refused."""
        text = SHOP.format(shop="", topic="shop/x", probe='true_means = "wet"')
        with pytest.raises(ConfigError, match='expected "open" or "shut" for a probe that'):
            load_shop(text.replace('measures = "air"', 'measures = "door"'))

    def test_shared_subscription_is_refused(self) -> None:
        """Each member of one hears a part of the readings; the rest would be silence."""
        with pytest.raises(ConfigError, match=r"topic is \"\$share/us/shop/x\""):
            load_shop(SHOP.format(shop="", topic="$share/us/shop/x", probe=""))

    def test_people_do_not_read_ohms(self) -> None:
        """Display is in °C or °F."""
        with pytest.raises(ConfigError, match='display is "ohm"; expected one of "C", "F"'):
            load_shop(SHOP.format(shop='display = "ohm"', topic="shop/x", probe=""))

    def test_ohms_with_too_small_an_uncertainty_are_worth_a_look(self) -> None:
        """Class B at −35 °C is ±0.475, class A ±0.22 and not for film (IEC 60751)."""
        shop = load_shop(SHOP.format(shop="", topic="shop/x", probe='scale = "ohm"'))
        (warning,) = [w for w in warnings_of(shop) if "ohms" in w]

        assert "0.475 °C" in warning
        assert "0.22 °C, which a film element may not claim there" in warning

    def test_probe_less_accurate_than_the_food_code_asks_is_worth_a_look(self) -> None:
        """4-203.12: ±1.5 °C for air."""
        shop = load_shop(SHOP.format(shop="", topic="shop/x", probe="uncertainty_c = 1.6"))

        assert any("4-203.12 asks for ±1.5 °C" in warning for warning in warnings_of(shop))


TWO = """
[[probe]]
id = "b"
unit = "ulf-1"
measures = "product"
topic = "{topic}"
{probe}
"""
CASE_1 = 'match = { level = 2, equals = "case-1" }'
CASE_2 = 'match = { level = 2, equals = "case-2" }'


class TestTwoProbesUnderOneFilter:
    def both(self, first: str, second: str, other: str = "shop/+/t") -> str:
        one = SHOP.format(shop="", topic="shop/+/t", probe=first)
        return one + TWO.format(topic=other, probe=second)

    @pytest.mark.parametrize(
        ("second", "other"), [(CASE_2, "shop/+/t"), ("", "shop/case-2/t"), (CASE_2, "shop/#")]
    )
    def test_probes_of_different_levels_are_told_apart(self, second: str, other: str) -> None:
        """Each message has one owner."""
        assert len(load_shop(self.both(CASE_1, second, other)).probes) == 2

    @pytest.mark.parametrize(
        ("second", "other"),
        [
            (CASE_1, "shop/+/t"),
            ("", "shop/+/t"),
            ("", "shop/case-1/t"),
            (CASE_1, "shop/#"),
            ('match = { level = 1, equals = "shop" }', "+/case-1/t"),
        ],
    )
    def test_message_that_two_probes_would_claim_is_refused(self, second: str, other: str) -> None:
        """Nobody could tell whose fish it speaks of."""
        with pytest.raises(ConfigError, match="expected a topic for each probe"):
            load_shop(self.both(CASE_1, second, other))
