"""Two devices on one probe's topic: in the ledger and in each morning's summary."""

from handmade import Paper, probe, shop, unit
from rimewatch.report.ledger_json import ledger_document

SHOP = shop(unit(), probe(every_s=180))


def in_turn(paper: Paper, count: int) -> None:
    for n in range(count):
        paper.say(n * 180, 0.0 if n % 2 else 4.4)


def test_two_devices_stand_in_the_ledger_with_the_last_time_and_are_to_be_done() -> None:
    """The probe's readings are all kept; somebody is asked to give each its own topic."""
    paper = Paper()
    in_turn(paper, 40)
    found = paper.replay(SHOP)

    ledger = ledger_document(found.ledger)
    record = ledger["probes"]["air"]
    assert record["two_sources"] == paper.iso(39 * 180)
    assert ledger["quarantined"] == 0
    assert ledger["units"]["case-1"]["readings"] == 40
    assert "two devices publish on its topic" in next(iter(found.mornings.values())).text


def test_two_devices_that_go_on_for_days_are_told_of_each_morning() -> None:
    """It was found once, days ago, and is still so."""
    paper = Paper()
    in_turn(paper, 49 * 20)
    mornings = list(paper.replay(SHOP).mornings.values())

    assert len(mornings) == 3
    assert all("two devices publish on its topic" in morning.text for morning in mornings)


def test_single_device_is_not_accused() -> None:
    """A door that is opened again and again is one device."""
    paper = Paper()
    for n in range(40):
        paper.say(n * 60, 2.0 + (6.0 if n % 6 in (2, 3) else 0.0))

    assert paper.ledger(SHOP)["probes"]["air"]["two_sources"] is None
