"""``rimewatch stamp``: have an authority outside say when a day's seal was there."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from rimewatch.commands.options import journal_option
from rimewatch.commands.terminal import first_of
from rimewatch.errors import UserError

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

    from rimewatch.journal.reader import JournalReader


@click.command(
    epilog="Example:  rimewatch stamp --url http://stamps.example/ --authority authority.pem\n\n"
    "Whether all stamps hold:  rimewatch stamp --check --authority authority.pem\n\n"
    "With other tools:  printf SEAL | openssl ts -verify -data /dev/stdin -in "
    "stamps/2026-03-02.tsr -CAfile authority.pem"
)
@journal_option
@click.option("--url", envvar="RIMEWATCH_STAMP_URL", help="The authority's address (RFC 3161).")
@click.option(
    "--authority",
    type=click.Path(path_type=Path),
    envvar="RIMEWATCH_STAMP_AUTHORITY",
    required=True,
    help="The certificate of the authority that is believed, in PEM; fetch it from itself.",
)
@click.option("--check", "checks", is_flag=True, help="Check the stamps that are there.")
def command(journal: Path, url: str | None, authority: Path, *, checks: bool) -> None:
    """Have the last day's seal stamped, or check every stamp against the journal's seals.

    Stamps are kept in stamps/ beside the journal, a file a day. A stamp says that the record up to
    that day was there at that time, whoever owns this machine; it does not say that it is right.
    """
    from rimewatch.commands.standing import existing
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader

    try:
        from rimewatch.service.stamps import StampError, certificates_in
    except ModuleNotFoundError:
        raise UserError(
            "stamps need a further library: pip install 'rimewatch[stamp]'; the seals do not"
        ) from None
    existing(journal)
    try:
        roots = certificates_in(authority)
        with JournalReader.open(journal) as reader:
            if checks:
                _check_all(reader, journal, roots)
            elif url is None:
                raise UserError("no authority is named; give its address with --url, or --check")
            else:
                _stamp_last(reader, journal, url, roots)
    except (JournalError, StampError) as error:
        raise UserError(str(error)) from None


def _stamp_last(
    reader: "JournalReader", journal: Path, url: str, roots: "list[Certificate]"
) -> None:
    from rimewatch.instants import iso
    from rimewatch.journal.backup import sync
    from rimewatch.service.stamps import StampError, ask, place_of

    row = reader.latest_seal()
    if row is None:
        raise UserError("no day is sealed yet: the service seals each an hour after its end")
    place = place_of(journal, row.day)
    if place.exists():
        click.echo(f"{place}: {row.day} has its stamp already.")
        return
    try:
        stamp = ask(url, row.seal, roots)
    except StampError as error:
        raise UserError(
            f"the seal of {row.day} has no stamp: {error}. The seal itself stands; try again"
        ) from None
    part = place.with_suffix(".part")
    try:
        place.parent.mkdir(mode=0o700, exist_ok=True)
        part.write_bytes(stamp.answer)
        part.chmod(0o600)
        sync(part)
        part.replace(place)
        sync(place.parent)
    except OSError as error:
        raise UserError(f"{place} cannot be written ({error.strerror})") from None
    click.echo(f"{place}: the seal of {row.day} was there at {iso(stamp.at_ms)}.")


def _check_all(reader: "JournalReader", journal: Path, roots: "list[Certificate]") -> None:
    from datetime import date

    from rimewatch.instants import iso
    from rimewatch.journal.backup_beside import STAMP_SUFFIX
    from rimewatch.service.stamps import StampError, check, folder_of

    places = sorted(folder_of(journal).glob(f"*{STAMP_SUFFIX}"))
    if not places:
        raise UserError(f"{folder_of(journal)} holds no stamp; make one with --url")
    wrong = []
    for place in places:
        try:
            row = reader.seal_of_day(date.fromisoformat(place.stem))
        except ValueError:
            row = None
        if row is None:
            wrong.append(f"{place}: the journal has no seal of that day")
            continue
        try:
            stamp = check(place.read_bytes(), row.seal, roots)
        except (StampError, OSError) as error:
            wrong.append(f"{place}: {error}")
        else:
            click.echo(f"{row.day}: this seal was there at {iso(stamp.at_ms)}.")
    if wrong:
        raise UserError(
            f"{first_of(wrong)}: the record up to then is not the one that was stamped, or the "
            "stamp is another authority's"
        )
