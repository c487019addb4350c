"""``rimewatch archive``: journals as Parquet, and many shops replayed by many processes."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rimewatch.commands.files import write_whole
from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.errors import UserError

if TYPE_CHECKING:
    from rich.progress import Progress


@click.group(epilog="Example:  rimewatch archive export --config shop.toml --out archive/")
def command() -> None:
    """Export journals into an archive of Parquet files, and replay the shops in it."""


@command.command(
    "export",
    epilog="Example:  rimewatch archive export --config shop.toml --journal rimewatch.db "
    "--out archive/",
)
@config_option
@journal_option
@click.option(
    "--out",
    "archive",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="The archive's folder.",
)
@click.option("--shop", help="The shop's id in the archive.  [default: made of its name]")
def export(config: Path, journal: Path, archive: Path, shop: str | None) -> None:
    """Write a journal's readings by probe and month, and its entries, into an archive.

    The service may go on meanwhile. Files of the same months are replaced. Alarms, messages
    and seals stay in the journal: the archive is for evaluation, the journal is the record.
    """
    with _optional("rimewatch archive export", "pyarrow"):
        from rimewatch.archive.export import export as write
    from rimewatch.archive.layout import ArchiveError, shop_id
    from rimewatch.journal.errors import JournalError
    from rimewatch.journal.reader import JournalReader

    known = load(config, sends=False)
    if not journal.exists():
        raise UserError(f"there is no journal {journal}; name its file with --journal")
    try:
        with JournalReader.open(journal) as reader:
            done = write(reader, archive, shop or shop_id(known.name))
    except (ArchiveError, JournalError) as error:
        raise UserError(str(error)) from None
    click.echo(
        f"{archive / ('shop=' + (shop or shop_id(known.name)))}: {done.readings:,} readings in "
        f"{done.files:,} files, {done.entries:,} entries, {done.octets:,} bytes."
    )


@command.command(
    "replay",
    epilog="Example:  rimewatch archive replay archive/ --config shop.toml --out ledgers/\n\n"
    "Many shops, a file each, on two processes:  rimewatch archive replay archive/ "
    "--config shops/ --out ledgers/ --workers 2",
)
@click.argument("archive", type=click.Path(path_type=Path, file_okay=False))
@click.option(
    "--config",
    "config",
    type=click.Path(path_type=Path),
    required=True,
    envvar="RIMEWATCH_CONFIG",
    show_envvar=True,
    help="The shops' configuration: a TOML file for all, or a folder with SHOP.toml for each.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    required=True,
    help="Folder for SHOP/ledger.json.",
)
@click.option("--shop", "only", multiple=True, help="Only this shop; may be given again.")
@click.option(
    "--workers",
    type=click.IntRange(min=1, max=1024),
    help="Processes to start on this machine.  [default: none; one shop after the other]",
)
@click.option("--scheduler", help="Address of a running Dask scheduler, such as tcp://HOST:8786.")
def replay(
    archive: Path,
    config: Path,
    out: Path,
    only: Sequence[str],
    workers: int | None,
    scheduler: str | None,
) -> None:
    """Evaluate every shop of an archive into its ledger, by the fold that the service runs.

    A shop is one task. What a process had in hand when it died is done again by another.
    Ledgers do not depend on how many there are. Nothing is sent.
    """
    with _optional("rimewatch archive replay", "pyarrow"):
        from rimewatch.archive.replaying import replay_here
    from rimewatch.archive.layout import ArchiveError

    if workers is not None and scheduler is not None:
        raise UserError("--workers and --scheduler are both given; expected one of them")
    configurations = _configurations(archive, config, only)
    try:
        if workers is None and scheduler is None:
            _write(replay_here(archive, configurations), len(configurations), out)
        else:
            _replay_with_dask(archive, configurations, out, workers, scheduler)
    except ArchiveError as error:
        raise UserError(str(error)) from None


def _replay_with_dask(
    archive: Path,
    configurations: list[tuple[str, str]],
    out: Path,
    workers: int | None,
    scheduler: str | None,
) -> None:
    with _optional("--workers and --scheduler", "dask", "distributed"):
        from distributed import Client, LocalCluster
    from rimewatch.archive.replaying import replay_on

    with ExitStack() as stack:
        try:
            address = scheduler or stack.enter_context(
                LocalCluster(  # type: ignore[no-untyped-call]
                    n_workers=workers,
                    threads_per_worker=1,
                    processes=True,
                    dashboard_address="127.0.0.1:0",
                )
            )
            client = stack.enter_context(
                Client(address, timeout=30)  # type: ignore[no-untyped-call]
            )
        except (OSError, ValueError) as error:
            raise UserError(
                f"the scheduler {scheduler or 'on this machine'} cannot be reached: {error}"
            ) from None
        _write(replay_on(client, archive, configurations), len(configurations), out)


def _configurations(archive: Path, config: Path, only: Sequence[str]) -> list[tuple[str, str]]:
    from rimewatch.archive.layout import shops_in

    shops = shops_in(archive)
    if not shops:
        raise UserError(f"{archive} has no shop=ID folder; expected an archive of rimewatch")
    if unknown := sorted(set(only) - set(shops)):
        raise UserError(f"there is no shop {unknown[0]} in {archive}; it has {', '.join(shops)}")
    wanted = [shop for shop in shops if not only or shop in only]
    files = {shop: config / f"{shop}.toml" if config.is_dir() else config for shop in wanted}
    found = []
    for shop, file in files.items():
        load(file, sends=False)  # all of what is wrong is told before anything is begun
        found.append((shop, file.read_text(encoding="utf-8-sig")))
    return found


def _write(ledgers: Iterable[tuple[str, bytes]], shops: int, out: Path) -> None:
    with _progress() as progress:
        task = progress.add_task("Replaying shops", total=shops)
        for shop, ledger in ledgers:
            write_whole(out / shop / "ledger.json", ledger.decode())
            progress.advance(task)
    click.echo(f"{shops} {'ledger' if shops == 1 else 'ledgers'} in {out}.", err=True)


@contextmanager
def _progress() -> Iterator["Progress"]:
    from rich.console import Console
    from rich.progress import MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("{task.description}"), MofNCompleteColumn(), TimeElapsedColumn())
    console = Console(stderr=True)
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as p:
        yield p


@contextmanager
def _optional(what: str, *packages: str) -> Iterator[None]:
    """Turn a missing optional package into a sentence with its cure."""
    try:
        yield
    except ModuleNotFoundError as error:
        missing = (error.name or "").partition(".")[0]
        if missing not in packages:
            raise
        raise UserError(
            f"{what} needs {missing}, which is not installed; install it with: "
            "pip install 'rimewatch[archive]'"
        ) from None
