"""What a message says only as it goes out: that it is late, and where to acknowledge it."""

from dataclasses import replace
from datetime import time
from urllib.parse import urlsplit

import pytest

from plain_shop import plain_shop
from rimewatch.journal.outbox import OutboxRow
from rimewatch.notify.letter import Extras, letter
from rimewatch.service.postmark import LATE_AFTER_MS, Postmark
from rimewatch.shop import Broker, MessageTexts, Shop, Web
from rimewatch.vocabulary import About, ContactId, Scale
from rimewatch.web.links import VALID_MS, claim_of

KEY = bytes(range(32))
MADE_MS = 1_772_525_400_000  # 2026-03-03T08:10:00Z, 02:10 in Chicago
SHOP = plain_shop(
    name="Saltmarsh Row Fish",
    timezone="America/Chicago",
    display=Scale.FAHRENHEIT,
    summary_at=time(6, 30),
    broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch"),
    units=(),
    probes=(),
    web=Web(host="127.0.0.1", port=8080, url="https://rime.example.com"),
)
ROW = OutboxRow(
    id=1,
    at_ms=MADE_MS,
    contact=ContactId("first"),
    alarm_id="case-1:holding:1772525400000",
    about=About.RAISED,
    title="Front display case: fish too warm",
    body="Front display case: fish 46.0 °F. Move the fish now.",
    idempotency_key="k",
    urgent=True,
    attempts=0,
    error="",
)


def test_message_24_minutes_late_says_so() -> None:
    """Whoever reads "for 15 min" at 02:34 must know that it was written at 02:10."""
    late = Postmark(SHOP, None)(ROW, MADE_MS + 24 * 60_000).late

    assert late == "Sent late: made 02:10 CST, sent 02:34 CST."


def test_message_of_yesterday_names_its_day() -> None:
    """After a night without a network."""
    late = Postmark(SHOP, None)(ROW, MADE_MS + 30 * 3_600_000).late

    assert late == "Sent late: made Tue 02:10 CST, sent 08:10 CST."


def test_message_in_time_says_nothing() -> None:
    """A minute's delay is no news."""
    assert Postmark(SHOP, None)(ROW, MADE_MS + LATE_AFTER_MS - 1).late == ""


def test_summary_names_its_own_time_and_is_not_called_late() -> None:
    """The morning's summary says of which night it is."""
    row = replace(ROW, about=About.SUMMARY, alarm_id=None)

    assert Postmark(SHOP, KEY)(row, MADE_MS + 3_600_000) == Extras()


@pytest.mark.parametrize("about", [About.RAISED, About.REPEAT, About.ESCALATED])
def test_call_holds_a_link_to_its_own_alarm(about: About) -> None:
    """For the one it was sent to, for a day."""
    link = Postmark(SHOP, KEY)(replace(ROW, about=about), MADE_MS).link
    address = link.split()[-1]
    claim = claim_of(KEY, urlsplit(address).path.removeprefix("/a/"), MADE_MS)

    assert address.startswith("https://rime.example.com/a/")
    assert (claim.alarm_id, claim.contact) == (ROW.alarm_id, "first")
    assert claim.expires_ms == MADE_MS + VALID_MS


@pytest.mark.parametrize(
    ("shop", "key", "row"),
    [
        (SHOP, None, ROW),
        (replace(SHOP, web=Web(host="127.0.0.1", port=8080, url="")), KEY, ROW),
        (replace(SHOP, web=None), KEY, ROW),
        (SHOP, KEY, replace(ROW, about=About.RETURNED)),
        (SHOP, KEY, replace(ROW, alarm_id=None)),
    ],
)
def test_message_without_anything_to_acknowledge_holds_no_link(
    shop: Shop, key: bytes | None, row: OutboxRow
) -> None:
    """No address, no key, nothing to acknowledge: no link that leads nowhere."""
    assert Postmark(shop, key)(row, MADE_MS).link == ""


def test_extras_stand_behind_the_words() -> None:
    """The first hundred characters stay what they were written to be."""
    written = letter(ROW, Extras(late="Sent late.", link="Seen it? https://x/a/b"))

    assert written is not None
    assert written.body.splitlines() == [ROW.body, "Sent late.", "Seen it? https://x/a/b"]


def test_extras_speak_the_shops_language() -> None:
    """In Spanish too."""
    spanish = replace(SHOP, messages=MessageTexts(language="es"))
    extras = Postmark(spanish, KEY)(ROW, MADE_MS + 30 * 3_600_000)

    assert extras.late == "Enviado tarde: hecho mar 02:10 CST, enviado 08:10 CST."
    assert extras.link.startswith("¿Visto? https://")
