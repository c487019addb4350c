import math
import re
from typing import Any

import cbor2
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intake_shop import ARRIVED_MS, TOPIC, probe, receiver

from rimewatch.intake.decoders import TimeOrigin, Undecodable, UnusableProbe, make_decoder
from rimewatch.intake.decoders.cbor_keys import _Walk, twin_in
from rimewatch.vocabulary import Measures, ProbeId, TrueMeans


def value(payload: bytes, **changes: Any) -> float:
    """Decode a payload that holds one value."""
    (draft,) = make_decoder(probe(**changes))(payload, ARRIVED_MS)
    return draft.value


class TestNumber:
    @pytest.mark.parametrize(
        ("payload", "value", "scale"),
        [
            (b"2,4", 2.4, None),
            (b"-18,5", -18.5, None),
            ("2.4 \u00b0C".encode(), 2.4, "C"),
            ("36,1\u00b0F".encode(), 36.1, "F"),
            (b"275.2 K", 275.2, "K"),
            ("\u22122.4 \u00baC".encode(), -2.4, "C"),
            ("36.1 \u00b0 F".encode(), 36.1, "F"),
            (b"2.4 \xb0C", 2.4, "C"),
            (b"-20C", -20.0, "C"),
            (b"\xef\xbb\xbf2.1", 2.1, None),
            (b"2.1\x00", 2.1, None),
        ],
    )
    def test_number_as_devices_write_it_is_read_with_its_unit(
        self, payload: bytes, value: float, scale: str | None
    ) -> None:
        """A comma, a unit, a mark before and a NUL behind cost no reading."""
        (draft,) = make_decoder(probe(format="number", fields={}))(payload, ARRIVED_MS)

        assert (draft.value, draft.scale) == (value, scale)

    @pytest.mark.parametrize(
        ("payload", "expected"),
        [(b"2.1", 2.1), (b" -18\r\n", -18.0), (b"+3.", 3.0), (b".5", 0.5), (b"1e1", 10.0)],
    )
    def test_number_bare_text_is_read(self, payload: bytes, expected: object) -> None:
        """The simplest probes send nothing but a number."""
        assert value(payload, format="number") == expected

    @pytest.mark.parametrize(
        "payload",
        [
            *(b"", b"2,1,3", b"2.1 V", b"2.1 %", b"1_000", b"0x10", b"\xd9\xa2", b"true", b"two"),
            *(b"\xff", b"--1", b"1.234,5", b"2 . 1"),
        ],
    )
    def test_number_anything_else_is_refused(self, payload: bytes) -> None:
        """Another quantity's unit, thousands or another script are not guessed at."""
        with pytest.raises(Undecodable):
            value(payload, format="number")

    @pytest.mark.parametrize("payload", [b"nan", b"-inf", b"1e999", b"9" * 64 + b"e400"])
    def test_number_not_finite_is_handed_on_to_be_named(self, payload: bytes) -> None:
        """The receiver, not the decoder, says that a value is not finite."""
        assert not math.isfinite(value(payload, format="number"))


class TestContacts:
    @pytest.mark.parametrize("word", [b"1", b"true", b"OPEN", b"wet", b" on\n", b"1.0"])
    def test_contact_open_and_wet_are_one(self, word: bytes) -> None:
        """A door sensor says open in its own words."""
        assert value(word, format="number", measures=Measures.DOOR) == 1.0

    @pytest.mark.parametrize("word", [b"0", b"false", b"closed", b"dry", b"Off", b"0.0"])
    def test_contact_shut_and_dry_are_zero(self, word: bytes) -> None:
        """And shut likewise."""
        assert value(word, format="number", measures=Measures.WATER) == 0.0

    @pytest.mark.parametrize("text", [b"1", b"true", b'"open"', b"1.0"])
    def test_contact_in_json_takes_numbers_booleans_and_words(self, text: bytes) -> None:
        """In JSON a contact may be a number, a boolean or a word."""
        assert value(b'{"t": ' + text + b"}", measures=Measures.DOOR) == 1.0

    @pytest.mark.parametrize("text", [b"2", b'"ajar"', b"null", b"[]", b"NaN", b"0.5"])
    def test_contact_neither_open_nor_shut_is_refused(self, text: bytes) -> None:
        """Half open is nothing a rule can use."""
        with pytest.raises(Undecodable, match="expected 1, 0, true"):
            value(b'{"t": ' + text + b"}", measures=Measures.DOOR)


class TestJson:
    @pytest.mark.parametrize(
        ("payload", "sent", "scale"),
        [
            (b'{"t": "2.1"}', 2.1, None),
            (b'{"t": "2,1 \xc2\xb0F", "u": "C"}', 2.1, "F"),
            (b'{"t": 0, "u": "F"}', 0.0, "F"),
            (b'{"t": 0, "u": "\xc2\xb0C"}', 0.0, "C"),
            (b'\xef\xbb\xbf{"t": 2.1}\x00', 2.1, None),
            (cbor2.dumps({"t": 2.1, "u": "Fahrenheit"}), 2.1, "F"),
        ],
    )
    def test_unit_in_the_message_comes_with_the_value(
        self, payload: bytes, sent: float, scale: str | None
    ) -> None:
        """It holds for this message, whatever the configuration expects."""
        one = probe(fields={"value": "t", "unit": "u"})
        (draft,) = make_decoder(one)(payload, ARRIVED_MS)

        assert (draft.value, draft.scale) == (sent, scale)

    def test_unit_that_is_none_costs_the_reading_and_says_so(self) -> None:
        """Nobody knows what the value is then."""
        with pytest.raises(Undecodable, match="the unit at u is 'hPa'; expected C, F or K"):
            make_decoder(probe(fields={"value": "t", "unit": "u"}))(
                b'{"t": 2.1, "u": "hPa"}', ARRIVED_MS
            )

    @pytest.mark.parametrize(
        ("sent", "means", "kept"),
        [
            ("true", "shut", 0.0),
            ("0", "shut", 1.0),
            ('"on"', "shut", 0.0),
            ('"open"', "shut", 1.0),
            ("true", "open", 1.0),
            ("true", None, 1.0),
        ],
    )
    def test_contact_means_what_the_configuration_says(
        self, sent: str, means: str | None, kept: float
    ) -> None:
        """Many reed contacts say true when they touch; a word says itself what it means."""
        changes: dict[str, Any] = {
            "measures": Measures.DOOR,
            "true_means": None if means is None else TrueMeans(means),
        }
        for form, payload in (("json", f'{{"t": {sent}}}'), ("number", sent.strip('"'))):
            fields = {"value": "t"} if form == "json" else {}
            assert value(payload.encode(), format=form, fields=fields, **changes) == kept

    def test_json_value_time_and_battery_are_found_by_path(self) -> None:
        """The shop names where a probe keeps its things."""
        fields = {"value": "s.t", "time": "ts", "battery": "dev[0].bat"}
        payload = b'{"s": {"t": 2.1}, "ts": "2026-03-02T07:59:58Z", "dev": [{"bat": 87}]}'
        (draft,) = make_decoder(probe(fields=fields))(payload, ARRIVED_MS)

        assert draft == (2.1, ARRIVED_MS - 2000, 87.0, TimeOrigin.OWN, None)

    @pytest.mark.parametrize(
        ("payload", "what"),
        [
            (b'{"temp": 2.1}', "there is nothing at the path t"),
            (b'{"t": null}', "there is nothing at the path t"),
            (b'{"t": true}', "the path t is True; expected a number"),
            (b'{"t": "two"}', "the path t is 'two'; expected a number"),
            (b'{"t": [2.1]}', "the path t is a list of 1; expected a number"),
            (b"[2.1]", "there is nothing at the path t"),
            (b'{"t": 2.1', "the payload is not JSON: EOF"),
            (b'{"t": 2.1} {"t": 9.0}', "the payload is not JSON: trailing characters"),
            (b'{"t": 2.1, "t": 9.0}', 'the key "t" stands twice'),
            (b'{"t": 2.1, "\\u0074": 9.0}', 'the key "t" stands twice'),
            (b"[" * 60_000, "the payload is not JSON: recursion limit"),
            (b'{"t": ' + b"9" * 5000 + b"}", "the payload is not JSON: number out of range"),
            (b"", "the payload is not JSON"),
            (b"\xff\xfe", "the payload is not JSON"),
        ],
    )
    def test_json_what_is_no_plain_number_is_refused(self, payload: bytes, what: str) -> None:
        """A value is never guessed: a switch is no temperature, a word no number."""
        with pytest.raises(Undecodable) as refused:
            value(payload)
        assert str(refused.value).startswith(what)

    def test_json_twins_elsewhere_do_not_matter(self) -> None:
        """A careless device is refused only where its value is in doubt."""
        assert value(b'{"x": 1, "x": 2, "s": {"t": 9.0}, "t": 2.1}') == 2.1

    @pytest.mark.parametrize("text", [b"NaN", b"Infinity", b"1e999", b"9" * 400, b"-1e999"])
    def test_json_not_finite_is_handed_on_to_be_named(self, text: bytes) -> None:
        """The receiver, not the decoder, says that a value is not finite."""
        assert not math.isfinite(value(b'{"t": ' + text + b"}"))

    @pytest.mark.parametrize("battery", [b"null", b'"low"', b"true", b"NaN", b"9" * 400, b"{}"])
    def test_json_strange_battery_costs_no_temperature(self, battery: bytes) -> None:
        """A reading counts, whatever its battery says."""
        (draft,) = make_decoder(probe())(b'{"t": 2.1, "bat": ' + battery + b"}", ARRIVED_MS)

        assert (draft.value, draft.battery) == (2.1, None)

    def test_json_expression_that_does_not_fit_the_payload_is_refused(self) -> None:
        """A path that sums up what is no list is the payload's fault, not ours."""
        with pytest.raises(Undecodable, match="does not fit the payload"):
            value(b'{"t": 3}', fields={"value": "sum(t)"})
        assert value(b'{"t": [1.5, 2]}', fields={"value": "sum(t)"}) == 3.5

    def test_json_rich_time_path_that_does_not_fit_leaves_the_value(self) -> None:
        """A time that cannot be found is an uncertain time, not a lost reading."""
        decode = make_decoder(probe(fields={"value": "t", "time": "max(ts)"}))
        (draft,) = decode(b'{"t": 2.1, "ts": 5}', ARRIVED_MS)

        assert (draft.value, draft.origin) == (2.1, TimeOrigin.UNREADABLE)


class TestUnusableProbes:
    @pytest.mark.parametrize(
        ("changes", "what"),
        [
            ({"format": "sparkplug"}, 'format is "sparkplug"; this version reads "number", "json"'),
            ({"fields": {}}, "fields.value is missing"),
            ({"fields": {"value": "a..b"}}, 'fields.value is "a..b"; expected a JMESPath'),
            ({"fields": {"value": "t", "time": "["}}, 'fields.time is "["; expected a JMESPath'),
        ],
    )
    def test_probe_nobody_can_read_is_refused_at_the_start(
        self, changes: dict[str, Any], what: str
    ) -> None:
        """A probe that could never be read is told at start-up, not by its silence."""
        with pytest.raises(UnusableProbe) as refused:
            make_decoder(probe(**changes))
        assert str(refused.value).startswith(f'probe "case-1-air": {what}')


class TestLines:
    """Values without names, each found by its column."""

    @pytest.mark.parametrize(
        ("payload", "fields", "expected"),
        [
            (b"2026-03-02T08:00:00Z,2.1,80", ("2 of 3", "1 of 3"), [(2.1, ARRIVED_MS)]),
            (b"2.1,80\r\n", ("1 of 2", ""), [(2.1, None)]),
            (b"2,4;81", ("1 of 2", ""), [(2.4, None)]),
            (b"case-1\t-20.5\t3.02\x00", ("2 of 3", ""), [(-20.5, None)]),
            (b'"fish, raw", "2.1 \xc2\xb0C"', ("2 of 2", ""), [(2.1, None)]),
            (
                b"time,temp\n1772438340,2.1\n1772438400,2.3\n",
                ("2 of 2", "1 of 2"),
                [(2.1, ARRIVED_MS - 60_000), (2.3, ARRIVED_MS)],
            ),
        ],
    )
    def test_line_is_read_by_its_column(
        self, payload: bytes, fields: tuple[str, str], expected: list[tuple[float, int | None]]
    ) -> None:
        """RFC 4180 for commas and quotes; semicolons and tabs are common practice."""
        value, time = fields
        drafts = make_decoder(probe(format="csv", fields={"value": value, "time": time}))(
            payload, ARRIVED_MS
        )

        assert [(draft.value, draft.observed_ms) for draft in drafts] == expected

    @pytest.mark.parametrize(
        ("payload", "why"),
        [
            (b"2.1,80,3.02", "has 3 columns; expected 2"),
            (b"2.1", "commas or semicolons between"),
            (b"2.1,80\n2.2,81", "2 lines; expected one"),
            (b",80", "there is nothing at column 1"),
            (b"warm,80", "column 1 is 'warm'"),
            (b"\xff\xfe,1", "is not text"),
            (b'"2.1,80', "cannot be taken apart"),
        ],
    )
    def test_line_of_another_shape_is_refused(self, payload: bytes, why: str) -> None:
        """A column more after an update would make a humidity a temperature."""
        decode = make_decoder(probe(format="csv", fields={"value": "1 of 2"}))
        with pytest.raises(Undecodable, match=re.escape(why)):
            decode(payload, ARRIVED_MS)

    def test_two_probes_read_two_columns_of_one_line(self) -> None:
        """Temperature and humidity of one logger, each with its own column."""
        both = receiver(
            probe(format="csv", fields={"value": "1 of 2"}),
            probe(
                id=ProbeId("case-1-humidity"),
                measures=Measures.HUMIDITY,
                format="csv",
                fields={"value": "2 of 2"},
            ),
        )
        taken = both.receive(TOPIC, b"2.1,80 %", ARRIVED_MS)

        assert [(one.probe, one.value) for one in taken.readings] == [
            ("case-1-air", 2.1),
            ("case-1-humidity", 80.0),
        ]
        assert len(both.receive(TOPIC, b"2.1,80,3.02", ARRIVED_MS).quarantined) == 1

    def test_time_without_a_zone_is_read_in_the_probe_s(self) -> None:
        """As in JSON."""
        decode = make_decoder(
            probe(
                format="csv",
                fields={"value": "2 of 2", "time": "1 of 2"},
                time_zone="America/Chicago",
            )
        )
        (draft,) = decode(b"2026-03-02 02:00:00;2.1", ARRIVED_MS)

        assert draft.observed_ms == ARRIVED_MS

    @pytest.mark.parametrize("fields", [{}, {"value": "2"}, {"value": "0 of 2"}])
    def test_probe_without_a_column_is_refused(self, fields: dict[str, str]) -> None:
        """Nothing is guessed at."""
        with pytest.raises(UnusableProbe, match="2 of 3"):
            make_decoder(probe(format="csv", fields=fields))


class TestTwins:
    """RFC 8949, 5.6: a map with one key twice is not valid; the library keeps the last."""

    @pytest.mark.parametrize("key", [b"\x61\xff", b"\x7f\x61\xff\xff", b"\x7f\x41t\xff", b"\x7f"])
    def test_key_that_is_no_text_is_no_twin(self, key: bytes) -> None:
        """Found by fuzzing: it ended the listening for every device."""
        assert twin_in(b"\xa2" + key + b"\x01" + key + b"\x02\x7f\xff", {"t"}) is None

    @pytest.mark.parametrize(
        "payload",
        [
            b"\xa2" + cbor2.dumps("t") + cbor2.dumps(2.1) + cbor2.dumps("t") + cbor2.dumps(-20.0),
            b"\xbf\x61t\x02\x78\x01t\x21\xff",
            b"\xa2\x61t\x02\x7f\x61t\xff\x21",
            b"\xd9\xd9\xf7\xa2\x61t\x02\x61t\x03",
        ],
    )
    def test_cbor_map_with_the_value_s_key_twice_is_refused(self, payload: bytes) -> None:
        """Nobody can tell which holds, however its lengths are written."""
        decode = make_decoder(probe(fields={"value": "t"}))
        with pytest.raises(Undecodable, match='"t" stands twice'):
            decode(payload, ARRIVED_MS)

    @pytest.mark.parametrize(
        "document",
        [
            {"t": 2.1, "inner": {"t": 9.0}},
            {"t": 2.1, "name": "t", "more": [{"t": 1}, {"t": 2}]},
            {"t": 2.1, "raw": b"tttt", "x": {1: "t", 2: "t"}},
        ],
    )
    def test_cbor_key_in_another_map_is_no_twin(self, document: object) -> None:
        """What stands elsewhere, or as a value, takes nothing away."""
        assert value(cbor2.dumps(document), fields={"value": "t"}) == 2.1

    @given(
        document=st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.binary(),
            lambda inner: (
                st.lists(inner, max_size=4)
                | st.dictionaries(st.text(max_size=3) | st.integers(), inner, max_size=4)
            ),
            max_leaves=20,
        ),
        is_canonical=st.booleans(),
    )
    def test_cbor_of_the_library_never_has_twins(
        self, document: object, is_canonical: bool
    ) -> None:
        """Whatever a library writes is walked over to its end."""
        payload = cbor2.dumps({"t": 2.1, "more": document}, canonical=is_canonical)

        assert twin_in(payload, {"t"}) is None
        walk = _Walk(payload, frozenset({"t"}))
        assert walk.over(0) == len(payload)
