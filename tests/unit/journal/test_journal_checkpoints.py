"""What the evaluator remembers of itself."""

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from rimewatch.journal import Journal
from rimewatch.vocabulary import MS_PER_DAY, MS_PER_H

T0 = 1_772_409_600_000  # midnight UTC


def instants(journal: Journal, name: str) -> list[int]:
    """Return the instants of all checkpoints of a name."""
    rows = journal._connection.execute(
        "SELECT at_ms FROM checkpoint WHERE name = ? ORDER BY at_ms", (name,)
    )
    return [row[0] for row in rows]


def test_the_latest_checkpoint_before_a_late_reading_is_found(journal: Journal) -> None:
    """The unit is folded again from there."""
    for n in range(3):
        journal.save_checkpoint("case-1", T0 + n * MS_PER_H, f'{{"n":{n}}}')
    journal.save_checkpoint("case-2", T0 + 9 * MS_PER_H, "{}")

    assert journal.latest_checkpoint("case-1") == (T0 + 2 * MS_PER_H, '{"n":2}')
    assert journal.latest_checkpoint("case-1", T0 + 2 * MS_PER_H) == (T0 + MS_PER_H, '{"n":1}')
    assert journal.latest_checkpoint("case-1", T0) is None
    assert journal.latest_checkpoint("case-3") is None


def test_checkpoints_that_a_late_reading_made_void_are_dropped(journal: Journal) -> None:
    """A checkpoint at the very time of the late reading lacks it, and goes."""
    for n in range(4):
        journal.save_checkpoint("case-1", T0 + n, "{}")

    assert journal.drop_checkpoints("case-1", T0 + 2) == 2
    assert instants(journal, "case-1") == [T0, T0 + 1]


def test_a_checkpoint_saved_again_takes_the_place_of_the_former(journal: Journal) -> None:
    """Folding again leaves one state for an instant."""
    journal.save_checkpoint("case-1", T0, "old")
    journal.save_checkpoint("case-1", T0, "new")

    assert journal.latest_checkpoint("case-1") == (T0, "new")


def test_old_checkpoints_are_thinned_out_to_one_a_day(journal: Journal) -> None:
    """Two days stay dense, a month stays within reach, the rest goes."""
    with journal.batch():
        for hour in range(60 * 24):
            journal.save_checkpoint("case-1", T0 + hour * MS_PER_H, "{}")
    newest = T0 + (60 * 24 - 1) * MS_PER_H

    kept = instants(journal, "case-1")

    assert [at for at in kept if at >= newest - 2 * MS_PER_DAY] == [
        newest - n * MS_PER_H for n in range(48, -1, -1)
    ]
    older = [at for at in kept if at < newest - 2 * MS_PER_DAY]
    assert all(at % MS_PER_DAY == 0 for at in older)
    assert len(older) <= 31
    assert journal.latest_checkpoint("case-1", newest - 30 * MS_PER_DAY) is not None


@settings(
    deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.integers(min_value=0, max_value=45 * 24), min_size=1, max_size=30))
def test_a_backlog_of_thirty_days_always_finds_a_start_that_was_there(
    journal: Journal, hours: list[int]
) -> None:
    """Thinning drops no checkpoint without leaving one at most a day earlier in its place."""
    journal.drop_checkpoints("case-1", 0)
    with journal.batch():
        for hour in hours:
            journal.save_checkpoint("case-1", T0 + hour * MS_PER_H, "{}")
    saved = [T0 + hour * MS_PER_H for hour in hours]

    for at_ms in saved:
        if at_ms > max(saved) - 30 * MS_PER_DAY:
            found = journal.latest_checkpoint("case-1", at_ms + 1)
            assert found is not None
            assert at_ms - found[0] < MS_PER_DAY


def test_a_state_is_kept_under_its_name(journal: Journal) -> None:
    """The alarm engine finds itself again after a restart."""
    assert journal.load_state("alarms") is None
    journal.save_state("alarms", '{"v":1}')
    journal.save_state("alarms", '{"v":2}')

    assert journal.load_state("alarms") == '{"v":2}'
