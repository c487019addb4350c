"""``rimewatch test-alarm``: a real message through the real ways, and somebody who answers it."""

import sys
import threading
from collections.abc import Sequence
from pathlib import Path

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.options import config_option, journal_option, load, who_option
from rimewatch.errors import UserError
from rimewatch.shop import Shop
from rimewatch.vocabulary import ContactId

LOOK_S = 0.5


@click.command(
    epilog="Example:  rimewatch test-alarm --config shop.toml --wait-s 120\n\n"
    "It ends with 0 when somebody has acknowledged, by the message's link or with "
    "rimewatch test-alarm --seen, and with 1 when nobody has."
)
@config_option
@journal_option
@click.option(
    "--contact", help="Whom to test, a contact's or rota's id; without it, who is told first."
)
@click.option(
    "--wait-s",
    "wait_s",
    type=click.FloatRange(min=0, max=86_400),
    default=120.0,
    show_default=True,
    help="How long to wait for the acknowledgement.",
)
@click.option("--seen", is_flag=True, help="Say that the last test has arrived at your phone.")
@who_option
def command(
    config: Path, journal: Path, contact: str | None, wait_s: float, *, seen: bool, who: str
) -> None:
    """Send a test message as an alarm would be sent, and wait until it is acknowledged.

    The running service sends it, with the urgency of a high alarm, also at night. It is on
    the record as a test, and counts as no alarm.
    """
    from rimewatch.journal.errors import JournalError

    shop = load(config, sends=False)
    if not journal.exists():
        raise UserError(
            f"there is no journal {journal} yet; start the service with rimewatch run, or name "
            "its file with --journal"
        )
    try:
        if seen:
            _note_seen(journal, who)
            return
        told = _told(shop, contact)
        acknowledged = _tried(shop, journal, told, wait_s)
    except JournalError as error:
        raise UserError(str(error)) from None
    if not acknowledged:
        sys.exit(1)


def _told(shop: Shop, contact: str | None) -> Sequence[ContactId]:
    from rimewatch.alarms.rota import first_told, told_by, whom

    now_ms = SystemClock().now_ms()
    if contact is None:
        told = first_told(shop, now_ms)
        if not told:
            raise UserError("the configuration has no [[contact]]: there is nobody to test")
        return told
    if contact not in whom(shop):
        known = ", ".join(whom(shop)) or "none"
        raise UserError(f'there is no contact or rota "{contact}"; the configuration has {known}')
    return told_by(shop, contact, now_ms)


def _tried(shop: Shop, path: Path, told: Sequence[ContactId], wait_s: float) -> bool:
    from rimewatch.journal import trials
    from rimewatch.journal.journal import Journal
    from rimewatch.journal.reader import JournalReader
    from rimewatch.report.trial import make_trial

    clock = SystemClock()
    at_ms = clock.now_ms()
    with Journal.open(path, check=False) as journal:
        alarm_id = make_trial(journal, shop, told, at_ms)
    click.echo(f"A test is on its way to {', '.join(told)}.")
    end_s = clock.monotonic_s() + wait_s
    pause = threading.Event()
    said: set[str] = set()
    while True:
        with JournalReader.open(path) as reader:
            answered = trials.seen(reader, alarm_id)
            for line in trials.progress(reader, alarm_id):
                if line not in said:
                    said.add(line)
                    click.echo(line)
        if answered is not None:
            who = trials.who_saw(answered)
            after_s = (answered.at_ms - at_ms) / 1000
            click.echo(f"Acknowledged by {who} after {after_s:.0f} s. The way to the phone works.")
            return True
        left_s = end_s - clock.monotonic_s()
        if left_s <= 0:
            break
        pause.wait(min(LOOK_S, left_s))
    click.echo(f"Nobody acknowledged within {wait_s:g} s.", err=True)
    if not said:
        click.echo("The message has not left: is the service running with this journal?", err=True)
    return False


def _note_seen(path: Path, who: str) -> None:
    from rimewatch.journal import trials
    from rimewatch.journal.journal import Journal

    now_ms = SystemClock().now_ms()
    with Journal.open(path, check=False) as journal:
        made_ms = trials.last_made_ms(journal, 0, now_ms)
        if made_ms is None:
            raise UserError("no test alarm was made yet; make one with rimewatch test-alarm")
        trials.note_seen(journal, trials.trial_id(made_ms), who, now_ms)
    click.echo("Noted: the test has arrived.")
