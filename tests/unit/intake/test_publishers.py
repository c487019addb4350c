"""Every kind of publisher: proposed right as it stands, or asked about; never wrong in silence."""

from collections import Counter

import pytest

from publishers import AT_MS, PUBLISHERS, Publisher, Said
from rimewatch.config import load_shop
from rimewatch.intake.proposal import propose
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.survey import Survey
from rimewatch.shop import Broker

BROKER = Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch")
ROUNDS, MINUTE_MS = 3, 60_000


def read_as_proposed(publisher: Publisher) -> tuple[set[Said], str]:
    """Return what a shop would read with the file as it was proposed, and the file."""
    survey = Survey()
    for turn in range(ROUNDS):
        for topic, payload in publisher.sends:
            survey.add(topic, payload, AT_MS + turn * MINUTE_MS)
    text = propose(survey.guesses(), BROKER, timezone="America/Chicago")
    if "\n[[unit]]\n" not in text:
        return set(), text
    shop = load_shop(text)
    receiver = Receiver(shop)
    units = {probe.id: (probe.unit, probe.measures) for probe in shop.probes}
    read: set[Said] = set()
    for topic, payload in publisher.sends:
        for reading in receiver.receive(topic, payload, AT_MS).readings:
            unit, measures = units[reading.probe]
            read.add((unit, str(measures), reading.value))
    return read, text


def is_same(read: set[Said], says: frozenset[Said]) -> bool:
    """Return whether the same is said of as many units, whatever they are called."""

    def by_unit(said: set[Said] | frozenset[Said]) -> Counter[frozenset[tuple[str, float]]]:
        units = {unit for unit, _, _ in said}
        return Counter(
            frozenset((measures, round(value, 4)) for one, measures, value in said if one == unit)
            for unit in units
        )

    return by_unit(read) == by_unit(says)


def asks(text: str) -> bool:
    """Return whether the file asks about something, or names what it made no probe of."""
    return "# ASK" in text or "# Heard, and made no probe of" in text or "NOT READ" in text


@pytest.mark.parametrize("publisher", PUBLISHERS, ids=lambda one: one.kind)
def test_publisher_is_proposed_right_or_asked_about(publisher: Publisher) -> None:
    """What the file reads is what is said; where nobody could tell, the file asks."""
    read, text = read_as_proposed(publisher)

    if publisher.is_doubtful:
        assert is_same(read, publisher.says) or asks(text), (read, text)
    else:
        assert is_same(read, publisher.says), (read, text)


def test_contact_that_says_itself_what_it_means_is_not_asked_about() -> None:
    """A question too many is one that nobody reads."""
    said = next(one for one in PUBLISHERS if one.kind == "words of a contact in an object")

    assert "does true" not in read_as_proposed(said)[1]
