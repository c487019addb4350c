"""What was heard and became no probe: said in the proposed file, with what to add by hand.

A probe that nobody understood must not vanish between the broker and the file. All of it is
comment; a stranger's topic or payload can never be more. Pure: no clock, no I/O.
"""

import json
import re
from collections.abc import Iterable, Sequence
from statistics import fmean
from typing import Final

from rimewatch.config.keys import toml_text
from rimewatch.intake.survey import TEMPERATURES, Guess
from rimewatch.intake.topics import is_filter
from rimewatch.science.rtd import celsius_from_ohms, ohms_from_celsius
from rimewatch.vocabulary import Scale

MOST_NAMED: Final = 40
"""Topics that are named; more is somebody else's traffic (our choice)."""
SHOWN_CHARACTERS: Final = 120

COLDEST_C: Final = -90.0
WARMEST_C: Final = 40.0
"""Between these a resistance is taken for that of a Pt100 in a shop (our choice)."""

_NOT_IN_IDS: Final = re.compile(r"[^A-Za-z0-9_-]+")

UNIT_TO_NAME: Final = "WHICH-UNIT"


def besides(guesses: Iterable[Guess], probes: Iterable[Guess]) -> list[Guess]:
    """Return what was heard that no probe was made of.

    A topic whose probe was made is not named again for what could not be told of it.
    """
    made = list(probes)
    taken = {(probe.topic, probe.value, probe.match) for probe in made}
    topics = {(probe.topic, probe.match) for probe in made} | {(p.topic, None) for p in made}
    return [
        guess
        for guess in guesses
        if (guess.topic, guess.value, guess.match) not in taken
        and (guess.measures or (guess.topic, guess.match) not in topics)
    ]


def fits_pt100(guess: Guess) -> bool:
    """Return whether numbers could be the ohms of a Pt100 in a shop: 64 to 116 (IEC 60751).

    Nothing kept cold is at such a temperature in °C or °F, and nothing at all in kelvin.
    """
    if guess.low is None or guess.high is None or guess.measures not in TEMPERATURES:
        return False
    coldest, warmest = ohms_from_celsius(COLDEST_C), ohms_from_celsius(WARMEST_C)
    return coldest <= guess.low and guess.high <= warmest


def besides_lines(guesses: Sequence[Guess]) -> list[str]:
    """Return comment lines of TOML: each topic, what it sends, and the table to add by hand."""
    if not guesses:
        return []
    lines = [
        "",
        "# Heard, and made no probe of. Where one is a probe, take its # away, name the unit it",
        "# is in, and see docs/probes.md for the rest.",
    ]
    for guess in guesses[:MOST_NAMED]:
        lines += ["#", f"# {_sentence(guess)}", *(f"#{line}" for line in _table(guess))]
    if len(guesses) > MOST_NAMED:
        lines += ["#", f"# And {len(guesses) - MOST_NAMED} more, which rimewatch listen shows."]
    return lines


def _sentence(guess: Guess) -> str:
    count = "1 message" if guess.messages == 1 else f"{guess.messages} messages"
    said = f"{_quoted(guess.topic)} sends {_quoted(guess.last)} ({count})"
    if fits_pt100(guess):
        assert guess.low is not None, "it fits by its numbers"
        assert guess.high is not None, "it fits by its numbers"
        celsius = celsius_from_ohms(fmean((guess.low, guess.high)))
        return f"{said}: fits the ohms of a Pt100 at {celsius:.1f} °C, and no cold temperature."
    if guess.likeness:
        return f"{said}: {guess.likeness}."
    if guess.format == "json":
        return f"{said}: JSON, in which no temperature, door, water or humidity was found by name."
    if guess.format == "unknown":
        return (
            f"{said}: no number, JSON, SenML or Sparkplug. It cannot be read as it is; set the "
            "device to one of these."
        )
    return f"{said}: nothing that tells what it is."


def _table(guess: Guess) -> list[str]:
    """Return the ``[[probe]]`` to begin with; none for what cannot be read at all."""
    texts = (guess.topic, guess.value, guess.time)
    if guess.format == "unknown" or not is_filter(guess.topic) or not _printable(*texts):
        return []
    lines = [
        "[[probe]]",
        f"id = {toml_text(_NOT_IN_IDS.sub('-', guess.topic).strip('-')[:50] or 'probe')}",
        f"unit = {toml_text(UNIT_TO_NAME)}",
        f"measures = {toml_text(guess.measures or 'air')}",
        f"topic = {toml_text(guess.topic)}",
        f"format = {toml_text(guess.format)}",
    ]
    if guess.format != "number":
        fields = {"value": guess.value or "PATH-TO-THE-VALUE"}
        fields |= {"time": guess.time} if guess.time else {}
        fields |= {"unit": guess.unit_field} if guess.unit_field else {}
        lines.append(f"fields = {toml_text(fields)}")
    if guess.match is not None:
        path, equals = guess.match
        lines.append(f"match = {toml_text({'field': path, 'equals': equals})}")
    if guess.true_means:
        lines.append(f"true_means = {toml_text(guess.true_means)}")
    if guess.measures in TEMPERATURES and guess.format != "senml":
        scale = Scale.OHM if fits_pt100(guess) else guess.scale
        lines.append(f"scale = {toml_text(str(scale))}")
    return lines


def _quoted(text: str) -> str:
    """Return a stranger's text in quotes, on one line, whatever it holds."""
    cut = text[:SHOWN_CHARACTERS]
    return json.dumps(cut, ensure_ascii=not _printable(cut))


def _printable(*texts: str) -> bool:
    return all(text.isprintable() for text in texts)
