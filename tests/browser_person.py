"""A person with a real browser before a running service: signs in, and looks for barriers."""

import re

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page, expect

from running_service import RunningService

PHONE = {"width": 390, "height": 844}
PASSWORD = "ice and salt and ice"
WAIT_MS = 20_000


def address(running: RunningService) -> str:
    """Return where the pages are."""
    return f"http://127.0.0.1:{running.service.pages.port}"


def first_person(running: RunningService, context: BrowserContext) -> Page:
    """Sign in by the link that the service printed at its first start."""
    said = " ".join(running.said)
    found = re.search(r"open http://127\.0\.0\.1:\d+(/set-up/\S+)", said)
    assert found is not None, said
    page = context.new_page()
    page.goto(address(running) + found[1])
    page.get_by_label("Your name").fill("Ana")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Set it and sign in").click()
    expect(page).to_have_url(f"{address(running)}/", timeout=WAIT_MS)
    return page


def violations(page: Page) -> list[tuple[str, str, str]]:
    """Return what axe-core finds wrong with a page, dark and light: each rule, and where."""
    found: list[tuple[str, str, str]] = []
    for scheme in ("dark", "light"):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]  # a literal
        wrong = Axe().run(page).response["violations"]
        found += [(scheme, each["id"], each["nodes"][0]["html"]) for each in wrong]
    return found
