"""A changed ``[web]``, read again while the service runs and somebody looks at the pages."""

import http.cookiejar
import re
import socket
import threading
import urllib.error
import urllib.request
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from handmade import Paper, probe, shop, unit
from mosquitto_broker import Mosquitto
from rimewatch.shop import Shop, Web
from running_service import RunningService
from service_process import until

pytestmark = pytest.mark.integration


class Reloaded:
    """A running service whose configuration file a test rewrites."""

    def __init__(self, file: list[Shop], running: RunningService) -> None:
        self._file = file
        self.running = running

    @property
    def web(self) -> Web | None:
        """The ``[web]`` there is."""
        return self._file[0].web

    def becomes(self, web: Web | None) -> str:
        """Have a changed ``[web]`` read; return what the service says of it."""
        before = len(self.running.said)
        self._file[0] = replace(self._file[0], web=web)
        self.running.service.reload()
        return until(lambda: self._verdict(before), "what is said of the new configuration")

    def _verdict(self, before: int) -> str:
        told = self.running.said[before:]
        return next((s for s in told if "configuration" in s.lower()), "")


@pytest.fixture
def reloaded(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[Reloaded]:
    """Run the service with pages on any port that is free."""
    plain = shop(unit(), probe("fish", measures="product"))
    web = Web(host="127.0.0.1", port=free_port())
    file = [replace(plain, broker=replace(plain.broker, url=mosquitto.url), web=web)]
    start_ms = Paper().start_ms
    with RunningService(
        file[0], tmp_path / "rimewatch.db", start_ms, reread=lambda: file[0]
    ) as running:
        yield Reloaded(file, running)


def free_port() -> int:
    """Return a port that nothing has right now."""
    with socket.create_server(("127.0.0.1", 0)) as probing:
        return int(probing.getsockname()[1])


def status(url: str, opener: urllib.request.OpenerDirector | None = None) -> int:
    """Return an answer's status; 0: nobody listens there."""
    try:
        with (opener or urllib.request.build_opener()).open(url, timeout=20) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code
    except urllib.error.URLError:
        return 0


def test_changed_address_is_used_and_sessions_go_on(reloaded: Reloaded) -> None:
    """Nobody signs in again; an open live page does not hold it up; the old address is free."""
    service = reloaded.running.service
    old = f"http://127.0.0.1:{service.pages.port}"
    found = re.search(r"(/set-up/\S+)", " ".join(reloaded.running.said))
    assert found is not None
    jar = http.cookiejar.CookieJar()
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    browser.open(old + found[1], b"name=Ana&password=ice+and+salt+and+ice", timeout=20).close()
    live = browser.open(f"{old}/now/stream", timeout=20)
    assert live.readline() == b"retry: 5000\n"
    port = free_port()

    said = reloaded.becomes(Web(host="127.0.0.1", port=port))
    assert said == "The configuration was read again and is in use."
    assert service.pages.port == port
    assert status(f"http://127.0.0.1:{port}/", browser) == 200
    assert status(old) == 0
    assert live.read().endswith(b"\n\n"), (
        "the open page's stream has ended, and its phone asks again"
    )
    live.close()


def test_pages_below_another_path_from_a_reload_on(reloaded: Reloaded) -> None:
    """Without a restart, like every other change."""
    port = reloaded.running.service.pages.port
    assert port is not None
    reloaded.becomes(Web(host="127.0.0.1", port=port, path="/rimewatch"))

    with urllib.request.urlopen(f"http://127.0.0.1:{port}/rimewatch/sign-in", timeout=20) as page:
        assert 'action="/rimewatch/sign-in"' in page.read().decode()


def test_pages_end_and_begin_with_their_table(reloaded: Reloaded) -> None:
    """No ``[web]``, no pages."""
    port = reloaded.running.service.pages.port
    reloaded.becomes(None)
    assert status(f"http://127.0.0.1:{port}/api/health") == 0

    assert port is not None
    reloaded.becomes(Web(host="127.0.0.1", port=port))
    assert status(f"http://127.0.0.1:{port}/api/health") in (200, 503)


def test_address_that_something_else_has_is_refused_and_the_pages_stay(
    reloaded: Reloaded,
) -> None:
    """With the sentence that says so; nothing of the new configuration is used."""
    port = reloaded.running.service.pages.port
    with socket.create_server(("127.0.0.1", 0)) as other:
        taken = int(other.getsockname()[1])
        said = reloaded.becomes(Web(host="127.0.0.1", port=taken))

    assert said.startswith("The configuration is kept as it was.")
    assert f"cannot be served on 127.0.0.1:{taken}" in said
    assert "choose another [web] listen" in said
    assert reloaded.running.service.pages.port == port
    assert status(f"http://127.0.0.1:{port}/sign-in") == 200


def test_pages_at_the_same_address_are_answered_all_the_while(reloaded: Reloaded) -> None:
    """Whoever changes a setting on a page finds the next one."""
    service = reloaded.running.service
    url = f"http://127.0.0.1:{service.pages.port}/sign-in"
    found: list[int] = []
    over = threading.Event()

    def look() -> None:
        while not over.is_set():
            found.append(status(url))

    looking = threading.Thread(target=look)
    looking.start()
    try:
        for _ in range(3):
            assert "is in use" in reloaded.becomes(reloaded.web)
    finally:
        over.set()
        looking.join(60)
    assert found
    assert set(found) == {200}
