"""``rimewatch summary``: a past morning's summary, or one of the time since the last."""

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

import click

from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.commands.standing import Standing, standing
from rimewatch.errors import UserError
from rimewatch.shop import Shop


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shown:
    """A summary as it is shown: what was kept, and the instant it is of."""

    text: str
    html: str
    page: str
    made: datetime
    seal: str
    """The seal's line; empty: no day has one yet."""


@click.command(
    epilog="Example:  rimewatch summary --config shop.toml\n\nOf a past morning:  "
    "rimewatch summary --config shop.toml --day 2026-03-03 --pdf summary.pdf"
)
@config_option
@journal_option
@click.option("--day", help="A past morning's local date; without it, the time since the last.")
@click.option("--html", type=click.Path(path_type=Path), help="Write the HTML there as well.")
@click.option("--pdf", type=click.Path(path_type=Path), help="Write a PDF there as well.")
def command(
    config: Path, journal: Path, day: str | None, html: Path | None, pdf: Path | None
) -> None:
    """Show a morning's summary as text."""
    from rimewatch.commands.files import write_whole
    from rimewatch.report.seal_line import html_with, text_with

    shop = load(config, sends=False)
    with standing(shop, journal) as now:
        shop = now.evaluator.shop  # with what held before
        shown = _past(shop, now, day) if day else _since_the_last(shop, now)
    click.echo(text_with(shown.text, shown.seal), nl=False)
    if html is not None:
        write_whole(html, html_with(shown.html, shown.seal))
    if pdf is not None:
        write_whole(pdf, _pdf(shop, shown))


def _pdf(shop: Shop, shown: _Shown) -> bytes:
    from rimewatch.report.document_pdf import document_pdf
    from rimewatch.report.page_json import page_from_json
    from rimewatch.report.summary_document import kept_charts, summary_document

    if not shown.page:
        raise UserError(
            "this summary was made by an older version, which kept no page for a PDF; "
            "use --html and print that"
        )
    document = summary_document(
        page_from_json(shown.page), kept_charts(shown.html), made=shown.made, seal=shown.seal
    )
    return document_pdf(document, paper=shop.paper)


def _seal_line(now: Standing, before: date) -> str:
    """Return the line with the last day's seal from before a morning."""
    from rimewatch.journal.canonical import GROUPS_SHOWN, grouped
    from rimewatch.report.seal_line import seal_line

    days = [row for row in now.journal.seal_rows() if row.kind == "day" and row.day < before]
    return seal_line(days[-1].day, grouped(days[-1].seal, GROUPS_SHOWN)) if days else ""


def _past(shop: Shop, now: Standing, day: str) -> _Shown:
    from rimewatch.evaluation.mornings import instant_ms
    from rimewatch.report.wording import local_zone
    from rimewatch.service.mornings import is_in_hand

    try:
        wanted = date.fromisoformat(day)
    except ValueError:
        raise UserError(f'"{day}" is no date; expected one such as 2026-03-03') from None
    found = now.journal.summary(wanted)
    if found is None and is_in_hand(now.journal, wanted):
        raise UserError(f"the charts of {day} are being drawn; ask again in some seconds")
    if found is None:
        raise UserError(f"there is no summary of {day}; the service was not watching that morning")
    made_ms = instant_ms(wanted, shop.summary_at, shop.timezone)
    return _Shown(
        text=found.text,
        html=found.html,
        page=found.page,
        made=local_zone(made_ms, shop.timezone),
        seal=_seal_line(now, wanted),
    )


def _since_the_last(shop: Shop, now: Standing) -> _Shown:
    from rimewatch.evaluation.mornings import local_day, previous_morning_ms
    from rimewatch.report.morning import render_morning
    from rimewatch.report.wording import local_zone
    from rimewatch.service.resume import account_of

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
    return _Shown(
        text=morning.text,
        html=morning.html,
        page=morning.page,
        made=local_zone(now.now_ms, shop.timezone),
        seal=_seal_line(now, today),
    )
