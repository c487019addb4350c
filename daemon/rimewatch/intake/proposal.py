"""A configuration proposed from what was heard: a beginning that a person goes over.

Pure: no clock, no I/O. Holds no secret: a password is named by where it is kept.
"""

import json
import re
from collections.abc import Iterable
from typing import Final

from rimewatch.intake.survey import Guess
from rimewatch.intake.topics import is_filter
from rimewatch.shop import Broker

_NOT_IN_IDS: Final = re.compile(r"[^A-Za-z0-9_-]+")

INTERVALS_S: Final = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)
"""Intervals that devices are set to; the next longer one is proposed. Common practice."""


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
        The file's text; without a single ``[[unit]]`` if nothing looks like one.
    """
    lines = [
        "# Proposed from what was heard on the broker. Go over every line: names, kinds, limits,",
        "# and which scale each probe sends. Local codes and the licensed authority come first;",
        "# the person in charge decides about the fish.",
        "",
        "[shop]",
        'name = "Your shop"',
        f"timezone = {_text(timezone)}    # such as America/Chicago",
        "",
        "[broker]",
        f"url = {_text(broker.url)}",
    ]
    kept = {key: getattr(broker, key) for key in ("username", "ca_file", "cert_file", "key_file")}
    lines += [f"{key} = {_text(value)}" for key, value in kept.items() if value]
    if password:
        lines.append(f"password = {_text(password)}")
    usable = [g for g in guesses if _is_usable(g)]
    places: dict[str, list[Guess]] = {}
    for guess in usable:
        places.setdefault(_place(guess), []).append(guess)
    taken: set[str] = set()
    topics: set[tuple[object, ...]] = set()
    for place, found in places.items():
        kinds = [g.kind for g in found if g.kind]
        if not kinds:
            continue
        unit = _fresh(place, taken)
        lines += [
            "",
            "[[unit]]",
            f"id = {_text(unit)}",
            f"name = {_text(place)}",
            f"kind = {_text(kinds[0])}",
        ]
        for guess in found:
            source = (guess.topic, guess.value, guess.match)
            if source not in topics and (guess.kind or guess.measures != "air"):
                topics.add(source)
                lines += ["", *_probe(guess, unit, taken)]
    return "\n".join(lines) + "\n"


def _probe(guess: Guess, unit: str, taken: set[str]) -> list[str]:
    lines = [
        "[[probe]]",
        f"id = {_text(_fresh(f'{unit}-{guess.measures}', taken))}",
        f"unit = {_text(unit)}",
        f"measures = {_text(guess.measures)}",
        f"topic = {_text(guess.topic)}",
        f"format = {_text(guess.format)}",
    ]
    if guess.format != "number":
        fields = {"value": guess.value, "time": guess.time, "battery": guess.battery}
        given = ", ".join(f"{key} = {_text(path)}" for key, path in fields.items() if path)
        lines.append(f"fields = {{ {given} }}")
    if guess.match is not None:
        path, equals = guess.match
        lines.append(f"match = {{ field = {_text(path)}, equals = {json.dumps(equals)} }}")
    if guess.scale != "C":
        lines.append(f"scale = {_text(guess.scale)}    # by its range; see whether that is so")
    if guess.interval_s is not None and guess.measures in ("air", "humidity"):
        longer = [s for s in INTERVALS_S if s >= 0.9 * guess.interval_s]
        lines.append(f"every_s = {longer[0] if longer else round(guess.interval_s)}")
    lines.append(f"# looks like {guess.likeness}; heard {guess.low} to {guess.high}")
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


def _text(value: str) -> str:
    """Return a TOML basic string; what JSON writes is one, for characters of the first plane."""
    return json.dumps(value)
