"""``rimewatch review``: how a week or four weeks went, beside those before."""

from datetime import date, timedelta
from pathlib import Path

import click

from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.commands.standing import standing
from rimewatch.errors import UserError


@click.command(
    epilog="Example:  rimewatch review --config shop.toml --week\n\nFour weeks, on paper:  "
    "rimewatch review --config shop.toml --month --ending 2026-03-29 --pdf review.pdf"
)
@config_option
@journal_option
@click.option("--week", "days", flag_value=7, type=int, default=7, help="Seven days. [default]")
@click.option("--month", "days", flag_value=28, type=int, help="Four whole weeks.")
@click.option("--ending", help="The last local day, such as 2026-03-29.  [default: yesterday]")
@click.option("--html", type=click.Path(path_type=Path), help="Write the HTML there as well.")
@click.option("--pdf", type=click.Path(path_type=Path), help="Write a PDF there as well.")
def command(
    config: Path,
    journal: Path,
    days: int,
    ending: str | None,
    html: Path | None,
    pdf: Path | None,
) -> None:
    """Show trends by unit, how the alarms served, doors, probe checks and unmonitored time."""
    from rimewatch.alarms import codec
    from rimewatch.commands.files import write_whole
    from rimewatch.evaluation.mornings import local_day
    from rimewatch.report.probe_checks import last_checks_ms
    from rimewatch.report.review import build_review
    from rimewatch.report.review_pages import review_html, review_pdf, review_text

    shop = load(config, sends=False)
    with standing(shop, journal) as now:
        yesterday = local_day(now.now_ms, shop.timezone) - timedelta(days=1)
        try:
            last = yesterday if ending is None else date.fromisoformat(ending)
        except ValueError:
            raise UserError(
                f'--ending "{ending}" is no date; expected one such as 2026-03-29'
            ) from None
        try:
            review = build_review(
                shop,
                now.journal,
                now.evaluator.histories(),
                [
                    codec.alarm_from_json(row.text)
                    for row in now.journal.alarms_between(0, now.now_ms)
                ],
                days=days,
                last=last,
                now_ms=now.now_ms,
                checked_ms=last_checks_ms(now.evaluator.entries, now.now_ms),
            )
        except ValueError as error:
            raise UserError(f"--ending: {error}") from None
    click.echo(review_text(review), nl=False)
    if html is not None:
        write_whole(html, review_html(review))
    if pdf is not None:
        write_whole(pdf, review_pdf(review, paper=shop.paper))
