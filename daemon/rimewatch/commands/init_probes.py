"""What ``rimewatch init`` asks about broker, units and probes, listening for them first."""

import re
from collections.abc import Sequence
from dataclasses import replace

import click
from rich.console import Console

from rimewatch.clock import SystemClock
from rimewatch.commands.init_shop import a_name
from rimewatch.commands.listening import guess_table, listen, looks_like
from rimewatch.config.broker import full_address, is_encrypted
from rimewatch.config.topics import filter_fault
from rimewatch.intake.broker_settings import BrokerSettingsError
from rimewatch.intake.broker_trouble import before_a_file
from rimewatch.intake.eavesdrop import EVERYTHING, OPEN_BROKER, TopicsRefused, is_open
from rimewatch.intake.guest import NotHeard
from rimewatch.intake.heard_besides import besides, fits_pt100
from rimewatch.intake.proposal import HEARD_ONCE_EVERY_S, PERIODIC, Place, places
from rimewatch.intake.survey import ASK_MEANS, TEMPERATURES, Guess
from rimewatch.shop import Broker
from rimewatch.vocabulary import Kind, Scale

SCALES = click.Choice([str(scale) for scale in Scale])
KINDS = click.Choice([str(kind) for kind in Kind])
WIDTH = 88
BIRTHS_WITHIN_S = 15.0
NO_ID = re.compile(r"[^a-z0-9]+")


def ask_and_listen(seconds: float) -> tuple[Broker, list[Guess]]:
    """Ask where the broker is, and listen there; ask again where it cannot be listened to.

    Returns:
        The broker, and what was heard.
    """
    broker: Broker | None = None
    while True:
        broker = _ask_broker(broker)
        try:
            return broker, _heard_where_allowed(broker, seconds)
        except (NotHeard, BrokerSettingsError) as error:
            click.echo(click.wrap_text(before_a_file(str(error)), WIDTH))
        if click.confirm(
            "Keep this address, and name the probes by hand (n: ask for it again)", default=False
        ):
            return broker, []


def _ask_broker(before: Broker | None) -> Broker:
    """Ask where the broker is and who we are there; what was said before is offered again."""
    url = click.prompt(
        "Where is the MQTT broker",
        default=before.url if before else "mqtt://127.0.0.1:1883",
        value_proc=_address,
    )
    username = _or_none("User at the broker", before.username if before else None)
    password = (
        click.prompt("Password", hide_input=True, default="", show_default=False)
        if username
        else ""
    )
    is_secret = is_encrypted(url)
    ca_file = cert_file = key_file = None
    if is_secret:
        ca_file = _or_none(
            "File of the authority that signed its certificate",
            before.ca_file if before else None,
            without="a public one",
        )
        cert_file = _or_none(
            "File of our own certificate, if it asks for one", before.cert_file if before else None
        )
    if cert_file:
        key_file = _or_none("File of that certificate's key", before.key_file if before else None)
    return Broker(
        url=url,
        client_id="rimewatch",
        username=username,
        password=password or None,
        ca_file=ca_file,
        cert_file=cert_file,
        key_file=key_file,
    )


def _or_none(question: str, before: str | None, *, without: str = "none") -> str | None:
    """Ask for what may be left out; "-" leaves out what was said before."""
    if before is None:
        question, left_out = f"{question} (empty: {without})", ""
    else:
        question, left_out = f"{question} (-: {without})", "-"
    said = click.prompt(question, default=before or "", show_default=before is not None)
    return None if said in ("", left_out) else said


def ask_places(guesses: Sequence[Guess]) -> tuple[Place, ...]:
    """Ask which of the probes that were heard are in which unit; units may be added by hand.

    Returns:
        At least one unit.
    """
    found = places(guesses)
    if guesses:
        Console().print(guess_table(guesses))
    if not found:
        click.echo("Nothing that looks like a cold unit was heard.")
    taken: list[Place] = []
    for place in found:
        if _is_wanted(place):
            _put(place, taken)
    while click.confirm("Add a unit by hand", default=False) if taken else True:
        taken.append(_by_hand(taken, guesses))
    return tuple(taken)


def _heard_where_allowed(broker: Broker, seconds: float) -> list[Guess]:
    """Listen to everything, or to the topics that somebody names where everything is refused."""
    topics = EVERYTHING
    while True:
        try:
            return _heard(broker, seconds, topics)
        except TopicsRefused as error:
            click.echo(click.wrap_text(str(error), WIDTH))
        topics = click.prompt("Topic to listen to (empty: none)", default="", show_default=False)
        if not topics or filter_fault(topics):
            return []


def _heard(broker: Broker, seconds: float, topic: str) -> list[Guess]:
    click.echo(f"\nListening at {broker.url} for {seconds:g} s; Ctrl-C goes on with what is there.")
    if is_open(broker):
        told = f"Worth a look: {OPEN_BROKER.format(address=broker.url)}"
        click.echo(click.wrap_text(told, WIDTH))
    clock = SystemClock()
    survey = listen(broker, clock, seconds, topics=(topic,), may_be_cut_short=True)
    if nodes := survey.without_birth():
        named = ", ".join(f"{node.group}/{node.node}" for node in nodes)
        click.echo(click.wrap_text(f"Sparkplug nodes run here whose birth was not heard: {named}"))
        if click.confirm("Ask them for their births", default=True):
            survey = listen(
                broker,
                clock,
                min(seconds, BIRTHS_WITHIN_S),
                topics=(topic,),
                may_be_cut_short=True,
                rebirth=True,
                survey=survey,
            )
    return survey.guesses()


def _is_wanted(place: Place) -> bool:
    said = [_in_words(probe) for probe in place.probes]
    return click.confirm(f"\n{place.name}: {'; '.join(said)}. Watch it", default=True)


def _in_words(probe: Guess) -> str:
    span = f", {probe.span}" if probe.span else ""
    value = f" ({probe.value})" if probe.inner or probe.match else ""
    return f"{looks_like(probe)} on {probe.topic}{value}{span}"


def _put(place: Place, taken: list[Place]) -> None:
    """Ask of each probe which unit it is in; the guess is offered, a new unit's kind is asked."""
    name = place.name
    for probe in place.probes:
        about = f"  Which unit is {probe.topic} in"
        name = click.prompt(about, default=name, value_proc=a_name)
        at = next((n for n, unit in enumerate(taken) if unit.name == name), None)
        if at is None:
            kind = click.prompt("  What is it", default=place.kind, type=KINDS)
            made = _id_of(name) if any(unit.id == place.id for unit in taken) else place.id
            taken.append(Place(id=made, name=name, kind=kind, probes=()))
            at = len(taken) - 1
        placed = _asked(_placed(probe) if probe.kind else probe)
        taken[at] = replace(taken[at], probes=(*taken[at].probes, placed))


def _id_of(name: str) -> str:
    return NO_ID.sub("-", name.lower()).strip("-") or "unit"


def _asked(probe: Guess) -> Guess:
    """Ask what listening could not tell: a contact's meaning, how often a thermometer sends."""
    asks = list(probe.asks)
    if ASK_MEANS in asks:
        asks.remove(ASK_MEANS)
        words = {"door": ("open", "shut"), "water": ("wet", "dry")}[probe.measures]
        means = click.prompt(
            f"  {probe.topic}: what does true (1, on) mean",
            default=probe.true_means or words[0],
            type=click.Choice(words),
        )
        probe = replace(probe, true_means="" if means == words[0] else means)
    if probe.interval_s is None and probe.messages and probe.measures in PERIODIC:
        every_s = click.prompt(
            f"  {probe.topic} was heard once: every how many seconds does it send",
            default=HEARD_ONCE_EVERY_S,
            type=click.IntRange(1, 86_400),
        )
        probe = replace(probe, interval_s=float(every_s))
    return replace(probe, asks=tuple(asks))


def _placed(probe: Guess) -> Guess:
    """Ask where a thermometer sits: what governs a unit depends on it."""
    measures = click.prompt(
        f"  Does {probe.topic} measure the air or the fish itself",
        default=probe.measures if probe.measures in TEMPERATURES else "air",
        type=click.Choice(["air", "product"]),
    )
    return replace(probe, measures=measures)


def _by_hand(others: Sequence[Place], guesses: Sequence[Guess]) -> Place:
    click.echo("\nA unit that holds fish:")
    name = click.prompt("  What do you call it", value_proc=a_name)
    kind = click.prompt("  What is it", default="display-case", type=KINDS)
    made = _id_of(name)
    free = besides(guesses, (probe for place in others for probe in place.probes))
    topic = click.prompt(
        "  Topic its probe publishes on",
        default=_likely_topic(made, free),
        value_proc=lambda text: _new_topic(text, others),
    )
    heard = next((guess for guess in free if guess.topic == topic), None)
    probe = _described(topic, heard)
    return Place(id=made, name=name, kind=kind, probes=(_placed(replace(probe, kind=kind)),))


def _likely_topic(made: str, free: Sequence[Guess]) -> str:
    """Return the topic to offer for a unit's probe: one that was heard, where one comes near."""
    readable = [guess.topic for guess in free if guess.format != "unknown" and guess.last]
    words = [word for word in made.split("-") if len(word) > 2]
    for topic in readable:
        if made in topic or any(word in topic.lower() for word in words):
            return topic
    return readable[0] if len(readable) == 1 else f"shop/{made}/air"


def _described(topic: str, heard: Guess | None) -> Guess:
    """Ask what a probe sends, and in which scale; what was heard on its topic is offered."""
    if heard is not None:
        click.echo(f"  Heard there: {heard.last}")
    forms = ["number", "json"]
    if heard is not None and heard.format not in (*forms, "unknown"):
        forms.append(heard.format)
    offered = heard.format if heard is not None and heard.format in forms else "number"
    form = click.prompt("  What does the probe send", default=offered, type=click.Choice(forms))
    known = heard if heard is not None and heard.format == form else None
    value = ""
    if form == "json":
        path = known.value if known is not None and known.value else "t"
        value = click.prompt("  Path to the value in it", default=path)
    elif known is not None:
        value = known.value
    scale = "C"
    if form != "senml":  # it names its own
        offered = Scale.OHM if known and fits_pt100(known) else known.scale if known else "C"
        scale = click.prompt("  In which scale", default=str(offered), type=SCALES)
    if known is not None and known.value == value:
        return replace(known, measures="air", scale=scale, likeness="")
    return Guess(topic=topic, messages=0, format=form, measures="air", value=value, scale=scale)


def _address(text: str) -> str:
    address = full_address(text)
    if address is None:
        raise click.UsageError(
            "an address is mqtt://HOST:PORT, or mqtts://HOST:PORT with TLS; by WebSocket it is "
            "ws://HOST:PORT/PATH or wss://HOST:PORT/PATH"
        )
    return address


def _new_topic(text: str, others: Sequence[Place]) -> str:
    topic = text.strip()
    if fault := filter_fault(topic):
        raise click.UsageError(f"that is no topic: {fault}")
    if any(topic == probe.topic for place in others for probe in place.probes):
        raise click.UsageError("another probe is on that topic already")
    return topic
