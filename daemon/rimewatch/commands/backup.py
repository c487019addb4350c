"""``rimewatch backup``: the journal and what belongs to it, while the service runs, checked."""

from pathlib import Path

import click

from rimewatch.commands.options import journal_option
from rimewatch.errors import UserError


@click.command(epilog="Example:  rimewatch backup --journal rimewatch.db /mnt/usb/rimewatch.db")
@journal_option
@click.argument("to", type=click.Path(path_type=Path))
def command(journal: Path, to: Path) -> None:
    """Copy the journal to TO and check the copy; TO is replaced only if it is sound.

    The files on record go to attachments/ beside TO, and stamps to stamps/, those it has not; who
    may sign in to the pages goes to TO.people, readable by its owner alone.
    """
    from rimewatch.commands.standing import existing
    from rimewatch.journal.backup_beside import backup_attachments, backup_database, backup_stamps
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader
    from rimewatch.web.people import people_path

    existing(journal)
    try:
        with JournalReader.open(journal) as reader:
            size = reader.backup(to)
        click.echo(f"{to}: {size:,} bytes, checked and sound.")
        if backup_database(people_path(journal), people_path(to)):
            click.echo(f"{people_path(to)}: who may sign in, for its owner alone to read.")
        stamped = backup_stamps(journal, to)
        copied = backup_attachments(journal, to)
    except (JournalError, OSError) as error:
        raise UserError(str(error)) from None
    if stamped:
        click.echo(f"Stamps of seals: {stamped} new.")
    if copied.new or copied.already:
        click.echo(f"Attachments: {copied.new} new, {copied.already} there already, all sound.")
