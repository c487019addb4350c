"""Who was woken by an alarm, when, and how soon somebody answered, as the morning tells it."""

from dataclasses import replace

from report_nights import bad_ledger, quiet_ledger, shop, summary_of

from ledger_values import ledger_of, ms
from rimewatch.report.summary import build_summary
from rimewatch.report.summary_document import file_text


class TestAlarms:
    def test_who_was_woken_when_and_how_soon_answered(self) -> None:
        """Both contacts by name, each with the first time, and the answer."""
        alarms = {item.alarm.key.rule.value: item for item in summary_of(bad_ledger()).alarms}
        text = " ".join(file_text(summary_of(bad_ledger())).split())

        assert alarms["hold-at-risk"].told_first == (
            (ms("2026-03-02T07:21:00Z"), "On-call phone"),
            (ms("2026-03-02T07:51:00Z"), "Owner"),
        )
        assert "Woken: On-call phone 02:26 CST; 2 messages in all. Answered after 19 min." in text
        assert "3 messages in all. Nobody answered. Back to normal 02:15 CST." in text

    def test_medium_alarm_of_the_night_waited_for_the_summary(self) -> None:
        """Nobody is woken for it, and that is said."""
        text = " ".join(file_text(summary_of(bad_ledger())).split())

        assert "no readings (medium) Nobody was told before this summary." in text

    def test_alarm_over_before_the_night_is_left_out(self) -> None:
        """It stood in yesterday's summary."""
        ledger = bad_ledger()
        summary = summary_of(ledger, from_ms=ms("2026-03-02T08:20:00Z"))

        assert [item.alarm.key.rule.value for item in summary.alarms] == ["holding"]

    def test_chattering_alarm_is_told_once_with_its_count(self) -> None:
        """Forty raisings of one alarm are one line, not forty."""
        ledger = quiet_ledger()
        ledger["alarms"] = [
            {
                "unit": "walk-in",
                "rule": "stale",
                "priority": "medium",
                "raised": f"2026-03-02T06:{minute:02}:00Z",
                "acknowledged": None,
                "returned": f"2026-03-02T06:{minute:02}:30Z",
                "woke": False,
            }
            for minute in range(40)
        ]
        text = " ".join(file_text(summary_of(ledger)).split())

        assert text.count("no readings (medium)") == 1
        assert "00:00–00:39 CST Walk-in cooler: no readings (medium) It came 40 times." in text

    def test_power_loss_over_two_units_names_both(self) -> None:
        """One alarm, both units."""
        ledger = quiet_ledger()
        ledger["alarms"] = [
            {
                "unit": None,
                "units": ["case-1", "walk-in"],
                "rule": "power-loss",
                "priority": "high",
                "raised": "2026-03-02T06:00:00Z",
                "acknowledged": "2026-03-02T06:04:00Z",
                "returned": "2026-03-02T06:30:00Z",
                "woke": True,
            }
        ]
        ledger["messages"] = [
            {
                "at": "2026-03-02T06:00:00Z",
                "contact": "first",
                "unit": None,
                "rule": "power-loss",
                "about": "raised",
            }
        ]
        text = " ".join(file_text(summary_of(ledger)).split())

        assert "00:00 CST Front display case and Walk-in cooler: power lost (high)" in text
        assert "Woken: On-call phone 00:00 CST. Answered after 4 min." in text

    def test_told_names_only_those_who_were_reached_where_that_is_known(self) -> None:
        """A phone whose service answered 429 each time was told of nothing."""
        ledger = bad_ledger()
        values = ledger_of(ledger, shop())
        messages = tuple(
            replace(message, refused="Too Many Requests")
            if message.contact == "first"
            else replace(message, sent_ms=message.at_ms)
            for message in values.messages
        )
        given = build_summary(shop(), replace(values, messages=messages), {}, by_fate=True)
        alarms = {item.alarm.key.rule.value: item for item in given.alarms}

        assert [who for _, who in alarms["hold-at-risk"].told_first] == ["Owner"]
        assert alarms["hold-at-risk"].told == 1
        assert alarms["hold-at-risk"].not_reached == (("On-call phone", "Too Many Requests"),)
