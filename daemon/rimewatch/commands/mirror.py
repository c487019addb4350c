"""``rimewatch mirror``: how far the mirror has come, sending again, comparing both sides."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import click

from rimewatch.clock import SystemClock
from rimewatch.commands.options import F, config_option, instant_ms, journal_option, load
from rimewatch.errors import UserError
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_S


@click.group(epilog="Example:  rimewatch mirror status --config shop.toml")
def command() -> None:
    """Look after the mirror, a copy of the journal in a time series database."""


def _period(command: F) -> F:
    for name, what in (("--to", "its end"), ("--from", "its start")):
        option = click.option(
            name,
            f"{name.strip('-')}_",
            required=True,
            metavar="TIME",
            help=f"The period: {what}, such as 2026-03-02T21:30 in the shop's time zone.",
        )
        command = option(command)
    return command


@command.command("status", epilog="Example:  rimewatch mirror status --config shop.toml")
@config_option
@journal_option
def status(config: Path, journal: Path) -> None:
    """Say how far the mirror has come, what is in its way, and which points were refused.

    Reads the journal alone; the database is not asked.
    """
    from zoneinfo import ZoneInfo

    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader
    from rimewatch.mirror.state import MIRROR_STATE, from_text
    from rimewatch.report.wording import local_moment

    shop = _mirrored(load(config, sends=False))
    zone = ZoneInfo(shop.timezone)
    try:
        with JournalReader.open(_existing(journal)) as reader:
            state = from_text(reader.load_state(MIRROR_STATE))
            behind = reader.changed_hours_behind(state.cursor)
    except JournalError as error:
        raise UserError(str(error)) from None
    assert shop.mirror is not None, "refused above"
    click.echo(f"Mirror: {shop.mirror.url}, bucket {shop.mirror.bucket}, shop {shop.mirror.shop}")
    if state.sent_ms is None:
        click.echo("Nothing was sent yet.")
    else:
        click.echo(f"Last sent: {local_moment(state.sent_ms, zone)}; {state.sent:,} points in all.")
    click.echo(f"Still to send: {behind:,} hours of a probe." if behind else "Up to date.")
    if state.error:
        since = local_moment(state.error_since_ms or 0, zone)
        click.echo(f"In its way since {since}: {state.error}. It is tried again, for ever.")
    if state.passed_over:
        click.echo(
            f"{state.passed_over:,} hours of probes that are not in the configuration were "
            "passed over; put them back, then send again."
        )
    if state.refused_total:
        click.echo(f"Refused for good: {state.refused_total:,} points. The latest:")
        for one in state.refused[-5:]:
            more = f" and {one.points - 1} more" if one.points > 1 else ""
            click.echo(f"  {local_moment(one.at_ms, zone)}  {one.said}\n    {one.line}{more}")


@command.command(
    "resend",
    epilog="Example:  rimewatch mirror resend --config shop.toml --from 2026-03-01T00:00 "
    "--to 2026-03-08T00:00",
)
@_period
@config_option
@journal_option
def resend(from_: str, to_: str, config: Path, journal: Path) -> None:
    """Have the running service send a period once more, after what waits already.

    Points that are there already stay as they are: the same reading is the same point.
    """
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.journal import Journal
    from rimewatch.mirror.state import ASKED_STATE, Asked, asked_from_text, to_text

    shop = _mirrored(load(config, sends=False))
    from_ms, to_ms = _instants(shop, from_, to_)
    try:
        with Journal.open(_existing(journal), check=False) as opened, opened.batch():
            hours = opened.mark_changed(from_ms, to_ms)
            before = asked_from_text(opened.load_state(ASKED_STATE)) or Asked(number=0, from_ms=0)
            asked = replace(before, number=before.number + 1, from_ms=from_ms)
            opened.save_state(ASKED_STATE, to_text(asked))
            opened.add_event(SystemClock().now_ms(), "mirror", f"asked to resend {from_} to {to_}")
    except JournalError as error:
        raise UserError(str(error)) from None
    click.echo(f"{hours:,} hours of a probe will be sent again while the service runs.")


@command.command(
    "compare",
    epilog="Example:  rimewatch mirror compare --config shop.toml --from 2026-03-01T00:00 "
    "--to 2026-03-08T00:00",
)
@_period
@config_option
@journal_option
def compare(from_: str, to_: str, config: Path, journal: Path) -> None:
    """Count and checksum a period's readings on both sides; exit code 1 where they differ.

    Asks InfluxDB 2 by a Flux query, VictoriaMetrics by its export. Changes nothing.
    """
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader

    shop = _mirrored(load(config))
    assert shop.mirror is not None, "refused above"
    from_ms, to_ms = _instants(shop, from_, to_)
    try:
        from rimewatch.mirror.comparing import ComparisonError
        from rimewatch.mirror.comparing import compare as both_sides
        from rimewatch.mirror.other_side import other_side
    except ModuleNotFoundError as error:
        raise _missing(error) from None
    differing = repeated = 0
    try:
        other = other_side(shop.mirror)
        click.echo(f"{other.name} at {shop.mirror.url}")
        with JournalReader.open(_existing(journal)) as reader:
            for one in both_sides(shop, reader, other, from_ms, to_ms):
                differing += not one.equal
                repeated += one.repeated
                click.echo(
                    f"{'equal  ' if one.equal else 'DIFFERS'}  {one.probe}: "
                    f"{one.here.count:,} here ({one.here.checksum}), "
                    f"{one.there.count:,} there ({one.there.checksum})"
                )
    except (JournalError, ComparisonError) as error:
        raise UserError(str(error)) from None
    if repeated:
        click.echo(
            f"{repeated:,} rows stand there more than once: it keeps what is sent again beside "
            "what it has, and sums and counts in charts are too large by it; see docs/mirror.md",
            err=True,
        )
    if differing:
        click.echo(
            f"{differing} of {len(shop.probes)} probes differ. What was sent in the last seconds "
            "may not show yet; else: rimewatch mirror resend",
            err=True,
        )
        raise click.exceptions.Exit(1)


@command.command("dashboard", epilog="Example:  rimewatch mirror dashboard > cold-units.json")
def dashboard() -> None:
    """Print a dashboard of the mirror, to be imported by a dashboard program.

    It is in Grafana's JSON and asks in PromQL: for VictoriaMetrics and others that speak it. Reads
    nothing and connects to nothing.
    """
    from importlib import resources

    file = resources.files("rimewatch") / "mirror" / "dashboard.json"
    click.echo(file.read_text(encoding="utf-8"), nl=False)


def _mirrored(shop: Shop) -> Shop:
    if shop.mirror is None:
        raise UserError(
            "the configuration has no [mirror]; add the table with url, org, bucket and token"
        )
    return shop


def _existing(journal: Path) -> Path:
    if not journal.exists():
        raise UserError(f"there is no journal {journal}; name its file with --journal")
    return journal


def _instants(shop: Shop, from_: str, to_: str) -> tuple[int, int]:
    from_ms, to_ms = instant_ms(from_, shop), instant_ms(to_, shop)
    if to_ms <= from_ms:
        raise UserError(f"--to {to_} is not after --from {from_}; expected a later time")
    if to_ms - from_ms > timedelta(days=3660).total_seconds() * MS_PER_S:
        raise UserError(f"--from {from_} to --to {to_} is over ten years; expected less")
    return from_ms, to_ms


def _missing(error: ModuleNotFoundError) -> UserError:
    if (error.name or "").partition(".")[0] not in ("influxdb_client", "urllib3"):
        raise error
    return UserError(
        "rimewatch mirror compare needs influxdb-client, which is not installed; install it "
        "with: pip install 'rimewatch[mirror]'"
    )
