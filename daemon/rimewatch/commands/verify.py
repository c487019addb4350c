"""``rimewatch verify``: whether the journal is sound."""

from pathlib import Path

import click

from rimewatch.commands.options import journal_option
from rimewatch.errors import UserError


@click.command(epilog="Example:  rimewatch verify --journal rimewatch.db")
@journal_option
def command(journal: Path) -> None:
    """Check every page of the journal; a sound file says nothing of what was never written."""
    from rimewatch.commands.standing import existing
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader

    existing(journal)
    try:
        with JournalReader.open(journal) as reader:
            findings = reader.verify()
    except JournalError as error:
        raise UserError(str(error)) from None
    if findings:
        raise UserError(
            f"{journal} is not sound: {'; '.join(findings)}. Keep the file aside and restore the "
            "latest backup"
        )
    click.echo(f"{journal}: every page, packed day and entry is sound.")
