"""``rimewatch review``: how a week or a month went, beside those before."""

import re
from contextlib import suppress
from datetime import date, timedelta
from pathlib import Path

import click

from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.commands.standing import standing
from rimewatch.errors import UserError

_LATEST = "latest"


@click.command(
    epilog="Example:  rimewatch review --config shop.toml --week\n\nA month, on paper:  "
    "rimewatch review --config shop.toml --month 2026-03 --pdf review.pdf\n\nAny seven days:  "
    "rimewatch review --config shop.toml --ending 2026-03-27"
)
@config_option
@journal_option
@click.option(
    "--week",
    is_flag=False,
    flag_value=_LATEST,
    help="Monday to Sunday; which week, such as 2026-W13.  [default: the last whole one]",
)
@click.option(
    "--month",
    is_flag=False,
    flag_value=_LATEST,
    help="A calendar month; which, such as 2026-03.  [default: the last whole one]",
)
@click.option("--ending", help="Seven days; the last of them, such as 2026-03-27.")
@click.option("--html", type=click.Path(path_type=Path), help="Write the HTML there as well.")
@click.option("--pdf", type=click.Path(path_type=Path), help="Write a PDF there as well.")
def command(
    config: Path,
    journal: Path,
    week: str | None,
    month: str | None,
    ending: str | None,
    html: Path | None,
    pdf: Path | None,
) -> None:
    """Show trends by unit, how the alarms served, doors, probe checks and unmonitored time."""
    from rimewatch.commands.files import write_whole
    from rimewatch.evaluation.mornings import local_day
    from rimewatch.report.document_text import document_text
    from rimewatch.report.review_document import review_document
    from rimewatch.service.looking_back import review_of

    shop = load(config, sends=False)
    with standing(shop, journal) as now:
        shop = now.evaluator.shop  # with what held before
        edges = _edges(week, month, ending, local_day(now.now_ms, shop.timezone))
        try:
            review = review_of(shop, now.journal, now.evaluator, edges, now.now_ms)
        except ValueError as error:
            raise UserError(str(error)) from None
    document = review_document(review)
    click.echo(document_text(document), nl=False)
    if html is not None:
        from rimewatch.report.document_html import document_html

        write_whole(html, document_html(document))
    if pdf is not None:
        from rimewatch.report.document_pdf import document_pdf

        write_whole(pdf, document_pdf(document, paper=shop.paper))


def _edges(week: str | None, month: str | None, ending: str | None, today: date) -> list[date]:
    """Return what is laid side by side.

    Raises:
        UserError: If more than one is asked for, or what is asked for is none.
    """
    from rimewatch.report.review import calendar_month, last_whole_week, week_ending

    if week == _LATEST and ending is not None:
        week = None  # the week that ends with that day
    if sum(asked is not None for asked in (week, month, ending)) > 1:
        raise UserError("--week, --month and --ending exclude one another; give one of them")
    if ending is not None:
        try:
            return week_ending(date.fromisoformat(ending))
        except ValueError:
            raise UserError(
                f'--ending "{ending}" is no date; expected one such as 2026-03-27'
            ) from None
    if month is not None:
        return calendar_month(*_month(month, today))
    if week is None or week == _LATEST:
        return last_whole_week(today)
    return week_ending(_sunday(week))


def _month(asked: str, today: date) -> tuple[int, int]:
    """Return the year and number of a month."""
    if asked == _LATEST:
        last = today.replace(day=1) - timedelta(days=1)
        return last.year, last.month
    found = re.fullmatch(r"(\d{4})-(0[1-9]|1[0-2])", asked)
    if found is None or not 1970 <= int(found[1]) <= 9990:
        raise UserError(f'--month "{asked}" is no month; expected one such as 2026-03')
    return int(found[1]), int(found[2])


def _sunday(asked: str) -> date:
    """Return the last day of a week by its number (ISO 8601)."""
    found = re.fullmatch(r"(19[7-9]\d|[2-8]\d{3})-W(\d{2})", asked)
    with suppress(ValueError):  # a year has 52 or 53 weeks
        if found is not None:
            return date.fromisocalendar(int(found[1]), int(found[2]), 7)
    raise UserError(f'--week "{asked}" is no week; expected one such as 2026-W13')
