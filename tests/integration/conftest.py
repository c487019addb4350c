"""Fixtures for tests that need a real server: a receiver of messages, a guarded broker."""

import socket
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from dispatch_desk import LONG, Desk, open_desk
from http_receiver import Receiver
from mosquitto_broker import Mosquitto
from rimewatch.notify.letter import NOTHING, Extras
from rimewatch.notify.results import Limits

CONFIG = Path(__file__).parents[2] / "config"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Give the system's Chromium."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield started
        started.close()


@pytest.fixture
def start_receiver() -> Iterator[Callable[[], Receiver]]:
    """Start receivers of messages; all are let go and closed after the test."""
    started: list[Receiver] = []

    def start() -> Receiver:
        started.append(Receiver())
        return started[-1]

    yield start
    for one in started:
        one.close()


@pytest.fixture
def receiver(start_receiver: Callable[[], Receiver]) -> Receiver:
    """Give one running receiver that takes everything."""
    return start_receiver()


@pytest.fixture
def guarded(tmp_path: Path, start_mosquitto: Callable[..., Mosquitto]) -> Mosquitto:
    """Give a broker as config/mosquitto.conf has it once its three lines are in place."""
    return start_mosquitto(shipped(tmp_path, "allow_anonymous false", *GUARDED))


@pytest.fixture
def bound_ids(tmp_path: Path, start_mosquitto: Callable[..., Mosquitto]) -> tuple[Mosquitto, int]:
    """Give it with client ids bound to users as well, and the port of the service's listener."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port: int = free.getsockname()[1]
    chosen = shipped(
        tmp_path,
        "allow_anonymous false",
        *GUARDED,
        "listener 1883",
        "use_username_as_clientid true",
        "listener 1884 127.0.0.1",
    )
    chosen = chosen.replace("listener 1883", "listener PORT 127.0.0.1")
    return start_mosquitto(chosen.replace("listener 1884", f"listener {port}")), port


GUARDED = ("password_file", "acl_file", "message_size_limit")


def shipped(tmp_path: Path, *wanted: str) -> str:
    """Return lines of config/mosquitto.conf, as they are once they are in place."""
    text = (CONFIG / "mosquitto.conf").read_text()
    lines = [line.removeprefix("# ") for line in text.splitlines()]
    found = [line for line in lines if line.startswith(wanted)]
    assert len(found) == len(wanted), "the shipped file has each of the lines once"
    chosen = "\n".join(found)
    passwords = tmp_path / "passwords"
    passwords.touch(0o600)
    for user in ("rimewatch", "case-1"):
        subprocess.run(["mosquitto_passwd", "-b", passwords, user, f"word-of-{user}"], check=True)
    for shipped_path, path in (
        ("/mosquitto/config/passwords", passwords),
        ("/mosquitto/config/mosquitto-acl.conf", CONFIG / "mosquitto-acl.conf"),
    ):
        chosen = chosen.replace(shipped_path, str(path))
    return chosen + "\n"


@pytest.fixture
def desk() -> Iterator[Callable[..., Desk]]:
    """Open desks with contacts ``name=[urls]``; each is stopped after the test."""
    opened: list[Desk] = []

    def open_with(limits: Limits = LONG, extras: Extras = NOTHING, **contacts: list[str]) -> Desk:
        opened.append(open_desk(limits, contacts, extras))
        return opened[-1]

    yield open_with
    for one in opened:
        one.dispatcher.stop(0.0)
