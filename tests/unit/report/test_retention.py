"""How long readings stay whole: never less than is published, longer for a lot's proof."""

from dataclasses import replace

import pytest

from handmade import probe, shop, unit
from rimewatch.config import ConfigError, load_shop
from rimewatch.entries import AnyEntry, MoveLot, ReceiveLot, StartFreezing, WithdrawLot
from rimewatch.evaluation.lot_book import book
from rimewatch.report.retention import keep_from_ms
from rimewatch.vocabulary import MS_PER_DAY, LotId, Option, Origin, UnitId

SHOP = replace(
    shop(unit(), unit("freezer-1", "freezer"), probe(), probe("f", "freezer-1")),
    keep_chilled_days=400,
    keep_frozen_days=800,
)
CASE, FREEZER, LOT = UnitId("case-1"), UnitId("freezer-1"), LotId("L1")
NOW_MS = 2000 * MS_PER_DAY


def kept_days(*entries: AnyEntry) -> dict[str, float]:
    """Return for how many days each unit's readings are kept."""
    found = keep_from_ms(SHOP, book(entries).values(), NOW_MS)
    return {unit: (NOW_MS - since) / MS_PER_DAY for unit, since in found.items()}


def frozen(days_ago: int) -> list[AnyEntry]:
    """Return a lot's entries, put to freeze some days ago and moved to the case the day after."""
    at_ms = NOW_MS - days_ago * MS_PER_DAY
    return [
        ReceiveLot(at_ms=at_ms, lot=LOT, species="sockeye", origin=Origin.WILD, serve_raw=True),
        StartFreezing(at_ms=at_ms, lot=LOT, unit=FREEZER, option=Option.F20C_168H),
        MoveLot(at_ms=at_ms + 8 * MS_PER_DAY, lot=LOT, unit=CASE),
    ]


def test_each_kind_of_unit_keeps_its_own_time() -> None:
    """A year and two years are the least of 21 CFR 123.9(b)(1)."""
    assert kept_days() == {"case-1": 400, "freezer-1": 800}


def test_a_lot_on_the_books_holds_on_to_the_readings_of_its_freezing() -> None:
    """The proof of a lot that may still be sold stays, however old."""
    assert kept_days(*frozen(1500)) == {"case-1": 1493, "freezer-1": 1501}


def test_a_hold_that_lost_its_proof_is_still_evidence() -> None:
    """A second receipt under the number may yet be cancelled as a slip."""
    received, *rest = frozen(1500)
    again = replace(received, at_ms=NOW_MS - 1400 * MS_PER_DAY)

    assert kept_days(received, *rest, again) == {"case-1": 1493, "freezer-1": 1501}


def test_a_lot_sold_lets_go_after_ninety_days() -> None:
    """FDA Food Code 2022, 3-402.12(A): 90 calendar days beyond the last sale."""
    sold = [
        WithdrawLot(at_ms=NOW_MS - days * MS_PER_DAY, lot=LOT, reason="sold") for days in (90, 92)
    ]
    assert kept_days(*frozen(1500), sold[0])["freezer-1"] == 1501
    assert kept_days(*frozen(1500), sold[1])["freezer-1"] == 800


@pytest.mark.parametrize(
    ("key", "least"),
    # 21 CFR 123.9(b)(1): one year refrigerated, two years frozen; a leap year's day with them.
    [("keep_chilled_days", 366), ("keep_frozen_days", 731)],
)
def test_less_than_is_published_is_refused(key: str, least: int) -> None:
    """A shop may keep longer, never shorter."""
    head = (
        '[shop]\nname = "S"\ntimezone = "UTC"\n[[unit]]\nid = "a"\nname = "A"\nkind = "walk-in"\n'
    )
    assert getattr(load_shop(f"{head}[records]\n{key} = {least}\n"), key) == least
    with pytest.raises(ConfigError, match=f"{key}.*{least} or more"):
        load_shop(f"{head}[records]\n{key} = {least - 1}\n")
