"""Many shops' journals as Parquet, replayed by one process and by several, one of them killed."""

import json
import os
import signal
import threading
import time
from collections.abc import Iterable, Iterator
from io import BytesIO
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from click.testing import CliRunner
from distributed import Client, LocalCluster

from rimewatch.archive.export import export
from rimewatch.archive.layout import ArchiveError, months_in, shop_folder
from rimewatch.archive.replaying import replay_here, replay_on, replay_shop
from rimewatch.cli import rimewatch
from rimewatch.config import load_shop
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.trace import TraceEntry, TraceMessage, read_trace
from rimewatch.journal.journal import Journal
from rimewatch.replay import replay
from rimewatch.report.ledger_json import ledger_document

pytestmark = pytest.mark.integration

PATIENCE_S = 60.0

CONFIGURATION = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
on_delay_s = 600
lag_s = 600
[[unit]]
id = "ulf-1"
name = "Ultra-low freezer"
kind = "ultra-low-freezer"
lag_s = 0
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
format = "json"
fields = { value = "t", time = "ts", battery = "bat" }
[[probe]]
id = "ulf-1-product"
unit = "ulf-1"
measures = "product"
topic = "shop/ulf-1/product"
format = "number"
scale = "F"
[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:1/"]
"""

START_MS = 1_774_915_200_000
"""2026-03-31T00:00:00Z: two days reach over the end of a month."""
DAYS = 2


def two_days(warmest_c: float) -> list[TraceMessage | TraceEntry]:
    """Return a shop's days: a warm spell each day, a backlog over the month's end, a lot."""
    lines: list[dict[str, object]] = []
    backlog: list[dict[str, object]] = []
    for minute in range(DAYS * 1440):
        at_ms = START_MS + minute * 60_000 + 137
        warm_c = warmest_c * max(0.0, 1.0 - abs(minute % 1440 - 700) / 100)
        payload = {"t": round(1.5 + warm_c + minute % 7 * 0.01, 2), "ts": at_ms, "bat": 90}
        message = {"topic": "shop/case-1/air", "payload": json.dumps(payload)}
        late = 1380 <= minute < 1500
        (backlog if late else lines).append({"at_ms": at_ms + 40, **message})
        if minute == 1500:
            lines.extend({**one, "at_ms": at_ms + 40} for one in backlog)
        sent = f"{-85.0 + minute % 11 * 0.1:.1f}"
        lines.append({"at_ms": at_ms + 9000, "topic": "shop/ulf-1/product", "payload": sent})
    lot = {"do": "receive-lot", "lot": "L-1", "species": "Oncorhynchus nerka", "origin": "wild"}
    lines += [
        {"at_ms": START_MS + 600_000, **lot, "serve_raw": True, "celsius": 1.0},
        {
            "at_ms": START_MS + 1_200_000,
            "do": "start-freezing",
            "lot": "L-1",
            "unit": "ulf-1",
            "option": "35C-15h",
        },
    ]
    lines.sort(key=lambda line: int(str(line["at_ms"])))
    text = b"".join(
        json.dumps({"at": _iso(int(str(line.pop("at_ms")))), **line}).encode() + b"\n"
        for line in lines
    )
    return list(read_trace(BytesIO(text)))


def _iso(at_ms: int) -> str:
    seconds, rest = divmod(at_ms, 1000)
    return time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(seconds)) + f".{rest:03}Z"


def keep(folder: Path, lines: Iterable[TraceMessage | TraceEntry]) -> Journal:
    """Take a trace into a new journal, as the service does, and pack its days."""
    receiver = Receiver(load_shop(CONFIGURATION, sends=False))
    journal = Journal.open(folder)
    with journal.batch():
        for line in lines:
            if isinstance(line, TraceEntry):
                journal.add_entry(line.entry, "trace")
            else:
                found = receiver.receive(line.topic, line.payload, line.at_ms)
                journal.add_readings(found.readings)
    journal.compact(START_MS + 86_400_000)
    return journal


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give an archive of four shops."""
    folder = tmp_path_factory.mktemp("archive")
    for number in range(4):
        with keep(folder / f"{number}.db", two_days(5.0 + number)) as journal:
            done = export(journal, folder / "archive", f"shop-{number}")
            assert (done.readings, done.files, done.entries) == (DAYS * 2880, 4, 2)
    return folder / "archive"


def configurations(shops: int = 4) -> list[tuple[str, str]]:
    return [(f"shop-{number}", CONFIGURATION) for number in range(shops)]


@pytest.fixture(scope="module")
def alone(archive: Path) -> dict[str, bytes]:
    """Give the ledgers as one process does them, one shop after the other."""
    return dict(replay_here(archive, configurations()))


@pytest.fixture
def cluster() -> Iterator[LocalCluster]:
    """Give two worker processes; one that is killed is started again."""
    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0"
    ) as cluster:
        yield cluster


def test_archive_gives_the_ledger_of_the_trace_it_came_from(archive: Path) -> None:
    """The same fold over the same history: figures, alarms, messages and the lot's hold.

    Only how far a device's clock was off is not known there: an archive holds readings,
    not messages.
    """
    shop = load_shop(CONFIGURATION, sends=False)
    expected = ledger_document(replay(shop, two_days(8.0)).ledger)

    ledger = json.loads(replay_shop(str(archive), "shop-3", CONFIGURATION))

    for probe in (*ledger["probes"].values(), *expected["probes"].values()):
        for known_from_messages in ("clock_offset_s", "times_not_used", "two_sources"):
            probe.pop(known_from_messages, None)
    assert ledger == expected
    assert len(ledger["alarms"]) >= 2, "days without an alarm would prove little"
    assert ledger["lots"][0]["state"] == "complete"


def test_files_are_named_by_shop_probe_and_month(archive: Path) -> None:
    """Other tools find their way, and a month can be exported again by itself."""
    months = months_in(shop_folder(archive, "shop-0"))

    assert [str(month) for month in months] == ["2026-03", "2026-04"]
    (_, path) = next(iter(months.values()))[0]
    table = pq.read_table(path, partitioning=None)
    assert table.num_rows == 1440
    assert table["observed_ms"][0].as_py() == START_MS + 137
    assert table["battery"].null_count == 1440 - 24


def test_processes_give_the_bytes_of_one_even_where_one_of_them_is_killed(
    cluster: LocalCluster, archive: Path, alone: dict[str, bytes]
) -> None:
    """How many there are changes when a ledger is done, never what it says.

    A machine that is switched off takes nothing with it: its shops are done again.
    """
    done: dict[str, bytes] = {}
    lost: list[str] = []
    with Client(cluster) as client:
        client.wait_for_workers(2, timeout=PATIENCE_S)
        for shop, ledger in replay_on(client, archive, configurations()):
            done[shop] = ledger
            if not lost:
                lost = kill_one_at_work(cluster, client)

    assert done == alone
    assert len(set(alone.values())) == 4, "the shops differ"
    assert lost


def kill_one_at_work(cluster: LocalCluster, client: Client) -> list[str]:
    """End a worker in the middle of its work; return what it had in hand."""
    end_s = time.monotonic() + PATIENCE_S
    pause = threading.Event()
    while time.monotonic() < end_s:
        for address, keys in client.processing().items():
            for nanny in cluster.workers.values():
                if keys and nanny.worker_address == address:
                    os.kill(nanny.pid, signal.SIGKILL)
                    return [str(key) for key in keys]
        pause.wait(0.01)
    raise AssertionError("no worker was at work")


def test_command_writes_a_ledger_for_each_shop(
    archive: Path, alone: dict[str, bytes], tmp_path: Path
) -> None:
    """From journal to archive to ledgers by the commands a person types."""
    configs = tmp_path / "shops"
    configs.mkdir()
    for shop, text in configurations(2):
        (configs / f"{shop}.toml").write_text(text)
    out = tmp_path / "out"

    run = CliRunner().invoke(
        rimewatch,
        [
            *("archive", "replay", str(archive), "--config", str(configs), "--out", str(out)),
            *("--shop", "shop-0", "--shop", "shop-1"),
        ],
        catch_exceptions=False,
        standalone_mode=False,
    )

    assert run.exit_code == 0, run.output
    for shop in ("shop-0", "shop-1"):
        assert (out / shop / "ledger.json").read_bytes() == alone[shop]


def test_damaged_file_is_named_with_its_cure(archive: Path, tmp_path: Path) -> None:
    """Half a file is no month of cold."""
    folder = tmp_path / "shop=shop-0" / "probe=case-1-air"
    folder.mkdir(parents=True)
    (_, path) = next(iter(months_in(shop_folder(archive, "shop-0")).values()))[0]
    (folder / path.name).write_bytes(path.read_bytes()[:-100])

    with pytest.raises(ArchiveError, match=r"month=2026-03.parquet cannot be read: .*again"):
        replay_shop(str(tmp_path), "shop-0", CONFIGURATION)


def test_shop_id_that_would_leave_the_folder_is_refused(archive: Path) -> None:
    """An id becomes a folder's name."""
    with pytest.raises(ArchiveError, match="no id of a shop"):
        shop_folder(archive, "../elsewhere")
