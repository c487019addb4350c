"""Units and probes proposed from what was heard: a beginning that a person goes over.

Pure: no clock, no I/O. Holds no secret: a password is named by where it is kept.
"""

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from rimewatch.config.keys import toml_text
from rimewatch.intake.heard_besides import besides, besides_lines
from rimewatch.intake.survey import TEMPERATURES, Guess
from rimewatch.intake.topics import is_filter
from rimewatch.shop import Broker

_NOT_IN_IDS: Final = re.compile(r"[^A-Za-z0-9_-]+")

INTERVALS_S: Final = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)
"""Intervals that devices are set to; the next longer one is proposed. Common practice."""

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
    """Return what looks like cold units, each with the probes in it; no source is in two."""
    by_name: dict[str, list[Guess]] = {}
    for guess in guesses:
        if _is_usable(guess):
            by_name.setdefault(_place(guess), []).append(guess)
    found: list[Place] = []
    sources: set[tuple[object, ...]] = set()
    for name, heard in by_name.items():
        kinds = [guess.kind for guess in heard if guess.kind]
        if not kinds:
            continue
        probes: list[Guess] = []
        for guess in heard:
            source = (guess.topic, guess.value, guess.match)
            if source not in sources and (guess.kind or guess.measures != "air"):
                sources.add(source)
                probes.append(guess)
        found.append(Place(id=name, name=name, kind=kinds[0], probes=tuple(probes)))
    return found


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
        *unit_lines(found),
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


def unit_lines(found: Iterable[Place]) -> list[str]:
    """Return a ``[[unit]]`` table for each place and a ``[[probe]]`` for each of its probes."""
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
            lines += ["", *_probe(guess, unit, taken)]
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


def _probe(guess: Guess, unit: str, taken: set[str]) -> list[str]:
    lines = [
        "[[probe]]",
        f"id = {toml_text(_fresh(f'{unit}-{guess.measures}', taken))}",
        f"unit = {toml_text(unit)}",
        f"measures = {toml_text(guess.measures)}",
        f"topic = {toml_text(guess.topic)}",
        f"format = {toml_text(guess.format)}",
    ]
    if guess.format != "number":
        fields = {"value": guess.value, "time": guess.time, "battery": guess.battery}
        given = ", ".join(f"{key} = {toml_text(path)}" for key, path in fields.items() if path)
        lines.append(f"fields = {{ {given} }}")
    if guess.match is not None:
        path, equals = guess.match
        lines.append(f"match = {{ field = {toml_text(path)}, equals = {toml_text(equals)} }}")
    if guess.unread:
        lines.append(f"# NOT READ: the list's further values, such as {guess.unread[0]}. They need")
        lines.append("# a time each, in the same list, or if they are other probes' a topic each.")
    if guess.scale != "C":
        doubt = "    # by its range; see whether that is so" if guess.likeness else ""
        lines.append(f"scale = {toml_text(guess.scale)}{doubt}")
    if guess.interval_s is not None and guess.measures in (*TEMPERATURES, "humidity"):
        longer = [s for s in INTERVALS_S if s >= 0.9 * guess.interval_s]
        every_s = longer[0] if longer else round(guess.interval_s)
        lines.append(f"every_s = {every_s}")
        if 3 * every_s < PATIENCE_S:
            lines.append(f"stale_s = {PATIENCE_S}    # silent for so long, it counts as gone")
    if guess.likeness:
        heard = f"; heard {guess.span}" if guess.span else ""
        lines.append(f"# looks like {guess.likeness}{heard}")
    return lines


def _is_usable(guess: Guess) -> bool:
    texts = (guess.topic, guess.value, guess.time, guess.battery, str(guess.match))
    return bool(
        guess.measures
        and guess.likeness
        and is_filter(guess.topic)
        and guess.topic == guess.topic.strip()
        and all(text.isprintable() and max(text, default="") < "\ud800" for text in texts)
        and len(guess.value) <= 200
    )


def _place(guess: Guess) -> str:
    """Return what a topic is about: all but its last level, or the device's own mark."""
    if guess.match is not None:
        return str(guess.match[1])
    levels = [level for level in guess.topic.split("/") if level]
    if guess.format == "sparkplug":
        return levels[-1]
    return " ".join(levels[1:-1] if len(levels) > 2 else levels[:1]) or "unit"


def _fresh(name: str, taken: set[str]) -> str:
    base = _NOT_IN_IDS.sub("-", name).strip("-")[:50] or "unit"
    found, count = base, 2
    while found in taken:
        found, count = f"{base}-{count}", count + 1
    taken.add(found)
    return found
