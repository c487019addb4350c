"""A shop's first configuration, from the answers to a few questions.

Pure: no clock, no I/O. Holds no secret: passwords and addresses are named by where they
are kept.
"""

from dataclasses import dataclass
from typing import Final

from rimewatch.config.keys import toml_text
from rimewatch.intake.heard_besides import besides, besides_lines
from rimewatch.intake.proposal import Place, broker_lines, unit_lines
from rimewatch.intake.survey import Guess
from rimewatch.shop import Broker

_HEADER: Final = (
    "# Written by rimewatch init. Every further key: config/saltmarsh-row.toml of the sources, or",
    "# rimewatch check --schema. The limits that are not written here are published ones.",
    "# A record is evidence, not a guarantee. Local codes and the licensed authority come first;",
    "# the person in charge decides about the fish.",
)
REPEAT_S: Final = 900
"""Again every quarter of an hour until somebody acknowledges: our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """What a shop said of itself."""

    name: str
    timezone: str
    display: str
    """``F`` or ``C``."""
    summary_at: str
    """Local, HH:MM."""
    broker: Broker
    """Its password is not written."""
    broker_password: str = ""
    """Where the password is kept, such as ``file:broker-password``; empty: none is needed."""
    places: tuple[Place, ...]
    heard: tuple[Guess, ...] = ()
    """All that was heard; what is in no place is said in the file."""
    phone: str = ""
    """Where the address of the phone is kept, such as ``file:phone``; empty: nobody is told."""
    night: tuple[str, str] = ("21:00", "06:00")
    """Local, HH:MM."""
    heartbeat: str = ""
    """Where the heartbeat's address is kept, such as ``file:heartbeat``; empty: none is called."""
    pages: str = ""
    """HOST:PORT the pages are served at; empty: none."""
    pages_url: str = ""
    """How a phone reaches them; empty: it does not."""


def first_configuration(answers: Answers) -> str:
    """Return the configuration's text, TOML."""
    probes = [probe for place in answers.places for probe in place.probes]
    lines = [
        *_HEADER,
        "",
        "[shop]",
        f"name = {toml_text(answers.name)}",
        f"timezone = {toml_text(answers.timezone)}",
        f"display = {toml_text(answers.display)}    # what people read; the file itself is in °C",
        f"summary_at = {toml_text(answers.summary_at)}",
        "",
        *broker_lines(answers.broker, answers.broker_password),
        *unit_lines(answers.places, answers.timezone),
        *besides_lines(besides(answers.heard, probes)),
        *(_people(answers) if answers.phone else ()),
    ]
    if answers.pages:
        lines += ["", "[web]", f"listen = {toml_text(answers.pages)}"]
    if answers.pages_url:
        lines.append(f"url = {toml_text(answers.pages_url)}    # how phones reach the pages")
    if answers.heartbeat:
        lines += [
            "",
            "[watch]                # called while all is well: something elsewhere rings if not",
            f"heartbeat_url = {toml_text(answers.heartbeat)}",
        ]
    return "\n".join(lines) + "\n"


def _people(answers: Answers) -> list[str]:
    begins, ends = answers.night
    return [
        "",
        "[[contact]]",
        'id = "first"',
        'name = "On-call phone"',
        f"urls = [{toml_text(answers.phone)}]",
        "",
        "[night]                # in it only fish at risk may wake somebody",
        f"from = {toml_text(begins)}",
        f"to = {toml_text(ends)}",
        "",
        "[[escalation]]",
        "after_s = 0",
        'contacts = ["first"]',
        f"repeat_s = {REPEAT_S}      # until somebody acknowledges",
    ]
