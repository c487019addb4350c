import json
import tomllib
from dataclasses import replace

import cbor2
import pysparkplug
import pytest
from intake_shop import ARRIVED_MS

from rimewatch.config import load_shop
from rimewatch.intake.proposal import Place, places, propose, unit_lines
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.survey import MOST_TOPICS, Guess, Survey
from rimewatch.shop import Broker
from rimewatch.vocabulary import Kind, Measures, Scale

BROKER = Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch")


def heard(topic: str, *payloads: str | bytes, every_ms: int = 60_000) -> list[Guess]:
    survey = Survey()
    for place, payload in enumerate(payloads):
        data = payload.encode() if isinstance(payload, str) else payload
        survey.add(topic, data, ARRIVED_MS + place * every_ms)
    return survey.guesses()


class TestGuesses:
    @pytest.mark.parametrize(
        ("payload", "likeness"),
        [
            ("2.1", "a display case or walk-in"),
            ("-19.5", "a freezer"),
            ("-62", "an ultra-low freezer"),
            ("21.5", "a temperature, not cold"),
        ],
    )
    def test_bare_number_is_likened_by_its_cold(self, payload: str, likeness: str) -> None:
        """A person sees at once which topic is the freezer."""
        (guess,) = heard("shop/x/air", payload, payload)

        assert (guess.format, guess.likeness, guess.interval_s) == ("number", likeness, 60.0)

    def test_json_field_time_and_battery_are_found(self) -> None:
        """The likely field of each is proposed, also one deep inside."""
        payload = json.dumps(
            {"sensor": {"temp_c": 2.1, "rh": 80}, "ts": ARRIVED_MS, "battery": 88, "rssi": -60}
        )
        guess, humidity = heard("gw/a", payload)

        assert (guess.value, guess.time, guess.battery) == ("sensor.temp_c", "ts", "battery")
        assert (humidity.value, humidity.measures) == ("sensor.rh", "humidity")

    def test_door_is_told_from_a_temperature(self) -> None:
        """True and false are a contact's."""
        (guess,) = heard("shop/case-1/door", '{"open": true}', '{"open": false}')

        assert (guess.measures, guess.likeness) == ("door", "a door contact")

    @pytest.mark.parametrize(
        ("name", "value", "scale"),
        [("t", 38.1, "F"), ("t", 2.1, "C"), ("t", 275.4, "K"), ("temp_f", 20.0, "F")],
    )
    def test_scale_is_guessed_by_name_or_range(self, name: str, value: float, scale: str) -> None:
        """Nothing kept cold is at 38 °C."""
        (guess,) = heard("shop/case-1/air", json.dumps({name: value}))

        assert guess.scale == scale

    @pytest.mark.parametrize(
        ("payloads", "span"),
        [
            (['{"t": 2.1}'], "2.1 °C"),
            (['{"t": 35.1}', '{"t": 36.4}'], "35.1 to 36.4 °F"),
            (['{"t": 274.2}'], "274.2 K"),
            (['{"humidity": 71}', '{"humidity": 84}'], "71 to 84 %"),
            (['{"door": true}'], ""),
        ],
    )
    def test_range_is_told_with_the_unit_it_has(self, payloads: list[str], span: str) -> None:
        """Somebody looks at it to tell the freezer from the case, and a humidity from both."""
        (guess,) = heard("shop/case-1/sensor", *payloads)

        assert guess.span == span

    def test_devices_on_one_topic_are_told_apart(self) -> None:
        """A gateway's topic holds several probes, each with its mark."""
        rows = [json.dumps({"id": i, "t": t}) for i, t in [("a1", 2.0), ("b2", -19.0)] * 3]

        assert [(g.match, g.likeness) for g in heard("gw/air", *rows)] == [
            (("id", "a1"), "a display case or walk-in"),
            (("id", "b2"), "a freezer"),
        ]

    @pytest.mark.parametrize(
        ("payload", "value", "time"),
        [
            (
                '{"readings": [{"t": 2.1, "ts": %d}, {"t": 2.3, "ts": %d}]}',
                "readings[].t",
                "readings[].ts",
            ),
            ('{"readings": [{"t": 2.1, "ts": %d}]}', "readings[].t", "readings[].ts"),
            ('[{"temp": 2.1, "at": %d}, {"temp": 2.3, "at": %d}]', "[].temp", "[].at"),
            ('{"temp": [2.1, 2.3], "time": [%d, %d]}', "temp[]", "time[]"),
            ('{"a.b": {"log": [{"t": 2.1, "ts": %d}]}}', '"a.b".log[].t', '"a.b".log[].ts'),
        ],
    )
    def test_list_of_readings_is_proposed_whole(self, payload: str, value: str, time: str) -> None:
        """None of a backlog is lost: each reading is taken, at its own time."""
        times = [ARRIVED_MS, ARRIVED_MS + 60_000][: payload.count("%d")]
        (guess,) = heard("shop/case-1/air", payload % tuple(times))

        assert (guess.value, guess.time, guess.asks) == (value, time, ())

    @pytest.mark.parametrize(
        "payload",
        [
            '{"ts": 1772438400000, "sensors": [{"t": 2.1}, {"t": -19.0}]}',
            '{"sensors": [{"t": 2.1, "ts": 1772438400}, {"t": -19.0, "ts": 1772438400}]}',
            (
                '{"sensors": [{"id": "a", "t": 2.1, "ts": 1772438400},'
                ' {"id": "b", "t": -19.0, "ts": 1772438460}]}'
            ),
            '{"sensors": [{"t": 2.1, "ts": 1772438400}, {"t": -19.0}]}',
        ],
    )
    def test_list_of_several_probes_is_never_read_as_one(self, payload: str) -> None:
        """A freezer's value is not the case's: each is a unit's own, by its mark or its place."""
        case, freezer = heard("gw/all", payload)
        found = places([case, freezer])

        assert (case.high, freezer.high) == (2.1, -19.0)
        assert [place.kind for place in found] == ["display-case", "freezer"]
        is_marked = "[?id==" in case.value
        assert is_marked is ('"id"' in payload)
        assert any("its order never change" in ask for ask in case.asks) is not is_marked

    def test_senml_is_found_as_cbor_too(self) -> None:
        """A pack names its unit; each record with one is proposed."""
        pack = cbor2.dumps([{-2: "case-1:", 0: "t", 1: "Cel", 2: 2.1}])
        (guess,) = heard("senml/1", pack)

        assert (guess.format, guess.value, guess.scale) == ("senml", "case-1:t", "C")

    @pytest.mark.parametrize("name", ["/", ":", "//"])
    def test_sparkplug_metric_whose_name_is_no_word_ends_nothing(self, name: str) -> None:
        """Found by fuzzing: one such metric ended the listening for every device."""
        metrics = tuple(
            pysparkplug.Metric(ARRIVED_MS, each, pysparkplug.DataType.FLOAT, -20.0, alias=number)
            for number, each in enumerate((name, "Temperature"))
        )
        birth = pysparkplug.DBirth(ARRIVED_MS, 1, metrics).encode(include_dtypes=True)

        guesses = heard("spBv1.0/fish/DBIRTH/node-1/freezer-1", birth)

        assert "Temperature" in {guess.value for guess in guesses}

    def test_sparkplug_birth_names_its_metrics(self) -> None:
        """A birth says it all: source, metric, value."""
        metric = pysparkplug.Metric(
            ARRIVED_MS, "Temperature", pysparkplug.DataType.FLOAT, -20.0, alias=3
        )
        birth = pysparkplug.DBirth(ARRIVED_MS, 1, (metric,)).encode(include_dtypes=True)
        (guess,) = heard("spBv1.0/fish/DBIRTH/node-1/freezer-1", birth)

        assert guess.topic == "spBv1.0/fish/+/node-1/freezer-1"
        assert (guess.format, guess.value, guess.kind) == ("sparkplug", "Temperature", "freezer")

    @pytest.mark.parametrize("payload", [b"\xff\xfe", b"", b"[[[[", b'{"a": "b"}', b"hello"])
    def test_stranger_is_unknown_and_nothing_is_raised(self, payload: bytes) -> None:
        """What is no probe is listed, and proposed by nobody."""
        guesses = heard("printer/status", payload)

        assert all(not guess.measures for guess in guesses)
        assert "probe" not in tomllib.loads(propose(guesses, BROKER))

    def test_million_topics_fill_no_memory(self) -> None:
        """Beyond a thousand topics, messages are only counted."""
        survey = Survey()
        for number in range(MOST_TOPICS + 500):
            survey.add(f"x/{number}", b"2.1", ARRIVED_MS)

        assert (len(survey.guesses()), survey.left_out) == (MOST_TOPICS, 500)


def test_proposal_is_a_configuration_that_reads_what_was_heard() -> None:
    """The file is accepted as it stands, and every reading it was made from is taken."""
    survey = Survey()
    said = [
        ("shop/case-1/air", b'{"t": 38.2, "ts": %d, "bat": 91}' % ARRIVED_MS),
        ("shop/case-1/door", b'{"open": false}'),
        ("shop/freezer-1/air", b"-19.4"),
        ("gw/air", b'{"id": "a1", "t": 2.5}'),
        ("gw/air", b'{"id": "b2", "t": -61.0}'),
        ("gw/air", b'{"id": "a1", "t": 2.6}'),
        (
            "shop/log/air",
            b'{"readings": [{"t": 2.1, "ts": %d}, {"t": 2.4, "ts": %d}]}'
            % (ARRIVED_MS - 60_000, ARRIVED_MS),
        ),
        ('odd "name"/\u00e9tage/air', b'{"te mp": 1, "temperature": 3.5}'),
    ]
    for place, (topic, payload) in enumerate(said):
        survey.add(topic, payload, ARRIVED_MS + place * 1000)
    text = propose(survey.guesses(), BROKER, timezone="America/Chicago")

    shop = load_shop(text)

    receiver = Receiver(shop)
    for topic, payload in said:
        received = receiver.receive(topic, payload, ARRIVED_MS)
        expected = 2 if topic == "shop/log/air" else 1
        assert len(received.readings) == expected, (topic, received, text)
        assert not received.quarantined
    assert {unit.kind for unit in shop.units} == {
        Kind.DISPLAY_CASE,
        Kind.FREEZER,
        Kind.ULTRA_LOW_FREEZER,
    }
    case = next(p for p in shop.probes if p.topic == "shop/case-1/air")
    assert (case.scale, case.fields["battery"]) == (Scale.FAHRENHEIT, "bat")
    door = next(p for p in shop.probes if p.measures is Measures.DOOR)
    assert door.unit == case.unit


def test_thermometer_said_to_sit_in_the_fish_keeps_its_interval() -> None:
    """The interval that was heard is expected of it, whatever it turns out to measure."""
    (guess,) = heard("shop/case-1/core", "2.1", "2.1", every_ms=300_000)
    place = Place(
        id="case-1", name="Case", kind="display-case", probes=(replace(guess, measures="product"),)
    )

    assert "every_s = 300" in unit_lines([place])


@pytest.mark.parametrize(("every_s", "waits"), [(5, True), (30, True), (60, False), (300, False)])
def test_busy_probe_is_not_called_silent_at_a_pause_of_the_network(
    every_s: int, *, waits: bool
) -> None:
    """Three intervals of 5 s would ring at each hiccup, and take a freezing hold's hours."""
    (guess,) = heard("shop/freezer-1/air", "-25", "-25", every_ms=every_s * 1000)
    place = Place(id="freezer-1", name="Freezer", kind="freezer", probes=(guess,))

    lines = unit_lines([place])

    assert f"every_s = {every_s}" in lines
    assert any(line.startswith("stale_s = 180 ") for line in lines) is waits
