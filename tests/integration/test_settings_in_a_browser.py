"""Settings changed on a phone, in a real browser before the real service and a real broker."""

import re
import socket
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion
from playwright.sync_api import Browser, Page, expect

from browser_person import PHONE, WAIT_MS, address, first_person, violations
from handmade import Paper
from mosquitto_broker import Mosquitto
from rimewatch.config import load_shop
from rimewatch.shop import Shop
from running_service import RunningService

pytestmark = pytest.mark.integration

TEXT = """# The shop's own words.
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
display = "F"

[broker]
url = "{broker}"

[web]
listen = "127.0.0.1:{port}"

[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"

[[unit]]
id = "garage"
name = "Garage freezer"
kind = "freezer"

[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"

[[contact]]
id = "first"
name = "On-call phone"
urls = ["json://127.0.0.1:9/"]
"""
PAGES = (
    "/settings",
    "/settings/unit",
    "/settings/unit?of=case-1",
    "/settings/unit?add=1",
    "/settings/probe",
    "/settings/probe?of=case-1-air",
    "/settings/contact?of=first",
    "/settings/escalation?add=1",
    "/settings/rota?add=1",
    "/settings/night",
    "/settings/shop",
    "/settings/priorities",
    "/settings/changes",
    "/settings/heard",
    "/ice",
    "/ice?probe=case-1-air",
    "/review",
    "/what-if",
)


@dataclass
class Place:
    """A running service, its broker and its file."""

    running: RunningService
    broker: Mosquitto
    file: Path

    def send(self, topic: str, payload: str) -> None:
        """Publish a message that stays at the broker, as many devices do."""
        client = Client(CallbackAPIVersion.VERSION2, client_id="a-new-probe")
        client.connect("127.0.0.1", self.broker.port)
        client.loop_start()
        client.publish(topic, payload, qos=1, retain=True).wait_for_publish(60)
        client.disconnect()
        client.loop_stop()


@pytest.fixture
def place(tmp_path: Path, mosquitto: Mosquitto) -> Iterator[Place]:
    """Run the service over a file on the disk."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    file = tmp_path / "shop.toml"
    file.write_text(TEXT.format(broker=mosquitto.url, port=port), encoding="utf-8")

    def read() -> Shop:
        return load_shop(file.read_text(encoding="utf-8"), {}, folder=tmp_path)

    start_ms = Paper().start_ms
    with RunningService(
        read(), tmp_path / "rimewatch.db", start_ms, reread=read, config_path=file
    ) as running:
        yield Place(running, mosquitto, file)


def tap(page: Page, name: str, role: str = "link") -> int:
    """Tap a link or a button; return that it was one tap."""
    page.get_by_role(role, name=name).first.click()  # type: ignore[arg-type]  # one of two words
    return 1


@pytest.mark.parametrize("has_script", [True, False], ids=["script", "no-script"])
def test_probe_that_is_heard_watches_its_unit_four_taps_later(
    place: Place, browser: Browser, *, has_script: bool
) -> None:
    """One of them on the page that shows it as heard; the watch goes on meanwhile."""
    context = browser.new_context(viewport=PHONE, java_script_enabled=has_script)  # type: ignore[arg-type]
    page = first_person(place.running, context)
    before = place.file.read_text(encoding="utf-8")
    place.send("shop/garage/air", '{"temperature": -21.5, "battery": 88}')
    taps = tap(page, "Set-up") + tap(page, "Probes") + tap(page, "What is heard now", "button")
    heard = page.get_by_role("button", name="Let it watch")
    expect(heard).to_be_visible(timeout=WAIT_MS)
    expect(page.get_by_label("It hangs in")).to_have_value("garage")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    taps += tap(page, "Let it watch", "button")

    expect(page).to_have_title(re.compile("Garage freezer"), timeout=WAIT_MS)
    assert taps == 4
    after = place.file.read_text(encoding="utf-8")
    made = (
        '[[probe]]\nid = "garage-air"\nmeasures = "air"\ntopic = "shop/garage/air"\n'
        'format = "json"\nfields = {value = "temperature", battery = "battery"}\n'
    )
    assert made in after
    assert after.startswith("# The shop's own words.\n")
    assert before.partition("[[contact]]")[2] in after
    place.send("shop/garage/air", '{"temperature": -20.5, "battery": 88}')
    _until_shown(page, "−4.9 °F")
    page.goto(f"{address(place.running)}/settings/changes")
    expect(page.get_by_text("probe garage-air added")).to_be_visible()
    expect(page.get_by_role("heading", name="Ana")).to_be_visible()
    page.get_by_role("button", name="Undo").first.click()
    expect(page.get_by_text("probe garage-air taken away")).to_be_visible(timeout=WAIT_MS)
    assert place.file.read_text(encoding="utf-8") == before
    context.close()


def test_error_stands_beside_its_field_and_what_was_typed_stays(
    place: Place, browser: Browser
) -> None:
    """Below the field it is about, above the next; and read out with it."""
    context = browser.new_context(viewport=PHONE)  # type: ignore[arg-type]
    page = first_person(place.running, context)
    page.goto(f"{address(place.running)}/settings/unit?of=case-1")
    page.get_by_label("Name").fill("Front case")
    page.get_by_label("Limit, °F").fill("43")
    page.get_by_role("button", name="Save").click()
    error = page.get_by_text("Expected 41 °F or less by FDA Food Code 2022")
    expect(error).to_be_visible(timeout=WAIT_MS)
    field, after = page.get_by_label("Limit, °F"), page.get_by_label("Reason for a looser")
    boxes = [each.bounding_box() for each in (field, error, after)]
    assert all(boxes)
    tops = [box["y"] for box in boxes if box is not None]
    described = field.get_attribute("aria-describedby") or ""

    assert tops == sorted(tops)
    assert error.get_attribute("id") in described.split()
    expect(field).to_have_value("43")
    expect(page.get_by_label("Name")).to_have_value("Front case")
    assert violations(page) == []
    page.get_by_label("Reason for a looser").fill("variance 12-345 of the county, 2026-01-15")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Changed, and it holds from now on.")).to_be_visible(timeout=WAIT_MS)
    page.goto(f"{address(place.running)}/unit/case-1")
    expect(page.get_by_text("Looser than the code")).to_be_visible()
    context.close()


def test_pages_of_settings_can_be_used_by_everybody(place: Place, browser: Browser) -> None:
    """No violation that axe-core finds, dark or light; no sideways scrolling on a phone."""
    context = browser.new_context(viewport=PHONE)  # type: ignore[arg-type]
    page = first_person(place.running, context)
    for path in PAGES:
        page.goto(address(place.running) + path)
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        assert violations(page) == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"], path
    context.close()


def _until_shown(page: Page, text: str) -> None:
    """Load the page again until it shows a text, as somebody without a script does."""
    for _ in range(60):
        if page.get_by_text(text).count():
            return
        page.wait_for_timeout(250)
        page.reload()
    raise AssertionError(f"{text} was never shown: {page.inner_text('main')}")
