"""The same fold as everywhere over an archive, a task a shop, on this or other machines.

A shop is one task: its alarms depend on all its probes, in the order of arrival. A worker
that dies takes nothing with it: Dask gives its shop to another one, and the ledger depends
on the files alone. Workers read the archive themselves, so each must see it under the same
path.
"""

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from rimewatch.archive.layout import ArchiveError, shop_folder
from rimewatch.archive.reading import history
from rimewatch.config import ConfigError, load_shop
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_text

if TYPE_CHECKING:
    from distributed import Client


def replay_shop(archive: str, shop: str, configuration: str) -> bytes:
    """Return one shop's ledger as JSON.

    Args:
        archive: The archive's folder.
        shop: The shop's id in it.
        configuration: The text of the shop's TOML file.

    Raises:
        ArchiveError: If the archive or the configuration cannot be used.
    """
    try:
        known = load_shop(configuration, source=f"{shop}.toml", sends=False)
    except ConfigError as error:
        raise ArchiveError(str(error)) from None
    probes = [probe.id for probe in known.probes]
    done = replay(known, history(shop_folder(Path(archive), shop), probes), summaries=False)
    return ledger_text(done.ledger).encode()


def replay_here(
    archive: Path, configurations: Iterable[tuple[str, str]]
) -> Iterator[tuple[str, bytes]]:
    """Yield each shop's id and ledger, one after the other in this process.

    Args:
        archive: The archive's folder.
        configurations: Ids of shops, and the texts of their configurations.
    """
    for shop, configuration in configurations:
        yield shop, replay_shop(str(archive), shop, configuration)


def replay_on(
    client: "Client",
    archive: Path,
    configurations: Iterable[tuple[str, str]],
) -> Iterator[tuple[str, bytes]]:
    """Yield each shop's id and ledger as the workers of a Dask cluster have done them.

    Args:
        client: A connection to the cluster's scheduler.
        archive: The archive's folder, as the workers see it.
        configurations: Ids of shops, and the texts of their configurations.

    Raises:
        ArchiveError: If a shop cannot be replayed.
    """
    from distributed import KilledWorker, as_completed  # noqa: PLC0415 (optional)

    where = str(archive.resolve())
    futures = {
        client.submit(replay_shop, where, shop, text, key=f"replay-{shop}", pure=False): shop
        for shop, text in configurations
    }
    for future in as_completed(list(futures)):  # type: ignore[no-untyped-call]
        shop = futures[future]
        try:
            ledger: bytes = future.result()
        except KilledWorker:
            raise ArchiveError(
                f"shop {shop}: every worker that took it died; is there enough memory?"
            ) from None
        future.release()
        yield shop, ledger
