"""What is written to be deployed works as far as this machine can tell: files, processes."""

import json
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable
from configparser import ConfigParser
from pathlib import Path
from typing import Any

import pytest
import yaml
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from mosquitto_broker import Mosquitto
from rimewatch.clock import SystemClock
from rimewatch.journal.checkpoints import EVALUATOR_STATE
from rimewatch.journal.journal import Journal
from rimewatch.service import health

pytestmark = pytest.mark.integration

ROOT = Path(__file__).parents[2]
PATIENCE_S = 60.0


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    """Give the compose file as a container engine reads it."""
    read: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
    return read


def test_compose_file_is_valid_by_the_compose_specifications_schema() -> None:
    """A typo in a key would be found when a shop starts it at the latest; better here."""
    checker = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec"]
    run = subprocess.run(
        [*checker, str(ROOT / "docker-compose.yml")], capture_output=True, text=True, check=False
    )

    assert run.returncode == 0, run.stdout


def test_schema_check_can_fail(tmp_path: Path) -> None:
    """The check above would notice."""
    wrong = (ROOT / "docker-compose.yml").read_text().replace("healthcheck:", "healthchek:")
    file = tmp_path / "docker-compose.yml"
    file.write_text(wrong)
    checker = [sys.executable, "-m", "check_jsonschema", "--builtin-schema", "vendor.compose-spec"]
    run = subprocess.run([*checker, str(file)], capture_output=True, text=True, check=False)

    assert run.returncode == 1
    assert "healthchek" in run.stdout


def test_containers_are_pinned_unprivileged_watched_and_without_secrets(
    compose: dict[str, Any],
) -> None:
    """Each runs as nobody in particular, on a root it cannot write, at a named version."""
    for name, service in compose["services"].items():
        assert re.search(r":\d+\.\d+\.\d+$", service["image"]), name
        assert not service["user"].startswith("0"), name
        assert service["read_only"] is True, name
        assert service["cap_drop"] == ["ALL"], name
        assert service["healthcheck"]["test"], name
        assert service["restart"] == "unless-stopped", name
        for key, value in (service.get("environment") or {}).items():
            assert not re.search("PASSWORD|TOKEN", key) or value.startswith("/run/secrets/"), key
    assert compose["services"]["influxdb"]["profiles"] == ["mirror"]
    assert all("file" in secret for secret in compose["secrets"].values())


def test_compose_file_mounts_files_that_are_there(compose: dict[str, Any]) -> None:
    """An engine makes an empty folder of a file that is missing."""
    mounts = [
        volume.split(":")[0]
        for service in compose["services"].values()
        for volume in service["volumes"]
        if volume.startswith("./")
    ]

    assert mounts
    assert [path for path in mounts if not (ROOT / path).is_file()] == []
    assert (ROOT / compose["services"]["rimewatch"]["build"]["dockerfile"]).is_file()


def test_same_processes_without_containers_take_a_reading_in(tmp_path: Path) -> None:
    """The broker's and the shop's files as they are shipped, together.

    And without memory that is both writable and executable, as the unit file has it
    (``MemoryDenyWriteExecute``), where the kernel can forbid it (Linux 6.3, PR_SET_MDWE).
    """
    forbid = (
        "import ctypes, os, sys; ctypes.CDLL(None).prctl(65, 1, 0, 0, 0); "
        "os.execvp('bash', ['bash', *sys.argv[1:]])"
    )
    run = subprocess.run(
        [
            sys.executable,
            "-c",
            forbid,
            str(ROOT / ".ci" / "compose-without-containers"),
            str(tmp_path),
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        env={"PYTHON": sys.executable, "PATH": "/usr/local/bin:/usr/bin:/bin:/usr/sbin"},
    )

    assert run.returncode == 0, run.stderr
    assert "a reading went through the broker into the journal" in run.stdout
    assert (tmp_path / "broker" / "mosquitto.db").exists(), "the broker keeps its sessions"


def test_health_check_tells_a_service_that_stands_still(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A container whose writer hangs looks well from outside; its journal knows."""
    path = tmp_path / "rimewatch.db"
    now_ms = SystemClock().now_ms()
    assert health.main([str(path)]) == 1
    with Journal.open(path) as journal:
        assert health.main([str(path)]) == 1
        journal.save_state(EVALUATOR_STATE, json.dumps({"seen_until_ms": now_ms}))
        assert health.main([str(path)]) == 0
        journal.save_state(EVALUATOR_STATE, json.dumps({"seen_until_ms": now_ms - 400_000}))
        assert health.main([str(path)]) == 1
    assert "no service has run with it yet" in capsys.readouterr().err


class _Unit(ConfigParser):
    """A unit file: keys keep their case, and may be given more than once."""

    def __init__(self) -> None:
        super().__init__(strict=False, interpolation=None, delimiters=("=",))
        self.optionxform = str  # type: ignore[assignment,method-assign]


def test_unit_file_is_hardened_and_never_gives_up() -> None:
    """The service runs as a user of its own that can write its state and nothing else."""
    unit = _Unit()
    unit.read(ROOT / "config" / "rimewatch.service")
    service = unit["Service"]

    wanted = {
        **dict.fromkeys(("DynamicUser", "NoNewPrivileges", "ProtectHome", "PrivateTmp"), "yes"),
        **dict.fromkeys(("PrivateDevices", "MemoryDenyWriteExecute", "RestrictSUIDSGID"), "yes"),
        "ProtectSystem": "strict",
        "StateDirectory": "rimewatch",
        "Restart": "always",
        "CapabilityBoundingSet": "",
    }
    assert {key: service[key] for key in wanted} == wanted
    assert unit["Unit"]["StartLimitIntervalSec"] == "0"
    assert "time-sync.target" in unit["Unit"]["After"]


def test_unit_file_is_valid_for_systemd(tmp_path: Path) -> None:
    """Systemd itself reads it without a word; only the program is one that is installed here."""
    program = shutil.which("systemd-analyze")
    assert program, "the tests need systemd-analyze: install your system's package systemd"
    text = (ROOT / "config" / "rimewatch.service").read_text()
    file = tmp_path / "rimewatch.service"
    file.write_text(text.replace("/opt/rimewatch/.venv/bin/rimewatch", "/bin/true"))

    def verify() -> tuple[int, str]:
        run = subprocess.run(
            [program, "verify", "--man=no", str(file)], capture_output=True, text=True, check=False
        )
        own = [line for line in run.stderr.splitlines() if "rimewatch.service" in line]
        return run.returncode, "\n".join(own)

    assert verify() == (0, "")
    file.write_text(file.read_text().replace("ProtectHome=yes", "ProtectHom=yes"))
    assert "ProtectHom" in verify()[1], "the check would notice"


def test_bridge_passes_readings_on_under_the_shops_own_prefix(
    start_mosquitto: Callable[..., Mosquitto],
) -> None:
    """The centre gets each shop's topics apart, once the bridge's file names its address."""
    centre = start_mosquitto()
    lines = (ROOT / "config" / "mosquitto-bridge.conf").read_text().splitlines()
    kept = [line for line in lines if not line.startswith(("#", "bridge_ca", "bridge_cert"))]
    kept = [line for line in kept if not line.startswith("bridge_key")]
    text = "\n".join(kept).replace("mqtt.example.com:8883", f"127.0.0.1:{centre.port}")
    got: list[tuple[str, bytes]] = []
    arrived = threading.Event()

    def take(_client: Client, _data: object, message: MQTTMessage) -> None:
        got.append((message.topic, message.payload))
        arrived.set()

    listener = Client(CallbackAPIVersion.VERSION2, client_id="centre")
    listener.on_message = take
    listener.on_connect = lambda client, *_: client.subscribe("#", qos=1)
    listener.connect("127.0.0.1", centre.port)
    listener.loop_start()
    shop = start_mosquitto(f"{text}\n")
    probe = Client(CallbackAPIVersion.VERSION2, client_id="probe")
    probe.connect("127.0.0.1", shop.port)
    probe.loop_start()
    try:
        probe.publish("shop/case-1/air", b"2.1", qos=1).wait_for_publish(PATIENCE_S)
        assert arrived.wait(PATIENCE_S), "nothing came through the bridge"
    finally:
        for client in (probe, listener):
            client.disconnect()
            client.loop_stop()
    assert got[0] == ("saltmarsh-row/shop/case-1/air", b"2.1")
