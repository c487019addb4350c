"""``rimewatch summary``: a past morning's summary, or one of the time since the last."""

from datetime import date
from pathlib import Path

import click

from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.commands.standing import standing
from rimewatch.errors import UserError


@click.command(
    epilog="Example:  rimewatch summary --config shop.toml\n\nOf a past morning:  "
    "rimewatch summary --config shop.toml --day 2026-03-03 --html summary.html"
)
@config_option
@journal_option
@click.option("--day", help="A past morning's local date; without it, the time since the last.")
@click.option("--html", type=click.Path(path_type=Path), help="Write the HTML there as well.")
def command(config: Path, journal: Path, day: str | None, html: Path | None) -> None:
    """Show a morning's summary as text."""
    from rimewatch.commands.files import write_whole

    text, page = _past(config, journal, day) if day else _since_the_last(config, journal)
    click.echo(text, nl=False)
    if html is not None:
        write_whole(html, page)


def _past(config: Path, journal: Path, day: str) -> tuple[str, str]:
    try:
        wanted = date.fromisoformat(day)
    except ValueError:
        raise UserError(f'"{day}" is no date; expected one such as 2026-03-03') from None
    with standing(load(config, sends=False), journal) as now:
        found = now.journal.summary(wanted)
    if found is None:
        raise UserError(f"there is no summary of {day}; the service was not watching that morning")
    return found.text, found.html


def _since_the_last(config: Path, journal: Path) -> tuple[str, str]:
    from rimewatch.evaluation.mornings import local_day, previous_morning_ms
    from rimewatch.report.morning import render_morning
    from rimewatch.service.resume import account_of

    shop = load(config, sends=False)
    with standing(shop, journal) as now:
        today = local_day(now.now_ms, shop.timezone)
        before_ms = previous_morning_ms(today, shop.summary_at, shop.timezone)
        from_ms = max(before_ms, now.evaluator.watching_since_ms)
        if from_ms >= now.now_ms:
            raise UserError("the service has only just begun to watch; ask again in a while")
        morning = render_morning(
            shop,
            now.journal,
            account_of(now.journal, now.evaluator, from_ms, now.now_ms),
            now.evaluator.histories(),
            from_ms=from_ms,
            to_ms=now.now_ms,
        )
    return morning.text, morning.html
