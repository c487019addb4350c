"""What ``rimewatch init`` asks about broker, units and probes, listening for them first."""

import re
from collections.abc import Sequence
from dataclasses import replace

import click
from rich.console import Console

from rimewatch.clock import SystemClock
from rimewatch.commands.init_shop import a_name
from rimewatch.commands.listening import guess_table, listen
from rimewatch.config.broker import full_address
from rimewatch.config.topics import filter_fault
from rimewatch.intake.broker_settings import BrokerSettingsError
from rimewatch.intake.eavesdrop import OPEN_BROKER, is_open
from rimewatch.intake.guest import NotHeard
from rimewatch.intake.proposal import Place, places
from rimewatch.intake.survey import Guess
from rimewatch.shop import Broker
from rimewatch.vocabulary import Kind

KINDS = click.Choice([str(kind) for kind in Kind])
WIDTH = 88
NO_ID = re.compile(r"[^a-z0-9]+")


def ask_broker() -> Broker:
    """Ask where the broker is and who we are there."""
    url = click.prompt(
        "Where is the MQTT broker", default="mqtt://127.0.0.1:1883", value_proc=_address
    )
    username = click.prompt("User at the broker (empty: none)", default="", show_default=False)
    password = (
        click.prompt("Password", hide_input=True, default="", show_default=False)
        if username
        else ""
    )
    ca_file = (
        click.prompt(
            "File of the authority that signed its certificate (empty: a public one)",
            default="",
            show_default=False,
        )
        if url.startswith("mqtts:")
        else ""
    )
    return Broker(
        url=url,
        client_id="rimewatch",
        username=username or None,
        password=password or None,
        ca_file=ca_file or None,
    )


def ask_places(broker: Broker, seconds: float) -> tuple[Place, ...]:
    """Listen for probes, and ask what each unit is; units may be added by hand.

    Returns:
        At least one unit.
    """
    found = _heard(broker, seconds)
    taken = [_confirmed(place) for place in found if _is_wanted(place)]
    while click.confirm("Add a unit by hand", default=False) if taken else True:
        taken.append(_by_hand(taken))
    return tuple(taken)


def _heard(broker: Broker, seconds: float) -> list[Place]:
    clock = SystemClock()
    click.echo(f"\nListening at {broker.url} for {seconds:g} s; Ctrl-C goes on with what is there.")
    try:
        if is_open(broker):
            told = f"Worth a look: {OPEN_BROKER.format(address=broker.url)}"
            click.echo(click.wrap_text(told, WIDTH))
        survey = listen(broker, clock, seconds, may_be_cut_short=True)
    except (NotHeard, BrokerSettingsError) as error:
        click.echo(f"{error}")
        click.confirm("Go on, and name the probes by hand", default=True, abort=True)
        return []
    guesses = survey.guesses()
    found = places(guesses)
    if found:
        Console().print(guess_table(guesses))
    else:
        click.echo("Nothing that looks like a cold unit was heard.")
    return found


def _is_wanted(place: Place) -> bool:
    said = [_in_words(probe) for probe in place.probes]
    return click.confirm(f"\n{place.name}: {'; '.join(said)}. Watch it", default=True)


def _in_words(probe: Guess) -> str:
    span = f", {probe.span}" if probe.span else ""
    return f"{probe.likeness} on {probe.topic}{span}"


def _confirmed(place: Place) -> Place:
    name = click.prompt("  What do you call it", default=place.name, value_proc=a_name)
    kind = click.prompt("  What is it", default=place.kind, type=KINDS)
    place = replace(place, name=name, kind=kind)
    probes = [_placed(probe) if probe.kind else probe for probe in place.probes]
    return replace(place, probes=tuple(probes))


def _placed(probe: Guess) -> Guess:
    """Ask where a thermometer sits: what governs a unit depends on it."""
    measures = click.prompt(
        f"  Does {probe.topic} measure the air or the fish itself",
        default="air",
        type=click.Choice(["air", "product"]),
    )
    return replace(probe, measures=measures)


def _by_hand(others: Sequence[Place]) -> Place:
    click.echo("\nA unit that holds fish:")
    name = click.prompt("  What do you call it", value_proc=a_name)
    kind = click.prompt("  What is it", default="display-case", type=KINDS)
    made = NO_ID.sub("-", name.lower()).strip("-") or "unit"
    topic = click.prompt(
        "  Topic its probe publishes on",
        default=f"shop/{made}/air",
        value_proc=lambda text: _new_topic(text, others),
    )
    form = click.prompt(
        "  What does the probe send", default="number", type=click.Choice(["number", "json"])
    )
    value = click.prompt("  Path to the value in it", default="t") if form == "json" else ""
    probe = Guess(topic=topic, messages=0, format=form, measures="air", value=value, kind=kind)
    return Place(id=made, name=name, kind=kind, probes=(_placed(probe),))


def _address(text: str) -> str:
    address = full_address(text)
    if address is None:
        raise click.UsageError("an address is mqtt://HOST:PORT, or mqtts://HOST:PORT with TLS")
    return address


def _new_topic(text: str, others: Sequence[Place]) -> str:
    topic = text.strip()
    if fault := filter_fault(topic):
        raise click.UsageError(f"that is no topic: {fault}")
    if any(topic == probe.topic for place in others for probe in place.probes):
        raise click.UsageError("another probe is on that topic already")
    return topic
