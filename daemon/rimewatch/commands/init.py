"""``rimewatch init``: a shop's first configuration, from a few questions."""

import os
import shlex
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

import click

from rimewatch.commands.files import write_whole
from rimewatch.errors import UserError

if TYPE_CHECKING:
    from rimewatch.intake.first_configuration import Answers
    from rimewatch.shop import Broker

LOCAL_HOSTS: Final = ("localhost", "127.0.0.1")
SECRET_MODE: Final = 0o600
WIDTH: Final = 88


@click.command(
    epilog="Example:  rimewatch init shop.toml\n\n"
    "Nothing is written before the last answer, and never over a file that is there."
)
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False), default=Path("shop.toml"))
@click.option(
    "--seconds",
    type=click.FloatRange(min=1, max=86_400),
    default=60.0,
    show_default=True,
    help="How long to listen for probes.",
)
def command(file: Path, seconds: float) -> None:
    """Ask a few questions, listen for probes, and write a configuration to begin with.

    Every question has an answer in [brackets] that Enter takes.
    """
    from rimewatch.commands.init_people import ask_heartbeat, ask_pages, ask_phone
    from rimewatch.commands.init_probes import ask_and_listen, ask_places
    from rimewatch.commands.init_shop import ask_night, ask_shop
    from rimewatch.intake.first_configuration import Answers

    secrets: dict[Path, str] = {}
    kept = ("broker-password", "phone", "heartbeat")
    for path in (file, *(_beside(file, what) for what in kept)):
        if path.exists():
            raise UserError(f"{path} is there already; name another file, or put it aside")
    click.echo("A few questions; Enter takes the answer in [brackets], Ctrl-C leaves it all.\n")
    shop = ask_shop()
    broker, heard = ask_and_listen(seconds)
    password = ""
    if broker.password is not None:
        path = _beside(file, "broker-password")
        secrets[path] = broker.password
        password = f"file:{path.name}"
    places = ask_places(heard)
    address = ask_phone(shop.name)
    phone = ""
    if address:
        path = _beside(file, "phone")
        secrets[path] = address
        phone = f"file:{path.name}"
    night = ask_night() if address else ("21:00", "06:00")
    pages = ask_pages()
    beat = ask_heartbeat() if address else ""
    heartbeat = ""
    if beat:
        path = _beside(file, "heartbeat")
        secrets[path] = beat
        heartbeat = f"file:{path.name}"
    answers = Answers(
        name=shop.name,
        timezone=shop.timezone,
        display=shop.display,
        summary_at=shop.summary_at,
        broker=replace(broker, password=None),
        broker_password=password,
        places=places,
        heard=tuple(heard),
        phone=phone,
        night=night,
        heartbeat=heartbeat,
        pages=pages.listen,
        pages_url=pages.url,
    )
    _write(file, answers, secrets)
    _what_next(file, answers)


def _beside(file: Path, what: str) -> Path:
    """Return where a secret is kept: a file of its own, so that others may read the rest."""
    return file.with_name(f"{file.stem}.{what}")


def _write(file: Path, answers: "Answers", secrets: dict[Path, str]) -> None:
    from rimewatch.config import ConfigError, load_shop, warnings_of
    from rimewatch.intake.first_configuration import first_configuration
    from rimewatch.report.wording import extent

    text = first_configuration(answers)
    for path, secret in secrets.items():
        write_whole(path, secret + "\n", mode=SECRET_MODE)
    try:
        shop = load_shop(text, os.environ, source=file.name, folder=file.parent)
    except ConfigError as error:
        for path in secrets:
            path.unlink()
        raise UserError(
            f"what you answered makes no configuration, nothing is written: {error}"
        ) from None
    write_whole(file, text)
    click.echo(f"\nWritten to {file}: {extent(shop)}.")
    for path in secrets:
        click.echo(f"Its secret is in {path}, for you alone to read.")
    for warning in warnings_of(shop):
        click.echo(click.wrap_text(f"Worth a look: {warning}", WIDTH))


def _what_next(file: Path, answers: "Answers") -> None:
    from rimewatch.intake.proposal import by_hand

    name = "rimewatch" if Path(sys.argv[0]).name != "rimewatch" else sys.argv[0]
    told = ["", "What now:", f"  {name} run --config {file}          watches, until Ctrl-C"]
    if answers.phone:
        told.append(f"  {name} test-alarm --config {file}   sends a test to the phone")
    probes = (probe for place in answers.places for probe in place.probes)
    simple = next((probe for probe in probes if by_hand(probe)), None)
    if simple is not None and not answers.broker.url.startswith("ws"):  # mosquitto_pub cannot
        command = f"mosquitto_pub{_where(answers.broker)} -q 1 -t {shlex.quote(simple.topic)}"
        told.append(f"  {command} -m {shlex.quote(by_hand(simple))}   is a reading by hand")
    if answers.pages:
        where = answers.pages_url or f"http://{answers.pages}"
        told.append(f"The pages are at {where}; run prints a link to sign in with.")
    click.echo("\n".join(told))


def _where(broker: "Broker") -> str:
    """Return the options that lead mosquitto_pub to a broker; empty: it looks there anyway.

    TLS and credentials are left to the reader: a password has no place in a command.
    """
    from rimewatch.config.broker import PORTS

    parts = urlsplit(broker.url)
    host = "" if parts.hostname in LOCAL_HOSTS else f" -h {parts.hostname}"
    port = "" if parts.port == PORTS["mqtt"] else f" -p {parts.port}"
    return host + port
