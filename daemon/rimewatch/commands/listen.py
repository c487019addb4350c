"""``rimewatch listen``: find probes on a broker and propose a configuration."""

import dataclasses
import json
import os
from pathlib import Path

import click

from rimewatch.commands.files import write_whole
from rimewatch.errors import UserError


def _topics(
    _context: click.Context, _parameter: click.Parameter, topics: tuple[str, ...]
) -> tuple[str, ...]:
    from rimewatch.config.topics import filter_fault

    for topic in topics:
        if fault := filter_fault(topic):
            raise UserError(f"--topic {topic} is no topic: {fault}")
    return topics or ("#",)


@click.command(
    epilog="Example:  rimewatch listen --broker mqtt://127.0.0.1:1883 --seconds 120 "
    "--write shop.toml"
)
@click.option(
    "--broker",
    required=True,
    help="The broker: mqtt://HOST, mqtts://HOST, ws://HOST or wss://HOST.",
)
@click.option(
    "--seconds",
    type=click.FloatRange(min=0.1, max=86_400),
    default=60.0,
    show_default=True,
    help="How long to listen.",
)
@click.option(
    "--topic",
    "topics",
    multiple=True,
    metavar="FILTER",
    callback=_topics,
    help="What to listen to, such as shop/#; may be given several times. Default: everything.",
)
@click.option(
    "--rebirth", is_flag=True, help="Ask Sparkplug nodes that run without a birth for theirs."
)
@click.option("--username", help="User at the broker.")
@click.option("--password-env", metavar="NAME", help="Environment variable with the password.")
@click.option("--ca-file", help="Authority that signed the broker's certificate (PEM).")
@click.option("--cert-file", help="Our own certificate, if the broker asks for one (PEM).")
@click.option("--key-file", help="The key of our own certificate (PEM).")
@click.option("--timezone", default="UTC", show_default=True, help="The shop's time zone.")
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
@click.option(
    "--write",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write the proposed configuration; never over an existing file.",
)
def command(
    *,
    broker: str,
    seconds: float,
    topics: tuple[str, ...],
    rebirth: bool,
    username: str | None,
    password_env: str | None,
    ca_file: str | None,
    cert_file: str | None,
    key_file: str | None,
    timezone: str,
    as_json: bool,
    write: Path | None,
) -> None:
    """Listen to everything on a broker for a while, and say what each topic seems to be."""
    from rich.console import Console

    from rimewatch.clock import SystemClock
    from rimewatch.commands.listening import guess_table, listen
    from rimewatch.config.broker import full_address
    from rimewatch.intake.broker_settings import BrokerSettingsError
    from rimewatch.intake.broker_trouble import before_a_file
    from rimewatch.intake.eavesdrop import OPEN_BROKER, TopicsRefused, is_open
    from rimewatch.intake.guest import NotHeard
    from rimewatch.intake.heard_besides import besides_lines
    from rimewatch.intake.proposal import places, propose
    from rimewatch.shop import Broker

    address = full_address(broker)
    if address is None:
        raise UserError(
            "--broker is no broker's address; expected mqtt://HOST:PORT or mqtts://HOST:PORT (by "
            "WebSocket ws://HOST:PORT/PATH or wss://HOST:PORT/PATH), "
            "with --username and --password-env beside it"
        )
    if write is not None and write.exists():
        raise UserError(f"{write} is there already; name another file with --write")
    where = Broker(
        url=address,
        client_id="rimewatch",
        username=username,
        password=_password(password_env),
        ca_file=ca_file,
        cert_file=cert_file,
        key_file=key_file,
    )
    clock = SystemClock()
    try:
        if is_open(where):
            click.echo(OPEN_BROKER.format(address=address), err=True)
        survey = listen(where, clock, seconds, topics=topics, rebirth=rebirth)
    except TopicsRefused as error:
        raise UserError(f"{error}: --topic shop/#") from None
    except (NotHeard, BrokerSettingsError) as error:
        raise UserError(before_a_file(str(error))) from None
    guesses = survey.guesses()
    if as_json:
        click.echo(json.dumps([dataclasses.asdict(guess) for guess in guesses], indent=2))
    else:
        Console().print(guess_table(guesses))
    if survey.left_out:
        click.echo(f"{survey.left_out} messages on further topics were left out.", err=True)
    if not as_json and not places(guesses):
        click.echo("\n".join(besides_lines(guesses)))
    password = f"env:{password_env}" if password_env else ""
    _give(propose(guesses, where, password=password, timezone=timezone), write, as_json=as_json)


def _give(text: str, write: Path | None, *, as_json: bool) -> None:
    if "\n[[unit]]\n" not in text:
        raise UserError(
            "nothing that looks like a cold unit was heard; listen for longer with --seconds. A "
            "broker may also keep silent about what its user may not read: name what it may, "
            "with --topic"
        )
    if write is not None:
        write_whole(write, text)
        told = f"Written to {write}. Go over it, then: rimewatch check --config {write}"
        click.echo(told, err=True)
    elif not as_json:
        click.echo(text)


def _password(name: str | None) -> str | None:
    if name is None:
        return None
    if name not in os.environ:
        raise UserError(f"the environment has no {name}; set it, or leave --password-env out")
    return os.environ[name]
