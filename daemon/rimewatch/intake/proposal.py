"""Units and probes proposed from what was heard: a beginning that a person goes over.

Pure: no clock, no I/O. Holds no secret: a password is named by where it is kept.
"""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final
from zoneinfo import ZoneInfo

from rimewatch.config.keys import toml_text
from rimewatch.instants import iso_ms
from rimewatch.intake.devices_heard import Device, devices_of, names_of
from rimewatch.intake.heard_besides import besides, besides_lines
from rimewatch.intake.survey import TEMPERATURES, Guess, celsius_sent
from rimewatch.intake.topics import is_filter
from rimewatch.shop import Broker

_NOT_IN_IDS: Final = re.compile(r"[^A-Za-z0-9_-]+")

INTERVALS_S: Final = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)
"""Intervals that devices are set to; the next longer one is proposed. Common practice."""

CLOCK_FITS_MS: Final = 10 * 60 * 1000
"""A clock this near to the arrival tells its zone (our choice)."""

FAR_APART_C: Final = 10.0
"""Air in one unit is not that far from other air in it (our choice)."""

HEARD_ONCE_EVERY_S: Final = 600
"""Proposed for a thermometer heard once: nobody knows yet, and a question says so. Radio
thermometers on a battery send every ten minutes (common practice, no source)."""

BATTERY_LOW: Final = {"volts": 2.4, "millivolts": 2400}
"""A lithium cell of 3 V is near its end there. Common practice, no source."""

PERIODIC: Final = (*TEMPERATURES, "humidity")
"""What sends at an interval; a contact may speak only when it moves."""

PATIENCE_S: Final = 180
"""Proposed at least before a probe counts as silent: three of a minute's readings. Three of a
busy probe's would be a pause in the Wi-Fi, which would ring and take a freezing hold's hours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A cold unit as it seems to be, and the probes in it."""

    id: str
    """What its id is made of."""
    name: str
    kind: str
    """A kind of the configuration, such as ``freezer``."""
    probes: tuple[Guess, ...]


def places(guesses: Iterable[Guess]) -> list[Place]:
    """Return what looks like cold units, each with the probes in it; no source is in two.

    Air probes of one unit that are further apart than a unit's air may be are put into two.
    """
    usable = {(g.topic, g.value, g.match): g for g in guesses if is_usable(g)}.values()
    thermometers = [guess for guess in usable if guess.kind]
    devices = devices_of(usable, thermometers)
    by_device: dict[Device, list[Guess]] = {}
    for guess in usable:
        by_device.setdefault(devices[guess], []).append(guess)
    names = names_of([device for device, found in by_device.items() if any(g.kind for g in found)])
    places: list[Place] = []
    for device, found in by_device.items():
        if device not in names:
            continue
        probes = [guess for guess in found if guess.kind or guess.measures not in TEMPERATURES]
        places += _split(names[device], probes)
    return places


def _split(name: str, probes: list[Guess]) -> list[Place]:
    """Return a unit, or several where its thermometers cannot hang in one."""
    groups: list[list[Guess]] = []
    for probe in sorted((p for p in probes if p.kind), key=_middle_c):
        if not groups or _middle_c(probe) - _middle_c(groups[-1][0]) >= FAR_APART_C:
            groups.append([])
        groups[-1].append(probe)
    others = [probe for probe in probes if not probe.kind]
    if len(groups) == 1:
        kept = tuple(probes)
        return [Place(id=name, name=name, kind=groups[0][0].kind, probes=kept)]
    coldest, warmest = _middle_c(groups[0][0]), _middle_c(groups[-1][-1])
    ask = (
        f"thermometers of {name} are {warmest - coldest:.0f} K apart: they are put into a unit "
        "each. Is that so?"
    )
    found: list[Place] = []
    for number, group in enumerate(groups, start=1):
        asked = [replace(probe, asks=(*probe.asks, ask)) for probe in group]
        kept = (*asked, *(others if number == 1 else ()))
        own = f"{name} {number}"
        found.append(Place(id=own, name=own, kind=group[0].kind, probes=kept))
    return found


def _middle_c(probe: Guess) -> float:
    assert probe.low is not None, "a thermometer was heard"
    assert probe.high is not None, "a thermometer was heard"
    return celsius_sent((probe.low + probe.high) / 2, probe.scale)


def propose(
    guesses: Iterable[Guess], broker: Broker, *, password: str = "", timezone: str = "UTC"
) -> str:
    """Return a configuration as TOML, with the topics that look like cold units.

    Args:
        guesses: What was heard.
        broker: Where; its password is not written.
        password: Where the password is kept, such as ``env:NAME``; empty: none is needed.
        timezone: The shop's zone.

    Returns:
        The file's text; without a single ``[[unit]]`` if nothing looks like one. What
        became no probe stands in it as a comment.
    """
    heard = list(guesses)
    found = places(heard)
    lines = [
        "# Proposed from what was heard on the broker. Go over every line: names, kinds, limits,",
        "# and which scale each probe sends. Local codes and the licensed authority come first;",
        "# the person in charge decides about the fish.",
        "",
        "[shop]",
        'name = "Your shop"',
        f"timezone = {toml_text(timezone)}    # such as America/Chicago",
        "",
        *broker_lines(broker, password),
        *unit_lines(found, timezone),
        *besides_lines(besides(heard, (probe for place in found for probe in place.probes))),
    ]
    return "\n".join(lines) + "\n"


def broker_lines(broker: Broker, password: str) -> list[str]:
    """Return the ``[broker]`` table; the password as the reference to where it is kept."""
    lines = ["[broker]", f"url = {toml_text(broker.url)}"]
    kept = {key: getattr(broker, key) for key in ("username", "ca_file", "cert_file", "key_file")}
    lines += [f"{key} = {toml_text(value)}" for key, value in kept.items() if value]
    if password:
        lines.append(f"password = {toml_text(password)}")
    return lines


def unit_lines(found: Iterable[Place], timezone: str = "UTC") -> list[str]:
    """Return a ``[[unit]]`` table for each place and a ``[[probe]]`` for each of its probes.

    Args:
        found: The places.
        timezone: The shop's zone, which a device's clock may stand on.
    """
    lines: list[str] = []
    taken: set[str] = set()
    for place in found:
        unit = _fresh(place.id, taken)
        lines += [
            "",
            "[[unit]]",
            f"id = {toml_text(unit)}",
            f"name = {toml_text(place.name)}",
            f"kind = {toml_text(place.kind)}",
        ]
        for guess in place.probes:
            lines += ["", *_probe(guess, unit, taken, timezone)]
    return lines


def by_hand(probe: Guess) -> str:
    """Return a payload that is a reading of about 2 °C, to send by hand; empty: not so simple.

    >>> by_hand(Guess(topic="t", messages=0, format="json", measures="air", value="a.t"))
    '{"a": {"t": 2.1}}'
    """
    keys = probe.value.split(".")
    plain = probe.format == "number" or all(key.isidentifier() for key in keys)
    if probe.measures not in TEMPERATURES or probe.match or not plain:
        return ""
    number = {"C": 2.1, "F": 35.8, "K": 275.2, "ohm": 100.8}[probe.scale]
    if probe.format == "number":
        return str(number)
    if probe.format != "json":
        return ""
    document: object = number
    for key in reversed(keys):
        document = {key: document}
    return json.dumps(document)


def _probe(guess: Guess, unit: str, taken: set[str], timezone: str) -> list[str]:
    lines = [
        "[[probe]]",
        f"id = {toml_text(_fresh(f'{unit}-{guess.measures}', taken))}",
        f"unit = {toml_text(unit)}",
        f"measures = {toml_text(guess.measures)}",
        f"topic = {toml_text(guess.topic)}",
        f"format = {toml_text(guess.format)}",
    ]
    zone = _zone(guess, timezone)
    if guess.format != "number":
        time = "" if guess.clock and not zone else guess.time
        fields = {
            "value": guess.value, "time": time, "battery": guess.battery, "unit": guess.unit_field,
        }  # fmt: skip
        given = ", ".join(f"{key} = {toml_text(path)}" for key, path in fields.items() if path)
        lines.append(f"fields = {{ {given} }}")
    if guess.match is not None:
        path, equals = guess.match
        lines.append(f"match = {{ field = {toml_text(path)}, equals = {toml_text(equals)} }}")
    if zone:
        lines.append(f"time_zone = {toml_text(zone)}")
    if guess.true_means:
        lines.append(f"true_means = {toml_text(guess.true_means)}    # by its name")
    if guess.scale != "C":
        lines.append(f"scale = {toml_text(guess.scale)}")
    if guess.battery_kind in BATTERY_LOW:
        low = BATTERY_LOW[guess.battery_kind]
        lines.append(f"battery_low = {low:g}    # it tells {guess.battery_kind}")
    if guess.measures in PERIODIC:
        every_s = _every_s(guess)
        lines.append(f"every_s = {every_s}")
        if 3 * every_s < PATIENCE_S:
            lines.append(f"stale_s = {PATIENCE_S}    # silent for so long, it counts as gone")
    lines += [f"# ASK: {ask}" for ask in questions_of(guess, zone)]
    return lines + _remarks(guess)


def _remarks(guess: Guess) -> list[str]:
    """Return what else was heard of a probe, as comments."""
    lines = []
    if guess.is_at_qos_0:
        lines.append("# it sends at QoS 0, which no broker keeps for us: set the device to QoS 1")
    if guess.likeness:
        heard = f"; heard {guess.span}" if guess.span else ""
        told = "" if guess.is_scale_told else " (nothing names its scale)"
        lines.append(f"# looks like {guess.likeness}{heard}{told}")
    return lines


def questions_of(guess: Guess, zone: str) -> list[str]:
    """Return what listening could not tell of a probe, as questions.

    Args:
        guess: What was heard.
        zone: The zone by which its time fits, if it names none; empty: none fits.
    """
    asks = list(guess.asks)
    if guess.clock is not None and zone:
        asks.append(f"its time names no zone; it fits {zone}. Is its clock set to that?")
    elif guess.clock is not None:
        asks.append(f"its time, {guess.time}, names no zone and fits none: left out. See time_zone")
    if guess.interval_s is None and guess.measures in PERIODIC:
        asks.append("it was heard once: how often does it send? Set every_s to that")
    return asks


def _every_s(guess: Guess) -> int:
    """Return the interval to propose: the one heard, up to the next that devices are set to."""
    if guess.interval_s is None:
        return HEARD_ONCE_EVERY_S
    longer = [s for s in INTERVALS_S if s >= 0.9 * guess.interval_s]
    return longer[0] if longer else round(guess.interval_s)


def _zone(guess: Guess, timezone: str) -> str:
    """Return the zone by which a time without one falls on its arrival; empty: none does."""
    if guess.clock is None:
        return ""
    text, arrived_ms = guess.clock
    for zone in (timezone, "UTC"):
        observed_ms = iso_ms(text, ZoneInfo(zone))
        if observed_ms is not None and abs(observed_ms - arrived_ms) <= CLOCK_FITS_MS:
            return zone
    return ""


def is_usable(guess: Guess) -> bool:
    """Whether a probe can be made of what was heard: it is known what it is, and how it is read."""
    paths = (guess.value, guess.time, guess.battery, guess.unit_field)
    texts = (guess.topic, *paths, guess.inner, str(guess.match))
    return bool(
        guess.measures
        and guess.likeness
        and is_filter(guess.topic)
        and guess.topic == guess.topic.strip()
        and all(text.isprintable() and max(text, default="") < "\ud800" for text in texts)
        and max(map(len, paths)) <= 200
    )


def _fresh(name: str, taken: set[str]) -> str:
    base = _NOT_IN_IDS.sub("-", name).strip("-")[:50] or "unit"
    found, count = base, 2
    while found in taken:
        found, count = f"{base}-{count}", count + 1
    taken.add(found)
    return found
