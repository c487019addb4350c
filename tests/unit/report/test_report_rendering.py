"""The finished pages: golden texts, lengths, a mail that any program can show."""

import base64
import io
import json
import os
import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import html5lib
import pint
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from report_nights import FROM_MS, TO_MS, bad_ledger, curves, iso, quiet_ledger, shop

from ledger_values import ledger_of, ms
from plain_shop import plain_shop
from rimewatch.report.facts import Summary
from rimewatch.report.message import LONGEST_TITLE
from rimewatch.report.page import page
from rimewatch.report.page_json import page_from_json, page_json
from rimewatch.report.push_text import push_text, summary_message
from rimewatch.report.summary import build_summary
from rimewatch.report.summary_document import file_text, html_draft
from rimewatch.report.wording import tied
from rimewatch.shop import Shop
from rimewatch.vocabulary import Scale

GOLDEN = Path(__file__).parents[2] / "golden" / "report"
NIGHTS = {"quiet-night": quiet_ledger, "bad-night": bad_ledger}
XHTML = "{http://www.w3.org/1999/xhtml}"


def _summary(
    ledger: dict[str, Any], *, of: Shop | None = None, with_curves: bool = False
) -> Summary:
    place = of or shop()
    drawn = curves(bad=True) if with_curves else {}
    return build_summary(place, ledger_of(ledger, place), drawn)


@pytest.mark.parametrize("night", NIGHTS)
@pytest.mark.parametrize("scale", [Scale.CELSIUS, Scale.FAHRENHEIT])
def test_text_file_and_push_are_the_golden_ones(night: str, scale: Scale) -> None:
    """What the shop reads changes only when somebody has read the change.

    RIMEWATCH_UPDATE_GOLDEN=1 rewrites the files, and fails so that nobody forgets.
    """
    summary = _summary(NIGHTS[night](), of=shop(display=scale))
    message = summary_message(summary)
    text = f"{file_text(summary)}\n== on the phone ==\n{message.title}\n{message.body}\n"
    path = GOLDEN / f"{night}-{scale.value}.txt"
    if os.environ.get("RIMEWATCH_UPDATE_GOLDEN"):
        path.write_text(text, encoding="utf-8")
        pytest.fail(f"{path.name} was rewritten: read it, then run again without updating")

    assert text == path.read_text(encoding="utf-8")


def _numbers(text: str) -> set[str]:
    """Return the numbers in a text, but not those that are part of a name such as L1."""
    return set(re.findall(r"(?<![\w.\-/])−?\d+(?:\.\d+)?(?![\w/-])", text))


def _leaves(node: Any) -> Iterator[Any]:
    if isinstance(node, dict):
        for value in node.values():
            yield from _leaves(value)
    elif isinstance(node, list):
        for value in node:
            yield from _leaves(value)
    else:
        yield node


def _traceable(ledger: dict[str, Any]) -> set[str]:
    """Return every number that a page could rightly show for a ledger, by other means."""
    quantity = pint.UnitRegistry(autoconvert_offset_to_baseunit=True).Quantity
    zone = ZoneInfo("America/Chicago")
    limits_c = [5.0, 3.3, -18.0, -20.0, -35.0]
    values = [v for v in _leaves(ledger) if isinstance(v, int | float)]
    known: set[str] = set()
    for value in [*values, *limits_c]:
        fahrenheit = float(quantity(float(value), "degC").to("degF").magnitude)
        known |= {f"{fahrenheit:.1f}".replace("-", "−"), f"{value:g}", f"{value:.1f}"}
        length = timedelta(seconds=round(abs(value)))
        hours, rest = divmod(round(length.total_seconds() / 60), 60)
        known |= {str(hours), str(rest), str(length.seconds)}
        known.add(f"{int(value * 10) / 10:g}")
    times = [datetime.fromisoformat(v) for v in _leaves(ledger) if _is_time(v)]
    end = datetime.fromisoformat(ledger["to"])
    times += [  # the one time that is worked out: the end and the hours still missing
        end + timedelta(hours=lot["required_h"] - lot["credited_h"]) for lot in ledger["lots"]
    ]
    for words in (v for v in _leaves(ledger) if isinstance(v, str)):
        known |= _numbers(words)
    for at in times:
        known |= set(at.astimezone(zone).strftime("%H %M %-d %d %Y").split())
    alarms = [a for a in ledger["alarms"] if a["acknowledged"]]
    known |= {str((ms(a["acknowledged"]) - ms(a["raised"])) // 60_000) for a in alarms}
    known |= {str(count) for count in range(1, 9)}  # tasks, messages and probes, counted
    return known


def _is_time(value: Any) -> bool:
    return (
        isinstance(value, str)
        and re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", value) is not None
    )


@pytest.mark.parametrize("night", NIGHTS)
def test_every_number_in_the_text_comes_from_the_ledger(night: str) -> None:
    """Nothing is made up on the way to the page."""
    ledger = NIGHTS[night]()
    text = file_text(_summary(ledger))
    shown = _numbers(text.replace('{"t": -127.0}', ""))  # the payload, shown as it came

    assert len(shown) > 20
    assert shown - _traceable(ledger) <= {"24", "2022"}  # the period's hours; the Food Code's year


@st.composite
def _any_ledger(draw: st.DrawFn) -> tuple[Shop, dict[str, Any]]:
    """Draw a shop of up to twenty units with a night full of trouble and foreign text."""
    plain, ledger = shop(), bad_ledger()
    text = st.text(min_size=1, max_size=120)
    names = draw(st.lists(text, min_size=1, max_size=20))
    units = []
    model = plain.units[0]
    record = ledger["units"]["case-1"]
    ledger["units"] = {}
    for at, name in enumerate(names):
        unit = type(model)(
            **{field: getattr(model, field) for field in model.__slots__}
            | {"id": f"unit-{at}", "name": name}
        )
        units.append(unit)
        ledger["units"][unit.id] = json.loads(json.dumps(record)) | {
            "missing_s": draw(st.sampled_from([0.0, 1e5])),
            "governing_above_limit_s": draw(st.sampled_from([0.0, 3540.0])),
            "excursions": record["excursions"] * draw(st.integers(0, 2)),
        }
    ledger["lots"] = [
        ledger["lots"][draw(st.integers(0, 2))] | {"lot": draw(text), "why": draw(text)}
        for _ in range(draw(st.integers(0, 12)))
    ]
    ledger["quarantine"] = [
        {
            "topic": draw(text),
            "probe": draw(st.none() | text),
            "reason": draw(st.sampled_from(["unknown-topic", "undecodable", "new-reason"])),
            "count": draw(st.integers(1, 10**9)),
            "payload_start": draw(text),
        }
        for _ in range(draw(st.integers(0, 12)))
    ]
    changed = {"units": tuple(units), "name": draw(text)}
    fields = {name: getattr(plain, name) for name in plain.__dataclass_fields__}
    return plain_shop(**(fields | changed)), ledger


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(_any_ledger())
def test_any_night_keeps_its_lengths_and_stays_a_valid_mail(
    night: tuple[Shop, dict[str, Any]],
) -> None:
    """The push stays under a thousand characters and the mail whole, whatever the names hold."""
    summary = _summary(night[1], of=night[0])
    push, message = push_text(summary), summary_message(summary)

    assert 0 < len(push) < 1000
    assert summary.verdict[0][:40] in push
    assert 0 < len(message.title) <= LONGEST_TITLE
    assert all(len(line) <= 76 for line in file_text(summary).splitlines())
    html5lib.HTMLParser(strict=True).parse(html_draft(summary).drawn())


def test_push_that_is_too_full_counts_what_it_leaves_out() -> None:
    """Nothing disappears without a word."""
    ledger = bad_ledger()
    ledger["quarantine"] = [
        {
            "topic": f"shop/somewhere-far-away/number-{at}/air",
            "probe": f"a-probe-with-a-long-name-{at}",
            "reason": "undecodable",
            "count": 5,
            "payload_start": "x",
        }
        for at in range(30)
    ]
    push = push_text(_summary(ledger))
    shown = push.count("\n• ")
    left = re.search(r"… and (\d+) more to do", push)

    assert len(push) < 1000
    assert left is not None
    assert shown + int(left[1]) == len(_summary(ledger).todos)


def test_mail_is_valid_has_no_script_and_fetches_nothing() -> None:
    """It is shown by the strictest mail program, and tells nobody that it was read."""
    document = html5lib.HTMLParser(strict=True).parse(
        html_draft(_summary(bad_ledger(), with_curves=True)).drawn()
    )
    tags = {element.tag.removeprefix(XHTML) for element in document.iter()}
    names = {name for element in document.iter() for name in element.attrib}
    sources = [element.attrib["src"] for element in document.iter(f"{XHTML}img")]
    styles = "".join(element.text or "" for element in document.iter(f"{XHTML}style"))

    assert not tags & {"script", "link", "iframe", "object", "svg", "form", "a", "video"}
    assert not {name for name in names if name.startswith("on") or name == "href"}
    assert len(sources) == 4
    assert all(source.startswith("data:image/png;base64,") for source in sources)
    assert "url(" not in styles
    assert "@import" not in styles
    assert "prefers-color-scheme: dark" in styles
    assert "@media print" in styles


def test_mail_pictures_are_real_small_and_said_in_words() -> None:
    """A mail program that shows no pictures still tells the night."""
    html = html_draft(_summary(bad_ledger(), with_curves=True)).drawn()
    document = html5lib.HTMLParser(strict=True).parse(html)
    pictures = list(document.iter(f"{XHTML}img"))
    for picture in pictures:
        png = base64.b64decode(picture.attrib["src"].partition(",")[2])
        with Image.open(io.BytesIO(png)) as image:
            assert image.size == (640, 208)
            assert len(image.convert("RGBA").getcolors(maxcolors=10**6) or ()) > 4
        assert len(png) < 16_000

    assert pictures[0].attrib["alt"] == (
        "Front display case: Air 33.4 to 46.2 °F, mean 37.6 °F, limit 41.0 °F."
    )
    assert len(html) < 100_000


def test_mail_shows_foreign_text_as_text() -> None:
    """A payload that is HTML is read, not obeyed."""
    ledger = quiet_ledger()
    ledger["quarantine"] = [
        {
            "topic": "shop/<b>x</b>",
            "probe": None,
            "reason": "undecodable",
            "count": 1,
            "payload_start": "<script>alert(1)</script>",
        }
    ]
    html = html_draft(_summary(ledger)).drawn()
    document = html5lib.HTMLParser(strict=True).parse(html)

    assert list(document.iter(f"{XHTML}script")) == []
    assert list(document.iter(f"{XHTML}b")) == []
    assert "<script>alert(1)</script>" in "".join(document.itertext())


def test_mail_says_what_the_text_file_says() -> None:
    """Two renderings of one page cannot disagree."""
    summary = _summary(bad_ledger(), with_curves=True)
    document = html5lib.HTMLParser(strict=True).parse(html_draft(summary).drawn())
    seen = " ".join("".join(document.itertext()).replace("\u00a0", " ").split())
    seen = seen.replace("\u2060", "")
    for sentence in summary.verdict:
        assert sentence in seen
    for unit in summary.units:
        assert unit.name in seen
    for todo in summary.todos:
        assert todo.text in seen
    for lot in summary.lots:
        assert f"Lot {lot.name}:" in seen


@pytest.mark.parametrize("night", NIGHTS)
def test_same_ledger_gives_the_same_bytes(night: str) -> None:
    """A replayed night is the very mail that was sent."""
    first = _summary(NIGHTS[night](), with_curves=True)
    second = _summary(json.loads(json.dumps(NIGHTS[night]())), with_curves=True)

    assert file_text(first) == file_text(second)
    assert html_draft(first).drawn() == html_draft(second).drawn()


def test_tied_keeps_a_number_with_its_unit() -> None:
    """No phone breaks the line between 41.0 and °F, or before CST."""
    assert tied("−9.2 °F, 1 h 12 min") == "−9.2\u00a0°F, 1\u00a0h 12\u00a0min"
    assert tied("01:10–01:52 CST") == "01:10\u2060–\u206001:52\u00a0CST"
    assert tied("4 dogs") == "4 dogs"


def test_nights_are_what_the_tests_take_them_for() -> None:
    """The invented nights span one local day, to the second."""
    assert (iso(FROM_MS), iso(TO_MS)) == ("2026-03-01T12:30:00Z", "2026-03-02T12:30:00Z")


@pytest.mark.parametrize("night", NIGHTS)
def test_a_kept_page_comes_back_as_it_was(night: str) -> None:
    """It is laid out years later as it was that morning, and by older versions' keys as well."""
    seen = page(_summary(NIGHTS[night](), with_curves=True))
    kept = page_json(seen)

    assert page_from_json(kept) == seen
    older = {key: value for key, value in json.loads(kept).items() if key != "todos_title"}
    assert page_from_json(json.dumps(older)).todos_title == "To do today"
    for damaged in ("[]", "{}", '{"verdict": []}', "x"):
        with pytest.raises(ValueError, match=r"page|JSON|Expecting"):
            page_from_json(damaged)
