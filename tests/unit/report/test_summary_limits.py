"""A limit that was moved is told the next morning, in one line and in the shop's scale."""

from report_nights import quiet_ledger, shop, summary_of

from rimewatch.report.push_text import push_text
from rimewatch.report.sections import LIMITS_CHANGED, sections
from rimewatch.report.summary_document import file_text
from rimewatch.vocabulary import Scale


def a_change(key: str, before: object, after: object, who: str = "") -> dict[str, object]:
    """Return a change at 09:12 of the morning before, as a ledger has it."""
    return {"at": "2026-03-01T15:12:00Z", "key": key, "before": before, "after": after, "who": who}


def test_limits_that_were_moved_are_one_line() -> None:
    """Whoever reads the summary knows by which line the night was judged."""
    ledger = quiet_ledger() | {
        "setting_changes": [
            a_change("unit.case-1.limit_c", 5.0, 4.4),
            a_change("unit.case-1.on_delay_s", 900.0, 1800.0, "Ana"),
        ]
    }
    found = [item for item in sections(summary_of(ledger)) if item.title == LIMITS_CHANGED]

    told = (
        "Front display case: critical limit 41.0 °F → 39.9 °F (Sun 09:12 CST); "
        "Front display case: alarm delay 15 min → 30 min (Sun 09:12 CST by Ana)"
    )
    assert [item.head for section in found for item in section.items] == [told]
    assert f"Limits changed: {told}." in push_text(summary_of(ledger))


def test_limits_are_told_in_celsius_and_differences_as_such() -> None:
    """A deadband of 0.5 °C is no 32.9 °F; an operating limit that was taken away is none."""
    ledger = quiet_ledger() | {
        "setting_changes": [
            a_change("unit.case-1.deadband_c", 0.5, 1.0),
            a_change("unit.case-1.operating_limit_c", 3.3, None),
        ]
    }
    text = " ".join(file_text(summary_of(ledger, of=shop(display=Scale.CELSIUS))).split())

    assert "deadband 0.5 °C → 1.0 °C" in text
    assert "operating limit 3.3 °C → none" in text


def test_other_settings_are_left_to_the_record() -> None:
    """A new name for a contact is no news for the morning."""
    ledger = quiet_ledger() | {
        "setting_changes": [a_change("contact.first.name", "On-call phone", "Night phone")]
    }

    assert LIMITS_CHANGED.upper() not in file_text(summary_of(ledger))
