"""What was done is asked for until it is given, and a note is taken for what it is about."""

from handmade import Paper, ms, probe, shop, unit
from rimewatch.entries import AnyEntry, CorrectiveAction, InService, OutOfService
from rimewatch.evaluation.awaiting import awaiting_action, meant_by
from rimewatch.evaluation.channels import history_of
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.service_times import out_of_service_times
from rimewatch.readings import Reading
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H, ProbeId, UnitId

SHOP = shop(unit(), probe())
CASE = UnitId("case-1")
START_MS = ms("2026-03-02T12:00:00Z")


def starts_waiting(*entries: AnyEntry, from_h: float = 48) -> list[float]:
    """Return when the excursions that wait began, in hours: two there are, at 1 h and 30 h."""
    store = MemoryStore()
    for minute in range(60 * 40):
        warm = 9.0 if 60 <= minute < 120 or 1800 <= minute < 1830 else 1.0
        at_ms = START_MS + minute * 60_000
        store.add(
            Reading(probe=ProbeId("air"), observed_ms=at_ms, arrived_ms=at_ms, raw=warm, value=warm)
        )
    from_ms = START_MS + round(from_h * MS_PER_H)
    histories = [history_of(SHOP, SHOP.probes[0], store, from_ms)]
    found = awaiting_action(SHOP.units[0], histories, entries, from_ms)
    return [round((item.start_ms - START_MS) / MS_PER_H) for item in found]


def note(at_h: float) -> CorrectiveAction:
    """Return a note of what was done."""
    return CorrectiveAction(at_ms=START_MS + round(at_h * MS_PER_H), unit=CASE, text="Moved it.")


def test_excursions_without_a_note_wait_for_a_week() -> None:
    """After seven days it is not asked for any more; the record shows it as open."""
    assert starts_waiting() == [1, 30]
    assert starts_waiting(from_h=7 * 24 + 10) == [30]
    assert starts_waiting(from_h=10 * 24) == []


def test_a_note_is_about_the_latest_excursion_and_those_of_its_day() -> None:
    """A note on Wednesday does not explain away what happened on Monday."""
    assert starts_waiting(note(2)) == [30]
    assert starts_waiting(note(31)) == [1]
    assert starts_waiting(note(2), note(31)) == []
    assert starts_waiting(note(0.5)) == [1, 30]


def test_a_unit_out_of_service_owes_no_note() -> None:
    """A case that is being cleaned holds no fish."""
    out = OutOfService(at_ms=START_MS, unit=CASE)
    back = InService(at_ms=START_MS + 3 * MS_PER_H, unit=CASE)
    assert starts_waiting(out, back) == [30]


def test_another_units_note_settles_nothing() -> None:
    """A note is for the unit that it names."""
    other = CorrectiveAction(at_ms=START_MS + 31 * MS_PER_H, unit=UnitId("case-2"), text="x")
    assert starts_waiting(other) == [1, 30]


def test_a_note_before_every_excursion_is_about_none() -> None:
    """Nobody can have written down what had not happened."""
    assert meant_by(5, [6, 7]) == set()
    assert meant_by(MS_PER_DAY + 6, [6, 7]) == {0, 1}


def test_time_out_of_service_is_put_together_from_entries() -> None:
    """In any order; a second "out" changes nothing; what lasts has no end."""
    entries = [
        InService(at_ms=500, unit=CASE),
        OutOfService(at_ms=100, unit=CASE),
        OutOfService(at_ms=200, unit=CASE),
        OutOfService(at_ms=900, unit=CASE),
        OutOfService(at_ms=300, unit=UnitId("case-2")),
    ]
    assert out_of_service_times(entries, CASE, 0, 1000) == [(100, 500), (900, None)]
    assert out_of_service_times(entries, CASE, 600, 800) == []
    assert out_of_service_times(entries, CASE, 0, 150) == [(100, None)]


def test_a_summary_asks_again_the_next_morning() -> None:
    """Nobody wrote anything down; the second morning's summary still asks for it."""
    paper = Paper("2026-03-02T12:00:00Z")
    for minute in range(60 * 49):
        paper.say(minute * 60, 9.0 if 60 <= minute < 120 else 1.0)
    asked = "Still to be written down: what was done about the excursion of case-1 on Mon 2 March."

    mornings = paper.replay(SHOP).mornings

    texts = {day.isoformat(): " ".join(m.text.split()) for day, m in mornings.items()}
    assert asked not in texts["2026-03-03"]
    assert "Write down what was done about the excursion of case-1." in texts["2026-03-03"]
    assert asked in texts["2026-03-04"]
    noted = paper.do(30 * 3600, "corrective-action", unit="case-1", text="Ice was put on.")
    again = noted.replay(SHOP).mornings
    assert not any("Still to be written" in " ".join(m.text.split()) for m in again.values())
