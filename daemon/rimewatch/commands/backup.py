"""``rimewatch backup``: a copy of the journal, made while the service runs, and checked."""

from pathlib import Path

import click

from rimewatch.commands.options import journal_option
from rimewatch.errors import UserError


@click.command(epilog="Example:  rimewatch backup --journal rimewatch.db /mnt/usb/rimewatch.db")
@journal_option
@click.argument("to", type=click.Path(path_type=Path))
def command(journal: Path, to: Path) -> None:
    """Copy the journal to TO and check the copy; TO is replaced only if it is sound."""
    from rimewatch.commands.standing import existing
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader

    existing(journal)
    try:
        with JournalReader.open(journal) as reader:
            size = reader.backup(to)
    except (JournalError, OSError) as error:
        raise UserError(str(error)) from None
    click.echo(f"{to}: {size:,} bytes, checked and sound.")
