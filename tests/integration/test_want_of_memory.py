"""Memory runs out while a backlog is taken in: the service goes on or ends, and nothing is lost."""

import resource
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from case_and_phone import AIR, CASE_ALONE
from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from service_process import Probes, ServiceProcess, readings, until

pytestmark = pytest.mark.integration

BACKLOG = 3000
SPARE_BYTES = 1 << 18


def backlog() -> list[str]:
    """Make readings a second apart, each beside 2 kB that nobody asked for."""
    end_s = SystemClock().now_ms() // 1000
    at = [datetime.fromtimestamp(end_s - n, tz=UTC).isoformat() for n in range(BACKLOG)][::-1]
    return [f'{{"t": 1.5, "ts": "{moment}", "more": "{"x" * 2000}"}}' for moment in at]


def test_backlog_for_which_there_is_no_memory_is_all_kept_after_a_restart(
    tmp_path: Path, start_mosquitto: Callable[..., Mosquitto]
) -> None:
    """With 256 KiB left it does not hang; once there is more, every reading is taken in."""
    broker = start_mosquitto("max_queued_messages 100000\n")
    config = tmp_path / "shop.toml"
    config.write_text(CASE_ALONE.format(port=broker.port))
    journal = tmp_path / "rimewatch.db"

    with ServiceProcess(config, journal) as service:
        service.wait_for("Listening")
        limit_address_space(service.pid)
        with Probes(broker.port) as probes:
            probes.publish(AIR, backlog())
        until(
            lambda: service.is_over() or readings(service, "case-1-air") == BACKLOG,
            "the service to end or to have taken everything in",
        )

    with ServiceProcess(config, journal) as service:
        service.wait_for("Listening")
        service.wait_for_readings("case-1-air", BACKLOG)
        assert service.look(lambda j: j.quarantine_latest()) == []
        assert service.look(lambda j: j.verify()) == []
        assert service.stop() == 0


def limit_address_space(pid: int) -> None:
    """Leave a process little more than it has."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[0])
    has = pages * resource.getpagesize()
    _, most = resource.prlimit(pid, resource.RLIMIT_AS)
    resource.prlimit(pid, resource.RLIMIT_AS, (has + SPARE_BYTES, most))
