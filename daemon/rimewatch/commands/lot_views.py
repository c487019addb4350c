"""``rimewatch lot``: how lots stand. A list, what is to be expected, and a lot's record."""

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from rimewatch.commands.lot_options import CAUTION
from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.commands.standing import Standing, standing
from rimewatch.entries import AnyEntry
from rimewatch.errors import UserError
from rimewatch.evaluation.lot_book import LotEntries, book
from rimewatch.evaluation.lot_story import Histories, LotStory, tell
from rimewatch.report import wording
from rimewatch.report.judged_anew import LOT_JUDGED_ANEW, still_to_be_known
from rimewatch.report.lot_document import lot_document
from rimewatch.report.lot_standing import PARASITES_ALONE, LotWords, lot_words
from rimewatch.shop import Shop
from rimewatch.vocabulary import MS_PER_H, LotId

if TYPE_CHECKING:
    from rimewatch.evaluation.lot_record import LotRecord


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lots:
    """The lots on the books; each is judged when it is asked for."""

    shop: Shop
    now: Standing
    histories: Histories
    entries: list[AnyEntry]
    book: Mapping[LotId, LotEntries]

    def here(self) -> list[LotStory]:
        """Return those that are not gone, judged now."""
        return [self._told(lot) for lot in self.book.values() if lot.withdrawn is None]

    def story(self, lot: str) -> LotStory:
        """Return one lot, gone or not, judged now.

        Raises:
            UserError: If there is no such lot.
        """
        found = self.book.get(LotId(lot))
        if found is not None:
            return self._told(found)
        known = ", ".join(list(self.book)[-5:]) or "none"
        raise UserError(f'there is no lot "{lot}" that counts on the books; the newest are {known}')

    def _told(self, lot: LotEntries) -> LotStory:
        return tell(self.shop, self.now.journal, self.histories, lot, self.now.now_ms)


@contextmanager
def _lots(shop: Shop, journal: Path, *, at_hand: bool = False) -> Iterator[_Lots]:
    """Open the books.

    Args:
        shop: The shop.
        journal: Where they are.
        at_hand: Leave out lots that are gone: years of them are not even read.
    """
    with standing(shop, journal, at_hand=at_hand) as now:
        shop = now.evaluator.shop  # with what held before
        entries = [*now.evaluator.entries, *now.waiting]
        yield _Lots(
            shop=shop,
            now=now,
            histories=now.evaluator.histories(),
            entries=entries,
            book=book(entries),
        )


@click.command("list", epilog="Example:  rimewatch lot list --config shop.toml --raw-ready")
@click.option(
    "--raw-ready",
    is_flag=True,
    help="Only lots whose proof is complete and sure, and that nothing speaks against.",
)
@click.option("--json", "as_json", is_flag=True, help="For other programs; times are UTC.")
@config_option
@journal_option
def list_lots(raw_ready: bool, as_json: bool, config: Path, journal: Path) -> None:  # noqa: FBT001 (flags)
    """List lots: where each is, how far its hold has come, and what its proof lacks."""
    shop = load(config, sends=False)
    with _lots(shop, journal, at_hand=True) as lots:
        here = lots.here()
        told = [event.detail for event in lots.now.journal.events_of_kind(LOT_JUDGED_ANEW)]
    judged = [(story, lot_words(shop, story)) for story in here]
    shown = [(story, words) for story, words in judged if words.is_ready or not raw_ready]
    if as_json:
        documents = [lot_document(shop, story) for story, _ in shown]
        click.echo(json.dumps(documents, ensure_ascii=False, indent=2))
        return
    for story, words in shown:
        click.echo(_line(story, words, ZoneInfo(shop.timezone)))
    for said in still_to_be_known(told, (story.lot for story, _ in shown)):
        click.echo(said)
    if not shown:
        nothing = "No lot's proof is complete and sure, with nothing against it."
        click.echo(nothing if raw_ready else "No lot is on the books.")
    click.echo(PARASITES_ALONE)
    click.echo(CAUTION)


def _line(story: LotStory, words: LotWords, zone: ZoneInfo) -> str:
    received = story.entries.received
    species = "unknown" if received is None else wording.printable(received.species)
    where = story.entries.unit or "nowhere yet"
    parts = [f"{story.lot} {species}, {where}: {_within(words.verdict)}"]
    hold = story.hold
    if hold is not None and hold.completed_ms is not None:
        parts.append(f"hold complete {wording.local_moment(round(hold.completed_ms), zone)}")
    elif hold is not None and hold.started_ms is not None and story.state == "freezing":
        parts.append(
            f"{wording.credited_hours(hold.credited_h, hold.required_h)}, complete "
            f"{wording.local_moment(round(hold.started_ms + hold.required_h * MS_PER_H), zone)} "
            "if the cold holds"
        )
    notes = (note for note in words.notes if note != PARASITES_ALONE)  # said once, below
    parts.extend(_within(said) for said in (*words.caveats, *notes, words.why_not) if said)
    return "; ".join(parts) + "."


def _within(said: str) -> str:
    """Return a sentence as a part of a longer one."""
    return f"{said[0].lower()}{said[1:].rstrip('.')}"


@click.command(epilog="Example:  rimewatch lot plan --config shop.toml")
@config_option
@journal_option
def plan(config: Path, journal: Path) -> None:
    """Say which lots will be ready when, and what to do about those that will be late."""
    from rimewatch.evaluation.lot_outlook import foretell_lots
    from rimewatch.lots.foretell import advice
    from rimewatch.report.freezing_words import advice_line

    shop = load(config, sends=False)
    zone = ZoneInfo(shop.timezone)
    with _lots(shop, journal, at_hand=True) as lots:
        found = foretell_lots(shop, lots.now.journal, lots.histories, lots.here(), lots.now.now_ms)
    units = {unit.id: unit.name for unit in shop.units}
    for item in found:
        when = "the count has not begun"
        if item.expected_ms is not None:
            done = wording.local_moment(round(item.expected_ms), zone)
            when = f"complete {done} if the cold holds"
        wanted = ""
        if item.needed_by_ms is not None:
            by = wording.local_moment(item.needed_by_ms, zone)
            wanted = f"; wanted by {by}: {'LATE' if item.is_late else 'in time'}"
        click.echo(f"{item.lot} by {item.option.value} in {item.unit}: {when}{wanted}.")
    for cure in advice(found):
        click.echo(advice_line(cure, units, zone, shop.display))
    if not found:
        click.echo("No lot is in its freezing hold.")


@click.command(epilog="Example:  rimewatch lot options --config shop.toml --lot L-0412")
@click.option("--lot", help="For this lot; without it, for fish of unknown thickness.")
@config_option
@journal_option
def options(lot: str | None, config: Path, journal: Path) -> None:
    """Say what each freezer can do, by what it did lately, and when it would be complete."""
    from rimewatch.evaluation.lot_outlook import prospects_for
    from rimewatch.report.freezing_words import prospect_lines

    shop = load(config, sends=False)
    with _lots(shop, journal) as lots:
        received = None if lot is None else lots.story(lot).entries.received
        found = prospects_for(shop, lots.now.journal, lots.histories, received, lots.now.now_ms)
    units = {unit.id: unit.name for unit in shop.units}
    click.echo("Begun now, by what the freezers did lately, and only if the cold holds:")
    for line in prospect_lines(found, units, ZoneInfo(shop.timezone), shop.display):
        click.echo(f"  {line}")


@click.command(epilog="Example:  rimewatch lot record L-0412 --format pdf --out L-0412.pdf")
@click.argument("lot")
@click.option(
    "--format", "form", type=click.Choice(["text", "html", "json", "pdf"]), default="text"
)
@click.option("--out", type=click.Path(path_type=Path), help="Write it there.")
@config_option
@journal_option
def record(lot: str, form: str, out: Path | None, config: Path, journal: Path) -> None:
    """Show a lot's record: what, when, how cold, how measured, and every entry."""
    from rimewatch.commands.files import write_whole
    from rimewatch.evaluation.lot_record import record_of
    from rimewatch.journal.attachments import found
    from rimewatch.report.document_html import document_html
    from rimewatch.report.document_text import document_text
    from rimewatch.report.lot_page import lot_page
    from rimewatch.report.lot_record_json import lot_record_json

    if form == "pdf" and out is None:
        raise UserError("a PDF is not for the terminal; name its file with --out")
    shop = load(config, sends=False)
    with _lots(shop, journal) as lots:
        story = lots.story(lot)
        told = record_of(
            shop, lots.now.journal, lots.histories, story, lots.entries, lots.now.now_ms
        )
    files = {
        s.sha256: found(journal, s.sha256).value for s in told.story.entries.statements if s.sha256
    }
    content: str | bytes
    if form == "pdf":
        from rimewatch.report.document_pdf import document_pdf

        page = lot_page(shop, told, files, curve=_curve(shop, told))
        content = document_pdf(page, paper=shop.paper)
    elif form == "json":
        content = lot_record_json(told)
    elif form == "html":
        content = document_html(lot_page(shop, told, files, curve=_curve(shop, told)))
    else:
        content = document_text(lot_page(shop, told, files))
    if out is not None:
        write_whole(out, content)
        click.echo(f"The record of {lot} is in {out}.")
    else:
        click.echo(content, nl=False)


def _curve(shop: Shop, record: "LotRecord") -> bytes | None:
    """Return the curve of a record's hold, drawn; None where there is none."""
    from rimewatch.report.hold_chart import hold_chart_png

    if record.hold is None:
        return None
    return hold_chart_png(record.hold, ZoneInfo(shop.timezone), shop.display)
