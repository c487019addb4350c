"""``rimewatch quarantine``: what was not believed, and reading it once more."""

from pathlib import Path
from typing import Final

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.group import CommandGroup
from rimewatch.commands.options import config_option, journal_option, load, who_option
from rimewatch.commands.standing import enter, existing
from rimewatch.entries import RetryQuarantine
from rimewatch.errors import UserError

MOST_TOPICS: Final = 5
"""Named at the end of a list: where a mistyped topic or a sick probe stands out."""


@click.group(cls=CommandGroup, epilog="Example:  rimewatch quarantine list --config shop.toml")
def command() -> None:
    """Look at messages that were not believed; read them again once the cause is mended."""


@command.command("list", epilog="Example:  rimewatch quarantine list --config shop.toml --limit 50")
@click.option(
    "--limit", type=click.IntRange(1, 1000), default=20, show_default=True, help="At most so many."
)
@config_option
@journal_option
def list_quarantine(limit: int, config: Path, journal: Path) -> None:
    """List the newest messages in quarantine, with the reason for each."""
    from zoneinfo import ZoneInfo

    from rimewatch.evaluation.quarantine_tally import shown
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader
    from rimewatch.report.wording import local_moment

    shop = load(config, sends=False)
    zone = ZoneInfo(shop.timezone)
    try:
        with JournalReader.open(existing(journal)) as reader:
            rows, counts = reader.quarantine_latest(limit), reader.quarantine_counts()
            room, topics = reader.quarantine_room(), reader.quarantine_topics(MOST_TOPICS)
    except JournalError as error:
        raise UserError(str(error)) from None
    for row in rows:
        click.echo(
            f"{local_moment(row.arrived_ms, zone)}  {row.topic}  {row.reason.value}: {row.detail}"
            f"  [{shown(row.payload_start)}]"
        )
    reasons = ", ".join(f"{count} {reason.value}" for reason, count in counts.by_reason.items())
    click.echo(f"{counts.total} so far ({reasons})." if counts.total else "Quarantine is empty.")
    if topics:
        told = ", ".join(
            f"{times} on {shown(topic.encode()) or 'other topics'}" for topic, times, _ in topics
        )
        click.echo(f"Most of them: {told}.")
    if room.messages:
        gone = f"; {room.messages_dropped} had to go" if room.messages_dropped else ""
        click.echo(f"{room.messages} kept, {room.cut_off} of them by their start alone{gone}.")


@command.command("retry", epilog="Example:  rimewatch quarantine retry --config shop.toml")
@config_option
@journal_option
@who_option
def retry(config: Path, journal: Path, who: str) -> None:
    """Read quarantine once more by a mended configuration.

    The running service takes the readings in, so it must have the mended configuration
    first: it takes an edited file up within some seconds.
    """
    from rimewatch.intake.decoders import UnusableProbe
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader
    from rimewatch.service.retry import try_out

    shop = load(config, sends=False)
    try:
        with JournalReader.open(existing(journal)) as reader:
            found = try_out(shop, reader)
    except (JournalError, UnusableProbe) as error:
        raise UserError(str(error)) from None
    if found.cut_off:
        click.echo(f"{found.cut_off} are not kept whole and stay.")
    if not found.numbers:
        click.echo(f"None of {found.looked_at} messages gives a reading by this configuration.")
        return
    enter(shop, journal, RetryQuarantine(at_ms=SystemClock().now_ms(), who=who))
    click.echo(
        f"{len(found.numbers)} of {found.looked_at} messages now parse; the service takes their "
        f"{len(found.readings)} readings in, once it runs and has this configuration."
    )
