"""Batches that cool, timers, exposure and laxer limits, as the ledger shows them."""

import pytest

from handmade import ONE_CONTACT, Paper, probe, shop, unit
from rimewatch.shop import Shop

SHOP = shop(unit(), probe("air"), probe("core", measures="product"), ONE_CONTACT)


def cooled(points: list[tuple[float, float]], **keys: str) -> Paper:
    """A batch put into the case at 10 min; its core by hours after that and °C."""
    paper = Paper().curve([(0, 1.0), (600, 1.0)], "core", 60)
    if "lot" in keys:
        paper.receive(0, keys["lot"])
    paper.do(600, "start-cooling", unit="case-1", **keys)
    paper.curve([(660 + 3600 * h, c) for h, c in points], "core", 60)
    end_s = 660 + 3600 * points[-1][0]
    return paper.curve([(0, 1.0), (end_s, 1.0)], "air", 60)


def test_batch_in_its_times_is_complete_and_wakes_nobody() -> None:
    """The case's limit waits while the batch cools in it."""
    ledger = cooled([(0, 60), (1.5, 20), (4, 4), (5, 3)], lot="L9").ledger(SHOP)
    (batch,) = ledger["cooling"]

    assert batch["state"] == "complete"
    assert batch["lot"] == "L9"
    assert [stage["to_c"] for stage in batch["stages"]] == [21.0, 5.0]
    assert not any(stage["missed"] for stage in batch["stages"])
    assert ledger["alarms"] == []


def test_slow_batch_has_an_alarm_before_its_time_is_over() -> None:
    """Ice helps as long as there is time."""
    paper = cooled([(0, 57), (3, 40)])
    ledger = paper.ledger(SHOP)
    (alarm,) = [a for a in ledger["alarms"] if a["rule"] == "cooling"]

    assert alarm["raised"] < paper.iso(660 + 7200)
    assert ledger["cooling"][0]["state"] == "failed"
    assert [a["rule"] for a in ledger["alarms"]] == ["cooling", "holding"], (
        "a batch that has failed is fish above the limit like any other"
    )


@pytest.mark.parametrize(
    ("hours", "minutes", "state"), [(4, 239, "running"), (4, 240, "discard"), (6, 359, "running")]
)
def test_timer_of_a_unit_runs_out_at_its_end(hours: int, minutes: int, state: str) -> None:
    """FDA Food Code 2022, 3-501.19(B) and (C)."""
    paper = Paper().curve([(0, 4.0), (60 + 60 * minutes, 4.9)], "core", 60)
    paper.do(60, "start-time-control", unit="case-1", hours=hours)
    (timer,) = paper.ledger(SHOP)["time_control"]

    assert timer["state"] == state
    assert timer["ends"] == paper.iso(60 + hours * 3600)


def test_timer_of_six_hours_ends_where_the_food_passes_21_degrees() -> None:
    """The warmest portion counts."""
    paper = Paper().curve([(0, 4.0), (60, 4.0), (7260, 24.0)], "core", 60)
    paper.do(60, "start-time-control", unit="case-1", hours=6)
    (timer,) = paper.ledger(SHOP)["time_control"]

    assert timer["state"] == "discard"
    assert paper.iso(6000) <= timer["discard"] <= paper.iso(6181)


def test_lot_that_nobody_measured_is_not_eligible_for_a_timer() -> None:
    """It must have been cold as it left control."""
    paper = Paper().curve([(0, 4.0), (600, 4.0)], "core", 60)
    paper.receive(10, celsius=2.0).do(60, "start-time-control", lot="L1", hours=4)
    (timer,) = paper.ledger(SHOP)["time_control"]

    assert timer["state"] == "not eligible"


def test_excursion_and_lot_show_what_they_used_of_the_allowances() -> None:
    """Six hours at 8 °C: a quarter of the day that L. monocytogenes is given from 5 to 10 °C."""
    paper = Paper().curve([(0, 8.0), (6 * 3600, 8.0)], "core", 60)
    paper.receive(0, species="Thunnus albacares", celsius=2.0)
    paper.do(0, "move-lot", lot="L1", unit="case-1")
    ledger = paper.ledger(SHOP)
    (excursion,) = ledger["units"]["case-1"]["excursions"]
    exposure = ledger["lots"][0]["exposure"]
    monocytogenes = [e for e in exposure["table_a2"] if "monocytogenes" in e["hazard"]]

    assert monocytogenes[0]["share"] == pytest.approx(0.25, abs=1e-3)
    assert len(exposure["table_a2"]) == 3
    shares = [e["share_with_gaps"] for e in exposure["table_a2"]]
    assert shares == sorted(shares, reverse=True)
    assert exposure["scombrotoxin"]["share"] == pytest.approx(6 / 8, abs=1e-3)
    assert excursion["exposure"][0]["share"] > 0.0


def test_cod_has_no_time_for_scombrotoxin_and_an_unknown_fish_has() -> None:
    """Doubt counts against the fish."""
    paper = Paper().curve([(0, 8.0), (3600, 8.0)], "core", 60)
    for lot, species in (("L1", "Gadus macrocephalus"), ("L2", "some fish")):
        paper.receive(0, lot, species=species, celsius=2.0)
        paper.do(0, "move-lot", lot=lot, unit="case-1")
    cod, unknown = paper.ledger(SHOP)["lots"]

    assert cod["exposure"]["scombrotoxin"] is None
    assert unknown["exposure"]["scombrotoxin"]["share"] > 0.0


def test_laxer_limit_stands_in_the_ledger_with_its_reason() -> None:
    """Whoever reads the record sees that it is not the published one."""
    lax = shop(unit(limit_c=7.0, laxer_because="state code for this display"), probe("air"))
    paper = Paper().curve([(0, 1.0), (600, 1.0)], every_s=60)

    assert paper.ledger(lax)["units"]["case-1"]["laxer_because"] == "state code for this display"
    assert paper.ledger(SHOP)["units"]["case-1"]["laxer_because"] is None


# --- several probes in one unit: the warmest counts, in whatever order -----------------------

ORDERS = [("core", "other"), ("other", "core")]


def with_two(order: tuple[str, str]) -> Shop:
    """Return the case with two product probes, in an order."""
    return shop(
        unit(), probe("air"), *(probe(name, measures="product") for name in order), ONE_CONTACT
    )


@pytest.mark.parametrize("order", ORDERS)
def test_batch_is_as_warm_as_the_warmest_of_its_probes(order: tuple[str, str]) -> None:
    """One lies in fish that was cold all along: it does not cool the batch."""
    paper = cooled([(0, 60), (3, 40), (7, 30)])
    paper.curve([(0, 1.0), (660 + 7 * 3600, 1.0)], "other", 60)
    ledger = paper.ledger(with_two(order))
    (batch,) = ledger["cooling"]

    assert batch["state"] == "failed"
    assert batch["started"] is not None
    assert [a["rule"] for a in ledger["alarms"] if a["rule"] == "cooling"] == ["cooling"]


@pytest.mark.parametrize("order", ORDERS)
def test_timer_follows_the_warmest_of_the_probes(order: tuple[str, str]) -> None:
    """FDA Food Code 2022, 3-501.19(C): the warmest portion passes 21 °C."""
    paper = Paper().curve([(0, 4.0), (60, 4.0), (7260, 24.0)], "core", 60)
    paper.curve([(0, 2.0), (7260, 2.0)], "other", 60)
    paper.do(60, "start-time-control", unit="case-1", hours=6)
    (timer,) = paper.ledger(with_two(order))["time_control"]

    assert timer["state"] == "discard"
    assert timer["warmest_c"] == pytest.approx(24.0, abs=0.2)
    assert paper.iso(6000) <= timer["discard"] <= paper.iso(6181)


@pytest.mark.parametrize("order", ORDERS)
def test_timer_begins_as_warm_as_the_warmest_of_the_probes(order: tuple[str, str]) -> None:
    """It must have been at 5 °C or below as it left control; one probe is colder."""
    paper = (
        Paper()
        .curve([(0, 6.0), (3600, 6.0)], "core", 60)
        .curve([(0, 2.0), (3600, 2.0)], "other", 60)
    )
    paper.do(600, "start-time-control", unit="case-1", hours=4)
    (timer,) = paper.ledger(with_two(order))["time_control"]

    assert timer["state"] == "not eligible"
