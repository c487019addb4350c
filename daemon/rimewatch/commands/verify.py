"""``rimewatch verify``: whether the journal is sound, and as it was sealed."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from rimewatch.commands.options import journal_option
from rimewatch.commands.terminal import first_of
from rimewatch.errors import UserError

if TYPE_CHECKING:
    from rimewatch.journal.reader import JournalReader

LATEST: Final = "latest"
FEWEST_DIGITS: Final = 8
"""Fewer digits of a printed seal would fit too many others."""


@click.command(
    epilog="Example:  rimewatch verify --journal rimewatch.db\n\nA day's seal, to be printed or "
    "mailed:  rimewatch verify --print-seal 2026-03-02\n\nWhether a printed seal still holds:  "
    "rimewatch verify --seal '3f1a 9c02 77de 41b0'"
)
@journal_option
@click.option(
    "--print-seal",
    "day",
    is_flag=False,
    flag_value=LATEST,
    metavar="[DAY]",
    help="Print a local day's seal, such as 2026-03-02; without a day, the last one.",
)
@click.option("--seal", help="A seal from paper or a mail, or its first groups: is it in here?")
def command(journal: Path, day: str | None, seal: str | None) -> None:
    """Check every page, packed day, entry and attachment, and recompute every day's seal.

    A sound file says nothing of what was never written. Whoever may write the file could make
    all seals anew: hold one from paper or a mail against it with --seal.
    """
    from rimewatch.commands.standing import existing
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader

    existing(journal)
    try:
        with JournalReader.open(journal) as reader:
            if day is not None:
                _print_seal(reader, day)
                return
            _check(reader, journal)
            _check_attachments(reader, journal)
            if seal is not None:
                _look_for(reader, seal)
    except JournalError as error:
        raise UserError(str(error)) from None


def _check(reader: "JournalReader", journal: Path) -> None:
    findings = reader.verify()
    if findings:
        raise UserError(
            f"{journal} is not sound: {'; '.join(findings)}. Keep the file aside and restore the "
            "latest backup"
        )
    click.echo(f"{journal}: every page, packed day and entry is sound.")
    if broken := reader.check_seals():
        raise UserError(
            f"{journal} was changed after it was sealed: {first_of(broken)}. Keep the file aside, "
            "and compare it with a backup"
        )
    _check_conclusions(reader, journal)
    days = [row for row in reader.seal_rows() if row.kind == "day"]
    if not days:
        click.echo("No day is sealed yet: the service seals each an hour after its end.")
        return
    noun = "day is" if len(days) == 1 else "days are"
    click.echo(
        f"{len(days)} {noun} as sealed, {days[0].day} to {days[-1].day}. "
        f"Last seal: {days[-1].printed}"
    )


def _check_conclusions(reader: "JournalReader", journal: Path) -> None:
    """Fold every reading again, and hold what was concluded against it."""
    if wrong := reader.check_conclusions():
        raise UserError(
            f"{journal}: what was concluded is not what the readings say: {first_of(wrong)}. Keep "
            "a copy of the file aside, and start the service again: it folds the readings anew"
        )
    click.echo("What was concluded of each probe's readings is what they say.")


def _check_attachments(reader: "JournalReader", journal: Path) -> None:
    """Hold every file on record against the SHA-256 in its entry."""
    from rimewatch.entries import AttachStatement
    from rimewatch.journal.attachments import Found, folder_of, found
    from rimewatch.service.resume import MOST_ENTRIES

    named = {
        entry.sha256: f"{entry.file} of lot {entry.lot}"
        for _, entry in reader.entries_after(0, MOST_ENTRIES)
        if isinstance(entry, AttachStatement) and entry.sha256
    }
    wrong = [
        f"{name} is {state.value} ({sha256})"
        for sha256, name in named.items()
        if (state := found(journal, sha256)) is not Found.PRESENT
    ]
    if wrong:
        raise UserError(
            f"{folder_of(journal)} is not as the entries say: {first_of(wrong)}. Restore it from "
            "a backup"
        )
    if named:
        noun = "attachment is" if len(named) == 1 else "attachments are"
        click.echo(f"{len(named)} {noun} as put on record.")


def _print_seal(reader: "JournalReader", day: str) -> None:
    if day == LATEST:
        row = reader.latest_seal()
        if row is None:
            raise UserError("no day is sealed yet: the service seals each an hour after its end")
    else:
        try:
            wanted = date.fromisoformat(day)
        except ValueError:
            raise UserError(f'"{day}" is no date; expected one such as 2026-03-02') from None
        row = reader.seal_of_day(wanted)
        if row is None:
            raise UserError(f"{day} has no seal; the service seals each day an hour after its end")
    click.echo(f"{row.day}  {row.printed}")


def _look_for(reader: "JournalReader", seal: str) -> None:
    digits = "".join(seal.split()).rstrip(".").lower()
    if len(digits) < FEWEST_DIGITS or not set(digits) <= set("0123456789abcdef"):
        raise UserError(
            f'--seal "{seal}" is no seal; expected its digits, at least the first '
            f"{FEWEST_DIGITS}, such as 3f1a 9c02"
        )
    found = [row for row in reader.seal_rows() if row.seal.startswith(digits)]
    if not found:
        raise UserError(
            f"no seal in this journal begins with {seal}: it is not the record that was printed "
            "or mailed, or the digits were misread"
        )
    click.echo(f"The seal is that of {found[0].day}: the record up to then is the one printed.")
