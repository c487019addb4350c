"""What is heard and watches nothing yet, ready to be given a place: each with its probe's table.

Pure: no clock, no I/O.
"""

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from rimewatch.intake.proposal import Place, is_usable, places, questions_of, unit_lines
from rimewatch.intake.survey import Guess
from rimewatch.intake.topics import TopicTable
from rimewatch.shop import Probe


@dataclass(frozen=True, slots=True, kw_only=True)
class Placeable:
    """A probe that was heard, and the table that reads it."""

    guess: Guess
    name: str
    """What the unit it hangs in seems to be called."""
    kind: str
    """What kind of unit that seems to be; empty: nobody can tell."""
    table: dict[str, Any]
    """A ``[[probe]]`` but for its id and its unit."""
    asks: tuple[str, ...]
    """What listening cannot tell."""


def placeable(guesses: Iterable[Guess], timezone: str) -> list[Placeable]:
    """Return the probes that were heard, thermometers first.

    Args:
        guesses: What was heard.
        timezone: The shop's zone, which a device's clock may stand on.
    """
    usable = [guess for guess in guesses if is_usable(guess)]
    found = [(place, probe) for place in places(usable) for probe in place.probes]
    known = [(probe.topic, probe.value, probe.match) for _, probe in found]
    for guess in usable:
        if (guess.topic, guess.value, guess.match) not in known:
            name = guess.topic.rpartition("/")[0].rpartition("/")[2] or guess.topic
            found.append((Place(id=name, name=name, kind=guess.kind, probes=(guess,)), guess))
    return [
        Placeable(
            guess=guess,
            name=place.name,
            kind=place.kind if guess.kind else "",
            table=_table(place, guess, timezone),
            asks=tuple(questions_of(guess, timezone)),
        )
        for place, guess in found
    ]


def unplaced(found: Sequence[Placeable], probes: Iterable[Probe]) -> list[Placeable]:
    """Return those that no probe of the shop reads already."""
    topics = TopicTable([(probe.topic, probe) for probe in probes])
    return [
        each
        for each in found
        if not any(_reads(probe, each) for probe in topics.find(each.guess.topic))
    ]


def _reads(probe: Probe, each: Placeable) -> bool:
    """Whether a probe that hears the topic reads this value of it."""
    value = each.guess.value
    is_its_value = not value or probe.fields.get("value", value) == value
    match = each.guess.match
    if probe.match is None or match is None or not probe.match.field:
        return is_its_value
    return is_its_value and probe.match.equals == match[1]


def _table(place: Place, guess: Guess, timezone: str) -> dict[str, Any]:
    """Return the table that would be proposed for a file, without its id and its unit."""
    alone = Place(id=place.id, name=place.name, kind=place.kind or "freezer", probes=(guess,))
    (table,) = tomllib.loads("\n".join(unit_lines([alone], timezone)))["probe"]
    return {key: value for key, value in table.items() if key not in ("id", "unit")}
