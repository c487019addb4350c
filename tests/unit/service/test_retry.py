"""Quarantine read once more: large packs are kept whole, so that they parse once it is mended."""

import json
from pathlib import Path

import pytest

from rimewatch.config import load_shop
from rimewatch.intake.receiver import Receiver
from rimewatch.journal.journal import Journal
from rimewatch.service.retry import try_out
from rimewatch.shop import Shop

START_MS = 1_772_438_400_000
SHOP = """
[shop]
name = "Saltmarsh Row Fish"
timezone = "America/Chicago"
[[unit]]
id = "case-1"
name = "Front display case"
kind = "display-case"
[[probe]]
id = "case-1-air"
unit = "case-1"
measures = "air"
topic = "shop/case-1/air"
"""
JSON = 'format = "json"\nfields = {{ value = "{0}[].t", time = "{0}[].ts" }}'
SENML = 'format = "senml"\nfields = {{ value = "{0}" }}'


def json_pack(first_ms: int, values: int) -> bytes:
    rows = [{"t": 2.0 + n % 9 / 10, "ts": first_ms + n * 1000} for n in range(values)]
    return json.dumps({"readings": rows}).encode()


def senml_pack(first_ms: int, values: int) -> bytes:
    rows: list[dict[str, object]] = [
        {"n": "air", "u": "Cel", "t": first_ms // 1000 + n, "v": 2.0 + n % 9 / 10}
        for n in range(values)
    ]
    return json.dumps([{"bn": "case-1:", "bt": 0, **rows[0]}, *rows[1:]]).encode()


def shop(lines: str) -> Shop:
    return load_shop(SHOP + lines)


def quarantine(journal: Journal, wrong: Shop, payloads: list[bytes]) -> None:
    receiver = Receiver(wrong)
    for n, payload in enumerate(payloads):
        received = receiver.receive("shop/case-1/air", payload, START_MS + n * 60_000)
        assert not received.readings
        journal.add_quarantined(received.quarantined)


@pytest.mark.parametrize(
    ("make", "form", "wrong", "right"),
    [(json_pack, JSON, "values", "readings"), (senml_pack, SENML, "case-2:air", "case-1:air")],
)
def test_large_packs_parse_once_the_configuration_is_mended(
    tmp_path: Path, make: object, form: str, wrong: str, right: str
) -> None:
    """412 backlogs of twenty readings, and one of many: every one of them is read."""
    assert callable(make)
    packs = [make(START_MS + n * 60_000, 20) for n in range(411)]
    packs.append(make(START_MS + 411 * 60_000, 1_200))
    assert min(map(len, packs)) > 256
    assert len(packs[-1]) > 30_000
    with Journal.open(tmp_path / "rimewatch.db") as journal, journal.batch():
        quarantine(journal, shop(form.format(wrong)), packs)

        found = try_out(shop(form.format(right)), journal)

    assert (found.looked_at, found.cut_off, len(found.numbers)) == (412, 0, 412)
    assert len(found.readings) == 411 * 20 + 1_200


def test_message_with_many_refused_values_is_read_once(tmp_path: Path) -> None:
    """Each value has a row; the readings come once, and every row is done with."""
    hot = json.dumps({"readings": [{"t": 200 + n, "ts": START_MS + n} for n in range(50)]})
    form = JSON.format("readings")
    with Journal.open(tmp_path / "rimewatch.db") as journal:
        quarantine(journal, shop(form), [hot.encode()])

        found = try_out(shop(form + "\nplausible_c = [-90, 400]"), journal)

    assert (found.looked_at, len(found.numbers)) == (50, 50)
    assert len(found.readings) == 50
