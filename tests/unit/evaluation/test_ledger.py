"""The ledger of a period: its parts add up, and nothing outside it counts."""

import json
from typing import Any

import pytest

from core_run import CoreRun, run_core
from handmade import Paper, probe, shop, unit
from rimewatch.entries import CorrectiveAction
from rimewatch.evaluation.channels import history_of
from rimewatch.evaluation.figures import figure
from rimewatch.evaluation.ledger import Account, build_ledger
from rimewatch.instants import iso_or_none
from rimewatch.report.ledger_json import ledger_document
from rimewatch.shop import Shop
from rimewatch.vocabulary import UnitId

DAY = "2026-03-02T15:00:00Z"
SHOP = shop(unit(lag_s=600), probe())


def night() -> Paper:
    """Return an hour with two warm spells and a gap of ten minutes."""
    paper = Paper(DAY)
    for minute in range(60):
        if not 30 <= minute < 40:
            paper.say(60 * minute, str(9.0 if minute % 20 > 5 else 1.0))
    return paper


def part(run: CoreRun, paper: Paper, from_s: float, to_s: float) -> dict[str, Any]:
    """Return the case's record of a part of the night."""
    ledger = ledger_document(
        build_ledger(
            SHOP, run.store, Account(), from_ms=paper.at_ms(from_s), to_ms=paper.at_ms(to_s)
        )
    )
    found: dict[str, Any] = ledger["units"]["case-1"]
    return found


@pytest.mark.parametrize("cut_s", [300, 601, 1000, 1740, 1900, 2400, 3000])
def test_ledgers_of_two_parts_add_up_to_that_of_the_whole(cut_s: int) -> None:
    """Cut in a warm spell, on a reading, between two, and in the gap."""
    paper = night()
    run = run_core(SHOP, paper.read())
    whole = part(run, paper, 0, 3540)

    early, late = part(run, paper, 0, cut_s), part(run, paper, cut_s, 3540)

    for key in ("governing_above_limit_s", "missing_s"):
        # The earlier part ends at its last reading: what comes is not known yet, and
        # silence shorter than the stale time is not missing yet.
        lost_s = 180.0
        assert whole[key] - lost_s <= early[key] + late[key] <= whole[key] + 0.002
    on_a_reading = cut_s % 60 == 0
    assert early["readings"] + late["readings"] == whole["readings"] + (
        on_a_reading and not 1800 <= cut_s < 2400
    )
    assert max(early["max_c"], late["max_c"]) == whole["max_c"]


def test_ledger_from_channels_folded_before_is_the_same() -> None:
    """Whether somebody has them already or not."""
    paper = night()
    run = run_core(SHOP, paper.read())
    air = SHOP.probes[0]
    histories = {air.id: history_of(SHOP, air, run.store, run.to_ms)}

    given, made = (
        ledger_document(
            build_ledger(
                SHOP, run.store, Account(), from_ms=paper.start_ms, to_ms=run.to_ms, histories=given
            )
        )
        for given in (histories, None)
    )

    assert given == made


def test_ledger_does_not_look_beyond_its_end() -> None:
    """The summary of the morning does not know of the noon."""
    paper = night()
    run = run_core(SHOP, paper.read())
    shorter = Paper(DAY)
    shorter.lines = [line for line in paper.lines if line["at"] <= "2026-03-02T15:25"]

    known = part(run, paper, 0, 1440)

    assert known == run_core(SHOP, shorter.read()).ledger["units"]["case-1"]


def test_ledger_is_plain_json_without_a_number_that_is_none() -> None:
    """Other programs read it."""
    ledger = run_core(SHOP, night().read()).ledger

    assert json.loads(json.dumps(ledger, allow_nan=False)) == ledger


def test_ledger_of_a_unit_without_a_temperature_probe_is_all_missing() -> None:
    """Nobody measures it: no figure, no excursion, and no credit."""
    two = shop(unit(), unit("shed"), probe(), probe("door", "shed", "door"))
    paper = Paper(DAY).say(0, "2.0").say(60, "2.0").say(30, "1", "door")

    record = run_core(two, paper.read()).ledger["units"]["shed"]

    assert (record["readings"], record["missing_s"], record["mean_c"]) == (0, 60.0, None)
    assert record["excursions"] == []


@pytest.mark.parametrize(
    "shop_",
    [
        shop(unit(), probe()),
        shop(unit(), probe(measures="humidity"), probe("air2")),
        shop(unit(), probe(measures="water"), probe("air2")),
    ],
)
def test_ledger_names_every_unit_and_probe(shop_: Shop) -> None:
    """Also those that never spoke."""
    ledger = run_core(shop_, Paper(DAY).say(0, "1").read()).ledger

    assert set(ledger["units"]) == {u.id for u in shop_.units}
    assert set(ledger["probes"]) == {p.id for p in shop_.probes}


def test_ledger_lists_the_corrective_actions_of_its_period_in_order() -> None:
    """What was done, in the person's own words."""
    paper = night()
    run = run_core(SHOP, paper.read())
    entries = [
        CorrectiveAction(at_ms=paper.at_ms(at_s), unit=UnitId("case-1"), text=text, who="Mia")
        for at_s, text in [
            (500, "called the repair firm"),
            (100, "moved the fish"),
            (9000, "later"),
        ]
    ]

    ledger = ledger_document(
        build_ledger(
            SHOP,
            run.store,
            Account(entries=entries),
            from_ms=paper.start_ms,
            to_ms=paper.at_ms(3540),
        )
    )

    assert [(a["at"], a["text"]) for a in ledger["corrective_actions"]] == [
        (paper.iso(100), "moved the fish"),
        (paper.iso(500), "called the repair firm"),
    ]


@pytest.mark.parametrize(
    ("at_ms", "text"),
    [
        (0, "1970-01-01T00:00:00Z"),
        (1_772_438_400_000, "2026-03-02T08:00:00Z"),
        (1_772_438_400_000.4, "2026-03-02T08:00:00Z"),
        (1_772_438_400_000.6, "2026-03-02T08:00:00.001Z"),
        (-1, "1969-12-31T23:59:59.999Z"),
        (None, None),
    ],
)
def test_instants_are_written_to_the_millisecond(at_ms: float | None, text: str | None) -> None:
    """ISO 8601, UTC, and no more digits than there is to say."""
    assert iso_or_none(at_ms) == text


def test_figures_are_rounded_and_never_a_negative_zero() -> None:
    """−0.0004 °C is 0 °C."""
    assert str(figure(-0.0004, 3)) == "0.0"
    assert (figure(1.23456, 3), figure(None, 3)) == (1.235, None)
