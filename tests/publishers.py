"""Publishers of many kinds: what each sends, and what it says of which unit.

Payload shapes are of the kinds that thermometers, bridges and gateways send (common practice, no
source); SenML, CBOR and Sparkplug are made by the libraries of others. All names are invented.
"""

import json
from dataclasses import dataclass
from typing import Any, Final

import cbor2
import kpn_senml
import pysparkplug as sp

AT_MS: Final = 1_772_438_400_000
"""2026-03-02T08:00:00Z."""
AT_S: Final = AT_MS // 1000

Said = tuple[str, str, float]
"""Unit, by any name; what is measured; °C, percent, or 1 for open."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Publisher:
    """What is sent, and what a person who knows the devices reads in it."""

    kind: str
    sends: tuple[tuple[str, bytes], ...]
    says: frozenset[Said]
    is_doubtful: bool = False
    """Whether nobody could tell by listening alone, so that a question is what is right."""


def _one(
    kind: str, sends: dict[str, Any] | list[tuple[str, Any]], *says: Said, is_doubtful: bool = False
) -> Publisher:
    pairs = list(sends.items()) if isinstance(sends, dict) else sends
    return Publisher(
        kind=kind,
        sends=tuple((topic, _bytes(payload)) for topic, payload in pairs),
        says=frozenset(says),
        is_doubtful=is_doubtful,
    )


def _bytes(payload: object) -> bytes:
    if isinstance(payload, bytes):
        return payload
    return (payload if isinstance(payload, str) else json.dumps(payload)).encode()


def _senml(base: str, *records: tuple[str, str, float], is_cbor: bool = False) -> bytes:
    pack = kpn_senml.SenmlPack(base)
    for name, unit, value in records:
        pack.add(kpn_senml.SenmlRecord(name, unit=unit, value=value))
    said = pack.to_cbor() if is_cbor else pack.to_json()
    return said if isinstance(said, bytes) else said.encode()


def metric(name: str | None, value: Any, **more: Any) -> Any:
    """Return a metric of the client library: a float, or a boolean."""
    kind = sp.DataType.BOOLEAN if isinstance(value, bool) else sp.DataType.FLOAT
    return sp.Metric(AT_MS, name, kind, value, **more)


def _birth(*metrics: Any) -> bytes:
    made: bytes = sp.DBirth(AT_MS, 1, metrics).encode(include_dtypes=True)
    return made


def _node_birth() -> bytes:
    count = sp.Metric(AT_MS, "bdSeq", sp.DataType.INT64, 3)
    made: bytes = sp.NBirth(AT_MS, 0, (count,)).encode(include_dtypes=True)
    return made


def _data(*metrics: Any, typed: bool = False) -> bytes:
    made: bytes = sp.DData(AT_MS, 2, metrics).encode(include_dtypes=typed)
    return made


PUBLISHERS: Final = (
    _one(
        "bare numbers, a topic each",
        {"shop/case-1/air": "2.1", "shop/freezer-1/air": "-19.4"},
        ("case", "air", 2.1),
        ("freezer", "air", -19.4),
    ),
    _one(
        "a small object a probe",
        {"shop/case-1/air": {"t": 2.1, "ts": AT_MS, "bat": 91}, "shop/case-1/door": {"open": True}},
        ("case", "air", 2.1),
        ("case", "door", 1.0),
    ),
    _one(
        "a bridge with one object a device, named by the last level",
        {
            "BRIDGE/Sushi case": {
                "temperature": 2.1,
                "humidity": 80,
                "battery": 88,
                "linkquality": 120,
                "voltage": 2995,
            },
            "BRIDGE/Chest freezer": {
                "temperature": -21.0,
                "humidity": 60,
                "battery": 71,
                "linkquality": 97,
                "voltage": 2870,
            },
            "BRIDGE/bridge/state": {"state": "online"},
        },
        ("case", "air", 2.1),
        ("case", "humidity", 80.0),
        ("freezer", "air", -21.0),
        ("freezer", "humidity", 60.0),
    ),
    _one(
        "a bridge's contact beside its thermometers",
        {
            "BRIDGE/Sushi case": {"temperature": 2.1, "battery": 88, "linkquality": 120},
            "BRIDGE/Walk-in door": {"contact": False, "battery": 97, "linkquality": 90},
        },
        ("case", "air", 2.1),
        ("walk-in", "door", 1.0),
        is_doubtful=True,
    ),
    _one(
        "components under a status level, two devices",
        {
            "device-4f/status/temperature:0": {"id": 0, "tC": 2.1, "tF": 35.78},
            "device-4f/status/devicepower:0": {"id": 0, "battery": {"V": 5.4, "percent": 88}},
            "device-9a/status/temperature:0": {"id": 0, "tC": -21.0, "tF": -5.8},
            "device-9a/status/devicepower:0": {"id": 0, "battery": {"V": 5.2, "percent": 71}},
        },
        ("case", "air", 2.1),
        ("freezer", "air", -21.0),
    ),
    _one(
        "two compartments in one message",
        {"kitchen/logger": {"fridge": {"temp": 2.0}, "freezer": {"temp": -20.0}}},
        ("fridge", "air", 2.0),
        ("freezer", "air", -20.0),
    ),
    _one(
        "numbered channels in one message",
        {"logger/7": {"temp1": 2.0, "temp2": -20.0, "uptime": 4211}},
        ("one", "air", 2.0),
        ("two", "air", -20.0),
    ),
    _one(
        "keyed sensors in one message, unit beside",
        {
            "tele/fishroom/SENSOR": {
                "Time": "2026-03-02T02:00:00",
                "probe-1": {"Id": "0316A2", "Temperature": 2.1},
                "probe-2": {"Id": "0317B4", "Temperature": -20.5},
                "TempUnit": "C",
            }
        },
        ("one", "air", 2.1),
        ("two", "air", -20.5),
    ),
    _one(
        "addresses as keys",
        {"onewire/shop": {"28-0316a279": 2.1, "28-0317b422": -20.4}},
        ("one", "air", 2.1),
        ("two", "air", -20.4),
    ),
    _one(
        "a list of several named sensors",
        {"gw/all": {"ts": AT_S, "sensors": [{"id": "a1", "t": 2.1}, {"id": "b2", "t": -19.0}]}},
        ("one", "air", 2.1),
        ("two", "air", -19.0),
    ),
    _one(
        "a radio gateway's list, by address",
        {
            "gateway/ble": [
                {"mac": "C0FFEE0001", "temperature": 2.4, "battery": 2.98, "rssi": -71},
                {"mac": "C0FFEE0002", "temperature": -19.5, "battery": 2.71, "rssi": -80},
            ]
        },
        ("one", "air", 2.4),
        ("two", "air", -19.5),
    ),
    _one(
        "a bare list",
        {"logger/channels": [2.1, -20.5]},
        ("one", "air", 2.1),
        ("two", "air", -20.5),
        is_doubtful=True,
    ),
    _one(
        "degrees Fahrenheit by the name", {"shop/freezer-1": {"tempF": -4.0}}, ("f", "air", -20.0)
    ),
    _one(
        "degrees Fahrenheit by a unit beside it",
        {"shop/freezer-1/air": {"temperature": 0, "unit": "F"}},
        ("freezer", "air", -17.778),
    ),
    _one(
        "values with units, nested",
        {
            "node/case-1": {
                "temperature": {"value": 2.1, "unit": "°C"},
                "humidity": {"value": 80, "unit": "%"},
            }
        },
        ("case", "air", 2.1),
        ("case", "humidity", 80.0),
    ),
    _one("degrees Fahrenheit, bare", {"shop/case-1/air": "36.5"}, ("case", "air", 2.5)),
    _one("kelvin", {"shop/case-1/air": {"temperature": 275.35}}, ("case", "air", 2.2)),
    _one(
        "a contact that is true when shut, beside its temperature",
        {"shop/case-1": {"temperature": 2.0, "contact": True}},
        ("case", "air", 2.0),
        ("case", "door", 0.0),
    ),
    _one(
        "a contact's words",
        {"shop/case-1/door": "CLOSED", "shop/case-1/air": "2.2"},
        ("case", "door", 0.0),
        ("case", "air", 2.2),
    ),
    _one(
        "a door's number in the object",
        {"shop/case-1": {"t": 2.2, "door": 0}},
        ("case", "air", 2.2),
        ("case", "door", 0.0),
    ),
    _one(
        "bare battery and signal beside the temperature",
        [
            ("shop/freezer-2/battery", "2.98"),
            ("shop/freezer-2/rssi", "-61"),
            ("shop/freezer-2/uptime", "12"),
            ("shop/freezer-2/air", "-20.5"),
        ],
        ("freezer", "air", -20.5),
    ),
    _one(
        "a property a topic, below the device and its node",
        [
            ("fish/dev-1/$state", "ready"),
            ("fish/dev-1/thermometer/temperature", "2.4"),
            ("fish/dev-1/thermometer/$name", "Thermometer"),
            ("fish/dev-1/power/voltage", "3.01"),
            ("fish/dev-2/thermometer/temperature", "-22.0"),
            ("fish/dev-2/power/voltage", "2.93"),
        ],
        ("one", "air", 2.4),
        ("two", "air", -22.0),
    ),
    _one(
        "the quantity before the place",
        {
            "sensors/temperature/fridge": "2.4",
            "sensors/temperature/freezer": "-20.1",
            "sensors/humidity/fridge": "81",
        },
        ("fridge", "air", 2.4),
        ("freezer", "air", -20.1),
        ("fridge", "humidity", 81.0),
    ),
    _one("numbers as text", {"shop/case-1/air": {"temp": "2.1", "bat": "88"}}, ("c", "air", 2.1)),
    _one("a decimal comma", {"shop/case-1/air": "2,4"}, ("case", "air", 2.4)),
    _one("a unit behind the number", {"shop/case-1/air": "2.4 °C"}, ("case", "air", 2.4)),
    _one(
        "a byte-order mark before, a NUL behind",
        {"shop/case-1/air": b'\xef\xbb\xbf{"t": 2.1}', "shop/freezer-1/air": b'{"t": -20.1}\x00'},
        ("case", "air", 2.1),
        ("freezer", "air", -20.1),
    ),
    _one(
        "a CBOR map",
        {"node/case-1/up": cbor2.dumps({"t": 2.1, "ts": AT_S, "bat": 3.01})},
        ("case", "air", 2.1),
    ),
    _one(
        "a CSV line",
        {"logger/case-1": "2026-03-02T08:00:00Z,2.1,80"},
        ("case", "air", 2.1),
        is_doubtful=True,
    ),
    _one(
        "lines of a logger with semicolons and decimal commas, two devices",
        {
            "logger/case-1": "17;2026-03-02 02:00:00;2,4;3,02",
            "logger/freezer-1": "18;2026-03-02 02:00:00;-20,5;2,98",
        },
        ("case", "air", 2.4),
        ("freezer", "air", -20.5),
        is_doubtful=True,
    ),
    _one(
        "whole degrees and percent, a comma between",
        {"logger/case-1": "2,80"},
        ("case", "air", 2.0),
        is_doubtful=True,
    ),
    _one(
        "a CBOR map with a key twice",
        {"node/case-1/up": b"\xa2\x61t\x02\x61t\x33"},
        ("case", "air", 2.0),
        is_doubtful=True,
    ),
    _one(
        "degrees in the code page of an older device",
        {"shop/case-1/air": "2,4 °C".encode("latin-1")},
        ("case", "air", 2.4),
    ),
    _one(
        "a minus sign and an ordinal's sign as people type them",
        {"shop/freezer-1/air": {"temperature": "\u221220.5 \u00baC"}},
        ("freezer", "air", -20.5),
    ),
    _one(
        "SenML",
        {"senml/case-1": _senml("case-1:", ("temp", "Cel", 2.1), ("rh", "%RH", 80.0))},
        ("case", "air", 2.1),
        ("case", "humidity", 80.0),
    ),
    _one(
        "SenML in CBOR, two units",
        {
            "senml/all": _senml(
                "", ("case-1/t", "Cel", 2.1), ("frz-1/t", "Cel", -20.0), is_cbor=True
            )
        },
        ("one", "air", 2.1),
        ("two", "air", -20.0),
    ),
    _one(
        "a Sparkplug node that is born",
        {
            "spBv1.0/fish/NBIRTH/node-1": _node_birth(),
            "spBv1.0/fish/DBIRTH/node-1/freezer-1": _birth(
                metric("Temperature", -20.0, alias=3), metric("Battery", 88.0, alias=4)
            ),
            "spBv1.0/fish/DBIRTH/node-1/case-1": _birth(
                metric("Sensors/Air temperature", 2.5, alias=5), metric("Door/Open", False, alias=6)
            ),
        },
        ("freezer", "air", -20.0),
        ("case", "air", 2.5),
        ("case", "door", 0.0),
    ),
    _one(
        "a running Sparkplug node, names and types in its data",
        {"spBv1.0/fish/DDATA/node-1/freezer-1": _data(metric("Temperature", -20.0), typed=True)},
        ("freezer", "air", -20.0),
    ),
    _one(
        "a running Sparkplug node, aliases alone",
        {"spBv1.0/fish/DDATA/node-1/freezer-1": _data(metric(None, -20.0, alias=3))},
        ("freezer", "air", -20.0),
        is_doubtful=True,
    ),
    _one(
        "a long-range network server's uplink",
        {
            f"application/7/device/{eui}/event/up": {
                "deviceInfo": {"deviceName": name, "devEui": eui},
                "time": "2026-03-02T08:00:00+00:00",
                "fCnt": 122,
                "object": {"temperature": celsius, "humidity": 81, "battery": 3.04},
                "rxInfo": [{"gatewayId": "ab12", "rssi": -104, "snr": 6.5, "temperature": 31}],
            }
            for eui, name, celsius in (("a84041", "case", 2.1), ("a84042", "freezer", -19.0))
        },
        ("one", "air", 2.1),
        ("one", "humidity", 81.0),
        ("two", "air", -19.0),
        ("two", "humidity", 81.0),
    ),
    _one(
        "type and value",
        {
            "node/case-1/1": {"type": "temperature", "value": 2.1},
            "node/case-1/2": {"type": "humidity", "value": 80},
            "node/case-1/3": {"type": "battery", "value": 3.02},
        },
        ("case", "air", 2.1),
        ("case", "humidity", 80.0),
    ),
    _one(
        "quantities in turn on one topic",
        [
            ("node/case-1", {"name": "temperature", "value": 2.1}),
            ("node/case-1", {"name": "humidity", "value": 80}),
            ("node/case-1", {"name": "voltage", "value": 2.9}),
        ],
        ("case", "air", 2.1),
        ("case", "humidity", 80.0),
    ),
    _one(
        "several devices on one topic, by their mark",
        [("gw/air", {"id": i, "t": t}) for i, t in (("a1", 2.0), ("b2", -19.0)) * 3],
        ("one", "air", 2.0),
        ("two", "air", -19.0),
    ),
    _one(
        "a backlog of one probe",
        {"shop/case-1/log": {"readings": [{"t": 2.1, "ts": AT_S - 60}, {"t": 2.3, "ts": AT_S}]}},
        ("case", "air", 2.1),
        ("case", "air", 2.3),
    ),
    _one(
        "a controller with its set point",
        {"ctl/case-1": {"setpoint": 2.0, "temp_min": 1.0, "temp_max": 5.0, "temperature": 2.4}},
        ("case", "air", 2.4),
    ),
    _one(
        "a device that tells its own chip's temperature",
        {"node/freezer-1": {"device_temperature": 24.0, "temperature": -21.0, "linkquality": 90}},
        ("freezer", "air", -21.0),
    ),
    _one(
        "air and core in one object",
        {"node/case-1": {"air": 2.4, "core": 1.9}},
        ("case", "air", 2.4),
        ("case", "product", 1.9),
    ),
    _one(
        "a leak beside the temperature",
        {"node/case-1": {"temperature": 2.4, "water_leak": False, "battery": 100}},
        ("case", "air", 2.4),
        ("case", "water", 0.0),
    ),
    _one(
        "a time without a zone",
        {"shop/case-1/air": {"temp": 2.0, "time": "2026-03-02 02:00:00"}},
        ("case", "air", 2.0),
    ),
    _one(
        "measurement, tags and fields",
        {
            "metrics/case-1": {
                "measurement": "temperature",
                "tags": {"place": "case-1"},
                "fields": {"value": 2.1},
                "timestamp": AT_S,
            }
        },
        ("case", "air", 2.1),
    ),
    _one(
        "tenths of a degree",
        {"shop/freezer-1/air": {"temperature": -205}},
        ("freezer", "air", -20.5),
        is_doubtful=True,
    ),
    _one(
        "the ohms of a Pt100",
        {"shop/freezer-1/air": "92.16"},
        ("f", "air", -20.0),
        is_doubtful=True,
    ),
    _one(
        "a device's state, and no thermometer",
        {"node/plug-1": {"uptime": 1234, "heap": 30000, "attempts": 3, "wifi": {"rssi": -61}}},
    ),
    _one(
        "an entity a topic, its state below",
        {
            "node/sensor/fridge_temperature/state": "2.4",
            "node/sensor/freezer_temperature/state": "-20.1",
            "node/sensor/wifi_signal/state": "-61",
            "node/sensor/uptime/state": "1234",
        },
        ("a", "air", 2.4),
        ("b", "air", -20.1),
    ),
    _one(
        "a network server with decoded payloads deep inside",
        {
            f"v3/app/devices/{d}/up": {
                "end_device_ids": {"device_id": d},
                "received_at": "2026-03-02T08:00:00Z",
                "uplink_message": {
                    "f_port": 2,
                    "f_cnt": 9,
                    "decoded_payload": {"temperature": t, "BatV": 3.04, "humidity": 80},
                    "rx_metadata": [{"rssi": -101, "snr": 6, "channel_rssi": -101}],
                    "settings": {"frequency": "868100000"},
                },
            }
            for d, t in (("case-1", 2.1), ("frz-1", -20.5))
        },
        ("a", "air", 2.1),
        ("a", "humidity", 80.0),
        ("b", "air", -20.5),
        ("b", "humidity", 80.0),
    ),
    _one(
        "a dew point beside",
        {
            "tele/case-1/SENSOR": {
                "Time": "2026-03-02T02:00:00",
                "S7021": {"Temperature": 2.1, "Humidity": 80, "DewPoint": -1.0},
                "TempUnit": "C",
            }
        },
        ("a", "air", 2.1),
        ("a", "humidity", 80.0),
    ),
    _one(
        "what is worked out of temperature and humidity",
        {
            "node/case-1": {
                "temperature": 2.1,
                "dew_point": -1.0,
                "heat_index": 1.5,
                "feels_like": 1.0,
                "wet_bulb": 0.5,
            }
        },
        ("a", "air", 2.1),
    ),
    _one(
        "one temperature in two scales",
        {"node/case-1": {"temp_f": 35.78, "temp_c": 2.1}},
        ("a", "air", 2.1),
    ),
    _one(
        "two sensors by a tag on one topic",
        [
            (
                "agent/pi",
                {
                    "fields": {"temp": t},
                    "name": "onewire",
                    "tags": {"host": "pi", "sensor": s},
                    "timestamp": AT_S,
                },
            )
            for s, t in (("case", 2.1), ("freezer", -20.0)) * 3
        ],
        ("a", "air", 2.1),
        ("b", "air", -20.0),
    ),
    _one(
        "quantities with numbers of channels",
        {"node/case-1": {"temperature_1": 2.1, "relative_humidity_2": 80}},
        ("a", "air", 2.1),
        ("a", "humidity", 80.0),
    ),
    _one(
        "a controller with its coil",
        {"ctl/case-1": {"cabinet_temp": 2.4, "evaporator_temp": -8.0, "setpoint": 2.0}},
        ("a", "air", 2.4),
    ),
    _one(
        "a controller with all of its machine",
        {
            "ctl/case-1": {
                "air_temp": 2.4,
                "evap_temp": -3.0,
                "condenser_temp": 38.0,
                "suction_temp": -6.0,
                "discharge_temp": 60.0,
            }
        },
        ("a", "air", 2.4),
    ),
    _one(
        "statistics without a quantity",
        {"log/case-1": {"min": 1.0, "max": 5.0, "avg": 2.4, "cur": 2.4}},
        ("a", "air", 2.4),
        is_doubtful=True,
    ),
    _one(
        "statistics of a temperature",
        {"log/case-1": {"temperature": {"min": 1.0, "max": 5.0, "avg": 2.3, "current": 2.4}}},
        ("a", "air", 2.4),
    ),
    _one(
        "a topic to set by",
        {"shop/case-1/temperature": "2.4", "shop/case-1/temperature/set": "2.0"},
        ("a", "air", 2.4),
    ),
    _one(
        "topics of what was set",
        {
            "shop/case-1/temperature": "2.4",
            "shop/case-1/target_temperature": "2.0",
            "shop/case-1/setpoint/temperature": "2.0",
        },
        ("a", "air", 2.4),
    ),
    _one(
        "alarm limits beside",
        {
            "node/case-1": {
                "temperature": 2.4,
                "temp_alarm_high": 5,
                "temp_alarm_low": 0,
                "hi_limit": 5,
                "lo_limit": -2,
            }
        },
        ("a", "air", 2.4),
    ),
    _one(
        "a computer's own temperature",
        {"pi/status": {"cpu_temp": 48.2, "temperature": 2.4}},
        ("a", "air", 2.4),
    ),
    _one("a warm room", {"room/kitchen": {"temperature": 21.5, "humidity": 45}}),
    _one(
        "the air outside",
        {
            "weather/outside": {"temperature": 4.0, "humidity": 90},
            "shop/case-1": {"temperature": 2.4},
        },
        ("a", "air", 2.4),
        is_doubtful=True,
    ),
    _one(
        "a calibration beside",
        {
            "node/case-1": {
                "temperature": 2.4,
                "temperature_calibration": 0.5,
                "temperature_offset": -0.3,
            }
        },
        ("a", "air", 2.4),
    ),
    _one(
        "the value before and its trend",
        {
            "node/case-1": {
                "temperature": 2.4,
                "last_temperature": 2.3,
                "temperature_delta": 0.1,
                "temperature_trend": -0.2,
            }
        },
        ("a", "air", 2.4),
    ),
    _one(
        "the raw count beside",
        {"node/case-1": {"temperature": 2.4, "temperature_raw": 538, "adc": 538}},
        ("a", "air", 2.4),
    ),
    _one(
        "a sink",
        {"node/sink": {"hot_water_temp": 3.0}, "node/case-1": {"temperature": 2.4}},
        ("a", "air", 2.4),
        is_doubtful=True,
    ),
    _one(
        "two letters with numbers",
        {"node/7": {"T1": 2.1, "T2": -20.0}},
        ("a", "air", 2.1),
        ("b", "air", -20.0),
    ),
    _one(
        "sensors by number, with a type each",
        {
            "node/7": {
                "sensors": {
                    "1": {"value": 2.1, "type": "temp"},
                    "2": {"value": -20.0, "type": "temp"},
                }
            }
        },
        ("a", "air", 2.1),
        ("b", "air", -20.0),
    ),
    _one(
        "a description of the sensor, kept",
        {
            "discovery/sensor/case/config": {
                "name": "Case",
                "state_topic": "shop/case-1/air",
                "unit_of_measurement": "°C",
                "min": -40,
                "max": 5,
                "temperature": {"min": -5, "max": 5},
            },
            "shop/case-1/air": "2.4",
        },
        ("a", "air", 2.4),
    ),
    _one(
        "pairs of name and value",
        {"log/7": [["case", 2.1], ["freezer", -20.0]]},
        ("a", "air", 2.1),
        ("b", "air", -20.0),
        is_doubtful=True,
    ),
    _one(
        "a list of names and values",
        {
            "log/7": {
                "values": [
                    {"name": "case", "value": 2.1, "unit": "C"},
                    {"name": "freezer", "value": -20.0, "unit": "C"},
                    {"name": "battery", "value": 3.0, "unit": "V"},
                ]
            }
        },
        ("a", "air", 2.1),
        ("b", "air", -20.0),
    ),
    _one(
        "a tank with its freezing point",
        {"brine/tank": {"temperature": -12.0, "freezing_point": -21.0}},
        ("a", "air", -12.0),
    ),
    _one(
        "a controller's defrost",
        {"ctl/frz-1": {"temperature": -20.4, "defrost_temp": 8.0, "defrost_end_temp": 8.0}},
        ("a", "air", -20.4),
    ),
    _one(
        "air on both sides of the coil",
        {"ctl/case-1": {"supply_air": -2.0, "return_air": 2.4}},
        ("a", "air", 2.4),
        ("a", "air", -2.0),
    ),
    _one(
        "two devices on one topic, without a mark",
        [("shop/air", "2.1"), ("shop/air", "-20.5")],
        ("a", "air", 2.1),
        ("b", "air", -20.5),
        is_doubtful=True,
    ),
    _one(
        "two devices on one topic, without a mark, in JSON",
        [("shop/air", {"t": 2.1}), ("shop/air", {"t": -20.5})],
        ("a", "air", 2.1),
        ("b", "air", -20.5),
        is_doubtful=True,
    ),
    _one(
        "SenML with what was set and what the machine has",
        {
            "senml/case-1": _senml(
                "case-1:", ("temp", "Cel", 2.1), ("setpoint", "Cel", 2.0), ("evap", "Cel", -6.0)
            )
        },
        ("case", "air", 2.1),
    ),
    _one(
        "an average on a topic of its own",
        {"shop/case-1/air": "2.4", "shop/case-1/air/avg": "2.3"},
        ("case", "air", 2.4),
        is_doubtful=True,
    ),
    _one(
        "names in Spanish",
        {"tienda/vitrina": {"temperatura": 2.4, "humedad": 80, "bateria": 91}},
        ("case", "air", 2.4),
        ("case", "humidity", 80.0),
    ),
    _one(
        "names in German and French",
        {
            "laden/theke-1": {"Temperatur": 2.4, "Luftfeuchte": 80},
            "laden/theke-2": {"température": 3.1, "batterie": 91},
        },
        ("a", "air", 2.4),
        ("a", "humidity", 80.0),
        ("b", "air", 3.1),
    ),
    _one(
        "states of a case's machine beside its temperature",
        {"ctl/case-1": {"temperature": 2.4, "compressor": True, "fan": True, "defrost": False}},
        ("case", "air", 2.4),
    ),
    _one(
        "Sparkplug with set points in a folder",
        {
            "spBv1.0/fish/NBIRTH/node-1": _node_birth(),
            "spBv1.0/fish/DBIRTH/node-1/case-1": _birth(
                metric("Inputs/Air temperature", 2.4, alias=1),
                metric("Setpoints/Air temperature", 2.0, alias=2),
                metric("Alarms/High temperature", 5.0, alias=3),
            ),
        },
        ("case", "air", 2.4),
    ),
    _one(
        "a freezer at zero degrees Fahrenheit, with nothing that says so",
        {"shop/freezer-1/air": {"temp": 0}, "shop/case-1/air": {"temp": 35}},
        ("freezer", "air", -17.778),
        ("case", "air", 1.667),
        is_doubtful=True,
    ),
    _one(
        "a number too cold for a case and too warm for a freezer",
        {"shop/unit-7/air": "-4"},
        ("unit", "air", -20.0),
        is_doubtful=True,
    ),
    _one(
        "words of a contact in an object",
        {"shop/case-1": {"temp": 3.1, "door": "closed"}, "shop/case-2": {"temp": None}},
        ("case", "air", 3.1),
        ("case", "door", 0.0),
    ),
    _one(
        "a key and an equals sign",
        {"shop/case-1": "temp=3.1;hum=80"},
        ("a", "air", 3.1),
        is_doubtful=True,
    ),
    _one(
        "two lines of JSON",
        {"shop/case-1": '{"temp": 3.1}\n{"temp": 3.2}'},
        ("a", "air", 3.1),
        is_doubtful=True,
    ),
    _one(
        "CBOR with numbers for keys",
        {"shop/case-1": cbor2.dumps({1: 3.1, 2: 80})},
        ("a", "air", 3.1),
        is_doubtful=True,
    ),
    _one(
        "bytes of its own",
        {"shop/case-1": b"\x01\x67\x00\x1f"},
        ("a", "air", 3.1),
        is_doubtful=True,
    ),
    _one(
        "two devices on one topic, by the first of their columns",
        [("log", "case-1,2.1,80"), ("log", "frz-1,-20.1,60")],
        ("a", "air", 2.1),
        ("b", "air", -20.1),
        is_doubtful=True,
    ),
    _one(
        "a sensor without its probe, as one-wire drivers say it",
        {"shop/case-1/air": "-127", "shop/case-2/air": "3.1"},
        ("case", "air", 3.1),
    ),
)
