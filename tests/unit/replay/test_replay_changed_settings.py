"""Settings that change within a trace: each conclusion goes by those of its own instant."""

from typing import Any

import pytest

from handmade import Paper, probe, unit
from rimewatch.config import load_shop
from rimewatch.config.changing import tables_of
from rimewatch.shop import Shop

H = 3600
DAY = 24 * H
HEAD = (
    '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
    '[broker]\nurl = "mqtt://127.0.0.1:1883"\n'
)
FREEZERS = unit("freezer-1", "freezer") + unit("freezer-2", "freezer")
LAGGED = unit("freezer-1", "freezer", lag_s=1200)


def text_of(*tables: str) -> str:
    """Return a configuration's text."""
    return HEAD + "\n".join(tables)


def shop_of(*tables: str) -> Shop:
    """Return a shop of some tables."""
    return load_shop(text_of(*tables), sends=False)


def change(paper: Paper, at_s: float, *tables: str, **more: Any) -> Paper:
    """Have the settings be others from an instant on."""
    return paper.do(at_s, "change-settings", settings=tables_of(text_of(*tables)), **more)


def frozen_lot(paper: Paper) -> Paper:
    """Have a lot received and its freezing begun at the trace's start."""
    return paper.receive(0).freeze(60, "20C-168h")


def lot_of(paper: Paper, shop: Shop) -> dict[str, Any]:
    """Return what the ledger says of the only lot."""
    (lot,) = paper.ledger(shop)["lots"]
    return dict(lot)


def steady(paper: Paper, topic: str, from_s: float, to_s: float, celsius: float) -> None:
    """Have a probe say the same, moving a little, every five minutes."""
    for n, at_s in enumerate(range(round(from_s), round(to_s) + 1, 300)):
        paper.say(at_s, round(celsius + 0.05 * (n % 3), 2), topic)


SLOW = {"every_s": 300}


def test_settings_that_are_wrong_are_refused_as_a_check_says_it_and_change_nothing() -> None:
    """The trace goes on under the settings of before."""
    case = unit("case-1", limit_c=5.0)
    paper = Paper().curve([(0, 2.0), (3600, 6.0)], every_s=60)
    change(paper, 1800, unit("case-1", limit_c=9.0, operating_limit_c=9.5), probe())
    ledger = paper.ledger(shop_of(case, probe()))

    (refused,) = ledger["refused"]
    assert refused["do"] == "change-settings"
    with pytest.raises(ValueError) as said:  # noqa: PT011 (its sentence is compared)
        shop_of(unit("case-1", limit_c=9.0, operating_limit_c=9.5), probe())
    assert refused["why"] == "; ".join(str(said.value).splitlines())
    assert refused["at"] == paper.iso(1800)
    unchanged = Paper().curve([(0, 2.0), (3600, 6.0)], every_s=60).ledger(shop_of(case, probe()))
    assert ledger["units"] == unchanged["units"]


def test_a_limit_that_is_loosened_ends_an_excursion_then_and_keeps_what_was() -> None:
    """2 °C to 8 °C in an hour passes 5 °C at 30:00; at 44:00 (6.4 °C) the limit becomes 7 °C."""
    paper = Paper().curve([(0, 2.0), (3600, 8.0)], every_s=60)
    loose = unit("case-1", limit_c=7.0, laxer_because="variance 12 of the county, 2026-01-15")
    change(paper, 2640, loose, probe(), who="Ines")
    found = paper.ledger(shop_of(unit("case-1"), probe()))["units"]["case-1"]

    first, second = found["excursions"]
    assert (first["start"], first["end"]) == (paper.iso(1800), paper.iso(2640))
    assert first["peak_c"] == pytest.approx(6.4)
    assert (second["start"], second["end"]) == (paper.iso(3000), None)
    assert found["governing_above_limit_s"] == pytest.approx(840 + 600)
    assert found["above_limit_s"] == pytest.approx(840 + 600)


def test_a_limit_that_is_tightened_between_two_readings_counts_from_that_instant() -> None:
    """At 30:30 the case has 4.55 °C: above the new 4 °C from then on, and not before."""
    paper = Paper().curve([(0, 3.0), (3600, 6.0)], every_s=60)
    change(paper, 1830, unit("case-1", limit_c=4.0), probe())
    found = paper.ledger(shop_of(unit("case-1"), probe()))["units"]["case-1"]

    (only,) = found["excursions"]
    assert only["start"] == paper.iso(1830)
    assert only["above_s"] == pytest.approx(3600 - 1830)


def test_a_probe_that_is_moved_leaves_the_broken_hold_where_it_was() -> None:
    """freezer-1 was warm for hours on day 2; on day 8 its probe is moved to freezer-2 and back."""
    before = (FREEZERS, probe("a", "freezer-1", **SLOW), probe("b", "freezer-2", **SLOW))
    after = (FREEZERS, probe("b", "freezer-1", **SLOW), probe("a", "freezer-2", **SLOW))
    paper = frozen_lot(Paper())
    steady(paper, "b", 0, 9 * DAY, -25.0)
    steady(paper, "a", 0, 2 * DAY, -25.0)
    steady(paper, "a", 2 * DAY + 300, 2 * DAY + 6 * H, -10.0)
    steady(paper, "a", 2 * DAY + 6 * H + 300, 9 * DAY, -25.0)
    change(paper, 8 * DAY + 100, *after)
    lot = lot_of(paper, shop_of(*before))

    assert lot["state"] == "freezing"
    assert len(lot["interruptions"]) == 1
    assert lot["interruptions"][0]["peak_c"] == pytest.approx(-9.9, abs=0.2)
    assert lot["credited_h"] == pytest.approx(9 * 24 - 2 * 24 - 6, abs=0.2)


def test_a_hold_begins_with_the_cold_of_the_probe_that_took_over() -> None:
    """Its first probe never saw the cold; the second sees it from its first reading there."""
    before = (FREEZERS, probe("a", "freezer-1", **SLOW), probe("b", "freezer-2", **SLOW))
    after = (FREEZERS, probe("b", "freezer-1", **SLOW), probe("a", "freezer-2", **SLOW))
    paper = frozen_lot(Paper())
    steady(paper, "b", 0, 9 * DAY, -25.0)
    steady(paper, "a", 0, 9 * DAY, -15.0)
    change(paper, 3 * DAY + 100, *after)
    lot = lot_of(paper, shop_of(*before))

    assert lot["started"] == paper.iso(3 * DAY + 300)
    assert lot["credited_h"] == pytest.approx(6 * 24, abs=0.1)


def test_a_unit_whose_probe_was_moved_away_is_watched_by_nobody_from_then_on() -> None:
    """Two stretches, each in its place: what the probe says elsewhere proves nothing here."""
    paper = frozen_lot(Paper())
    steady(paper, "a", 0, 9 * DAY, -25.0)
    change(paper, 3 * DAY, FREEZERS, probe("a", "freezer-2", **SLOW))
    lot = lot_of(paper, shop_of(FREEZERS, probe("a", "freezer-1", **SLOW)))

    assert lot["state"] == "freezing"
    assert lot["credited_h"] < 3 * 24 + 0.2
    assert lot["interruptions"][-1]["end"] is None
    assert lot["interruptions"][-1]["reason"] == "gap"
    assert lot["standing"] == "unproven"


def test_a_spare_that_takes_over_at_once_goes_on_with_the_hold() -> None:
    """The old probe is taken out and a new one speaks within the stale time: no break."""
    paper = frozen_lot(Paper())
    steady(paper, "a", 0, 3 * DAY, -25.0)
    steady(paper, "spare", 3 * DAY + 400, 8 * DAY, -24.0)
    change(paper, 3 * DAY + 200, FREEZERS, probe("spare", "freezer-1", **SLOW))
    lot = lot_of(paper, shop_of(FREEZERS, probe("a", "freezer-1", **SLOW)))

    assert lot["interruptions"] == []
    assert lot["state"] == "complete"
    assert lot["standing"] == "proven", lot["doubts"]


def test_a_spare_that_takes_over_late_breaks_the_hold() -> None:
    """Nobody looked for 40 minutes between the last reading of one and the first of the other."""
    paper = frozen_lot(Paper())
    steady(paper, "a", 0, 3 * DAY, -25.0)
    steady(paper, "spare", 3 * DAY + 2400, 9 * DAY, -24.0)
    change(paper, 3 * DAY + 200, FREEZERS, probe("spare", "freezer-1", **SLOW))
    lot = lot_of(paper, shop_of(FREEZERS, probe("a", "freezer-1", **SLOW)))

    (only,) = lot["interruptions"]
    assert (only["start"], only["end"]) == (paper.iso(3 * DAY), paper.iso(3 * DAY + 2400))
    assert only["reason"] == "gap"


def test_a_warm_product_probe_that_is_taken_out_leaves_what_it_saw() -> None:
    """At −14 °C in the fish for two days, then removed: the cold air counts from then on alone."""
    both = (
        FREEZERS,
        probe("air", "freezer-1", **SLOW),
        probe("core", "freezer-1", "product", **SLOW),
    )
    paper = frozen_lot(Paper())
    steady(paper, "air", 0, 8 * DAY, -25.0)
    steady(paper, "core", 0, 2 * DAY, -14.0)
    change(paper, 2 * DAY, FREEZERS, probe("air", "freezer-1", **SLOW))
    lot = lot_of(paper, shop_of(*both))

    assert lot["state"] == "freezing"
    assert lot["credited_h"] <= 6 * 24 + 0.1


def test_a_lag_of_thirty_days_hides_no_warmth_of_before() -> None:
    """Twelve hours at +5 °C on day 2; the lag is set on day 3."""
    paper = frozen_lot(Paper())
    steady(paper, "air", 0, 2 * DAY, -25.0)
    steady(paper, "air", 2 * DAY + 300, 2 * DAY + 12 * H, 5.0)
    steady(paper, "air", 2 * DAY + 12 * H + 300, 8 * DAY, -25.0)
    slow = unit("freezer-1", "freezer", lag_s=30 * DAY)
    air = probe("air", "freezer-1", **SLOW)
    change(paper, 3 * DAY, slow, air)
    lot = lot_of(paper, shop_of(LAGGED, air))

    assert lot["state"] == "freezing"
    assert lot["interruptions"][0]["peak_c"] == pytest.approx(5.0, abs=0.2)
    assert lot["standing"] in ("against", "unproven")


def test_a_stale_time_of_a_day_closes_no_silence_of_before() -> None:
    """Six hours of silence on day 2; the stale time is set on day 3."""
    paper = frozen_lot(Paper())
    steady(paper, "air", 0, 2 * DAY, -25.0)
    steady(paper, "air", 2 * DAY + 6 * H, 8 * DAY, -25.0)
    air = probe("air", "freezer-1", **SLOW)
    change(paper, 3 * DAY, LAGGED, probe("air", "freezer-1", stale_s=DAY, **SLOW))
    lot = lot_of(paper, shop_of(LAGGED, air))

    (only,) = lot["interruptions"]
    assert only["reason"] == "gap"
    assert (only["start"], only["end"]) == (paper.iso(2 * DAY), paper.iso(2 * DAY + 6 * H))
    assert lot["state"] == "freezing"


def test_a_stale_time_made_longer_within_a_silence_does_not_close_it() -> None:
    """The shorter of both counts for the silence that a change lies in."""
    paper = frozen_lot(Paper())
    steady(paper, "air", 0, 2 * DAY, -25.0)
    steady(paper, "air", 2 * DAY + 6 * H, 8 * DAY, -25.0)
    air = probe("air", "freezer-1", **SLOW)
    change(paper, 2 * DAY + 600, LAGGED, probe("air", "freezer-1", stale_s=DAY, **SLOW))
    lot = lot_of(paper, shop_of(LAGGED, air))

    assert [item["reason"] for item in lot["interruptions"]] == ["gap"]


def test_a_backlog_of_before_a_move_counts_where_the_probe_stood() -> None:
    """Its readings of day 1 arrive on day 3, when it is in the other freezer already."""
    timed = {"format": "json", "fields": None, **SLOW}
    own = 'fields = { value = "t", time = "ts" }\n'
    here, there = (probe("a", where, **timed) + own for where in ("freezer-1", "freezer-2"))
    paper = frozen_lot(Paper())
    for at_s in range(0, DAY + 1, 300):
        paper.dated(at_s, at_s, -25.0, "a")
    change(paper, 2 * DAY, FREEZERS, there)
    for at_s in range(DAY + 300, 2 * DAY, 300):
        paper.dated(2 * DAY + H, at_s, -24.0, "a")
    paper.dated(2 * DAY + H, 2 * DAY + H, -5.0, "a")
    lot = lot_of(paper, shop_of(FREEZERS, here))

    assert lot["interruptions"][-1]["start"] == paper.iso(2 * DAY - 300)
    assert lot["interruptions"][-1]["reason"] == "gap"


def test_a_backlog_is_corrected_as_its_probe_was_then() -> None:
    """The offset of a spare is not added to what was measured before it was put in."""
    timed = {"format": "json", "fields": None, **SLOW}
    own = 'fields = { value = "t", time = "ts" }\n'
    case = unit("case-1")
    plain, spare = probe(**timed) + own, probe(offset_c=-3.0, **timed) + own
    paper = Paper().dated(0, 0, 2.0)
    change(paper, 600, case, spare)
    paper.dated(900, 300, 7.0).dated(900, 900, 5.0)
    found = paper.ledger(shop_of(case, plain))["units"]["case-1"]

    assert found["max_c"] == 7.0
    assert found["min_c"] == 2.0


def test_the_ledger_names_each_change_and_who_made_it() -> None:
    """Key by key, with the instant from which it holds."""
    paper = Paper().curve([(0, 2.0), (3600, 3.0)], every_s=60)
    change(paper, 1800, unit("case-1", limit_c=4.4), probe(), who="Ines")
    changes = paper.ledger(shop_of(unit("case-1"), probe()))["setting_changes"]

    assert changes == [
        {
            "at": paper.iso(1800),
            "key": "unit.case-1.limit_c",
            "before": 5.0,
            "after": 4.4,
            "who": "Ines",
        }
    ]


def misplaced() -> tuple[Paper, Shop]:
    """Tell of freezers whose probes were swapped for the second day, and nobody said so."""
    paper = frozen_lot(Paper())
    steady(paper, "a", 0, DAY, -25.0)
    steady(paper, "a", DAY + 300, 2 * DAY, -10.0)
    steady(paper, "a", 2 * DAY + 300, 8 * DAY, -25.0)
    steady(paper, "b", 0, 8 * DAY, -26.0)
    where = (FREEZERS, probe("a", "freezer-1", **SLOW), probe("b", "freezer-2", **SLOW))
    for name, was, there in (("a", "freezer-1", "freezer-2"), ("b", "freezer-2", "freezer-1")):
        paper.do(
            8 * DAY,
            "correct-place",
            probe=name,
            was=was,
            unit=there,
            **{"from": paper.iso(DAY + 60), "to": paper.iso(2 * DAY + 60)},
            reason="they were mixed up when the freezers were cleaned",
            who="Ines",
        )
    return paper, shop_of(*where)


def test_a_probe_that_was_elsewhere_is_a_doubt_until_somebody_else_confirms_it() -> None:
    """What it measured in that day is the other freezer's."""
    paper, shop = misplaced()
    lot = lot_of(paper, shop)
    assert lot["interruptions"] == []
    assert lot["state"] == "complete"
    assert (lot["standing"], lot["doubts"]) == ("doubt", ["place-corrected"])

    paper.do(8 * DAY + 60, "confirm-place", number=3, who="Ines")
    paper.do(8 * DAY + 61, "confirm-place", number=3, who="Ana")
    assert lot_of(paper, shop)["standing"] == "doubt", "the other probe's is not confirmed"
    paper.do(8 * DAY + 62, "confirm-place", number=4, who="Ana")
    ledger = paper.ledger(shop)
    assert ledger["lots"][0]["standing"] == "proven"
    (refused,) = ledger["refused"]
    assert refused["why"] == "Ines said so already; somebody else has to confirm it"


def test_what_is_said_of_a_place_after_the_fish_is_gone_betters_nothing() -> None:
    """Though two people say so."""
    paper, shop = misplaced()
    paper.do(7 * DAY + 12 * H, "withdraw-lot", lot="L1", reason="sold out")
    for number in (4, 5):
        paper.do(8 * DAY + number, "confirm-place", number=number, who="Ana")
    assert lot_of(paper, shop)["standing"] != "proven"
