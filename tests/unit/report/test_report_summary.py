"""What the morning summary concludes from a ledger, and how soberly it says so."""

import copy
import math
import re
from typing import Any

import pytest
from report_nights import FROM_MS, TO_MS, bad_ledger, iso, ms, quiet_ledger, shop

from rimewatch.report.facts import State, Summary
from rimewatch.report.page import page
from rimewatch.report.render_text import file_text, push_text, summary_message
from rimewatch.report.summary import build_summary
from rimewatch.shop import Shop
from rimewatch.vocabulary import Scale

HOUR_MS = 3_600_000


def _summary(
    ledger: dict[str, Any], *, of: Shop | None = None, from_ms: int = FROM_MS, to_ms: int = TO_MS
) -> Summary:
    return build_summary(of or shop(), ledger, {}, from_ms, to_ms)


def _excursion(**more: Any) -> dict[str, Any]:
    return {
        "rule": "holding",
        "start": "2026-03-02T08:11:00Z",
        "end": "2026-03-02T09:14:00Z",
        "peak_c": 7.0,
        "above_s": 3540.0,
        "cause": "door",
        "alarmed": True,
        **more,
    }


class TestVerdict:
    def test_quiet_night_is_all_cold_held_and_nothing_to_do(self) -> None:
        """The best morning is two short sentences."""
        assert _summary(quiet_ledger()).headline == "All cold held. Nothing to do."

    def test_air_above_the_limit_in_a_defrost_is_no_warm_night(self) -> None:
        """Air is not fish: a defrost every night must not cry wolf every morning."""
        summary = _summary(quiet_ledger())

        assert summary.units[0].above_limit_s == 1140.0
        assert summary.state is State.HELD

    def test_one_gap_of_any_length_is_not_proven(self) -> None:
        """Missing data is never cold."""
        ledger = quiet_ledger()
        ledger["units"]["walk-in"]["missing_s"] = 200.0
        summary = _summary(ledger)

        assert summary.state is State.NOT_PROVEN
        assert summary.headline == (
            "Cold not proven: Walk-in cooler was unmonitored for 3 min. One thing to do."
        )

    def test_warm_case_leads_and_doubt_follows(self) -> None:
        """The gravest is read first."""
        assert _summary(bad_ledger()).verdict == (
            "Front display case got warm, up to 44.6 °F.",
            "Cold not proven: Side display case was unmonitored for 42 min.",
            "One freezing hold set back.",
            "Eight things to do.",
        )

    def test_fish_above_the_limit_for_seconds_without_excursion_is_warm(self) -> None:
        """Too short for an alarm is not too short for the record."""
        ledger = quiet_ledger()
        ledger["units"]["case-2"]["governing_above_limit_s"] = 20.0

        assert _summary(ledger).headline.startswith("Side display case got warm.")

    def test_early_line_alone_leaves_the_cold_held(self) -> None:
        """The operating limit lies inside the critical one."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [
            _excursion(rule="operating-limit", peak_c=3.9, above_s=1200.0)
        ]
        summary = _summary(ledger)

        assert summary.verdict[0] == "All cold held."
        assert "above its early line 37.9 °F for 20 min" in file_text(summary)

    def test_early_line_on_the_way_to_the_limit_is_not_told_twice(self) -> None:
        """One warm spell is one paragraph, and one task."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [
            _excursion(rule="operating-limit", start="2026-03-02T08:01:00Z", end=None),
            _excursion(end=None),
        ]
        ledger["alarms"] = [
            {
                "unit": "case-1",
                "rule": "operating-limit",
                "priority": "medium",
                "raised": "2026-03-02T08:16:00Z",
                "acknowledged": None,
                "returned": None,
                "woke": False,
            }
        ]
        summary = _summary(ledger)

        assert (
            "early line" not in file_text(summary).partition("WARM SPELLS")[2].partition("LOTS")[0]
        )
        assert len(summary.todos) == 2

    def test_open_excursion_says_it_still_is(self) -> None:
        """Whoever reads it over coffee must get up."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [_excursion(end=None)]
        summary = _summary(ledger)

        assert summary.verdict[0] == "Front display case got warm, up to 44.6 °F and still is."
        assert summary.todos[0].text.startswith("Front display case is still above 41.0 °F: move")

    def test_two_warm_units_are_counted_and_named(self) -> None:
        """Both names stand in the first line."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [_excursion()]
        ledger["units"]["freezer-1"]["excursions"] = [
            _excursion(rule="freezer", peak_c=-15.0, end=None)
        ]

        assert _summary(ledger).verdict[0] == (
            "Two units got warm: Front display case and Chest freezer; one still is."
        )

    def test_silence_all_night_proves_nothing(self) -> None:
        """No readings is not a quiet night."""
        ledger = quiet_ledger()
        for unit in ledger["units"].values():
            unit |= {"readings": 0, "missing_s": 86400.0, "min_c": None, "max_c": None}
            unit |= {"mean_c": None, "kinetic_c": None}
        summary = _summary(ledger)

        assert summary.verdict[0] == "Nothing was measured: the cold is not proven."
        assert "never above" not in file_text(summary)

    def test_unit_the_ledger_does_not_know_was_not_watched(self) -> None:
        """A unit added this morning is not "held"."""
        ledger = quiet_ledger()
        del ledger["units"]["case-2"]

        assert _summary(ledger).verdict[0] == (
            "Cold not proven: Side display case was not watched at all."
        )

    @pytest.mark.parametrize("ledger", [quiet_ledger(), bad_ledger()])
    def test_the_word_safe_is_never_said(self, ledger: dict[str, Any]) -> None:
        """A thermometer does not know it; the cautions stand at the foot instead."""
        summary = _summary(ledger)
        text = f"{file_text(summary)} {push_text(summary)} {summary_message(summary).title}"

        assert not re.search(r"\bsafe\b|\bunsafe\b", text, re.IGNORECASE)
        assert "not a guarantee of food safety" in " ".join(text.split())
        assert "The person in charge decides" in text
        assert "Local codes and the licensed authority come first." in text


class TestTodo:
    def test_warm_spell_without_entry_asks_for_one(self) -> None:
        """A corrective action is only one when it is written down."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [_excursion()]
        texts = [todo.text for todo in _summary(ledger).todos]

        assert texts == [
            "Measure the fish of Front display case with a thermometer before any is sold.",
            "Write down what was done about the warm spell of Front display case.",
        ]

    def test_entry_before_the_warm_spell_does_not_count_for_it(self) -> None:
        """Yesterday's note is not about tonight."""
        ledger = bad_ledger()
        ledger["corrective_actions"][0]["at"] = "2026-03-02T02:00:00Z"
        summary = _summary(ledger)

        assert any("Write down what was done" in todo.text for todo in summary.todos)
        assert "Nothing written down yet about what was done." in " ".join(
            file_text(summary).split()
        )

    def test_tasks_are_said_once_however_often_it_happened(self) -> None:
        """Three warm spells of one case are one walk to it."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [
            _excursion(start=f"2026-03-02T0{hour}:11:00Z", end=f"2026-03-02T0{hour}:44:00Z")
            for hour in (3, 5, 8)
        ]

        assert len(_summary(ledger).todos) == 2

    def test_same_task_in_several_units_is_one_line(self) -> None:
        """A power cut is not nine things to do."""
        ledger = quiet_ledger()
        for unit in ("case-1", "case-2", "walk-in"):
            ledger["units"][unit]["excursions"] = [_excursion(cause="power-loss")]
        ledger["units"]["freezer-1"]["excursions"] = [_excursion(rule="freezer", peak_c=-15.0)]
        texts = [todo.text for todo in _summary(ledger).todos]
        three = "Front display case, Side display case and Walk-in cooler"
        four = "Front display case, Side display case, Chest freezer and Walk-in cooler"

        assert texts == [
            f"Measure the fish of {three} with a thermometer before any is sold.",
            "Look in Chest freezer for fish that thawed and froze again.",
            f"Write down what was done about the warm spell of {four}.",
            f"Have the cooling of {three} looked at.",
        ]

    def test_lot_received_for_raw_service_asks_for_its_hold(self) -> None:
        """Forgotten in the walk-in is the commonest way to a missed hold."""
        ledger = quiet_ledger()
        ledger["lots"][0] |= {"state": "received", "started": None, "credited_h": 0.0}
        texts = [todo.text for todo in _summary(ledger).todos]

        assert texts == ["Lot L1: needs a freezing hold before it is served raw."]

    def test_silent_probe_weak_battery_and_wrong_clock_each_have_a_task(self) -> None:
        """Small jobs by day keep the nights watched."""
        ledger = quiet_ledger()
        ledger["probes"]["case-1-air"] |= {"stale": True, "last": "2026-03-02T10:00:00Z"}
        ledger["probes"]["case-2-air"]["battery"] = 15.0
        ledger["probes"]["walk-in-fish"]["clock_offset_s"] = 301.0
        ledger["probes"]["freezer-1-air"]["clock_offset_s"] = 299.0
        texts = [todo.text for todo in _summary(ledger).todos]

        assert texts == [
            "Probe case-1-air: silent since 04:00 CST; check battery and range.",
            "Probe case-2-air: change the battery.",
            "Probe walk-in-fish: set its clock, 5 min ahead.",
        ]

    def test_alarm_still_on_is_a_task_unless_already_said(self) -> None:
        """An open door this morning is seen to; a stale alarm is said with its probe."""
        ledger = quiet_ledger()
        ledger["alarms"] = [
            {
                "unit": "walk-in",
                "rule": rule,
                "priority": "low",
                "raised": "2026-03-02T12:00:00Z",
                "acknowledged": None,
                "returned": None,
                "woke": False,
            }
            for rule in ("door", "stale")
        ]
        texts = [todo.text for todo in _summary(ledger).todos]

        assert texts == ["Walk-in cooler: alarm “door” is still on; see to it."]

    def test_a_few_garbled_messages_are_listed_and_no_task(self) -> None:
        """Any radio garbles one now and then."""
        ledger = quiet_ledger()
        row = {"topic": "shop/case-1/air", "probe": "case-1-air", "payload_start": "x"}
        ledger["quarantine"] = [row | {"reason": "undecodable", "count": 4}]
        assert _summary(ledger).todos == ()
        assert "4 messages, such as “x”" in file_text(_summary(ledger))

        ledger["quarantine"].append(row | {"reason": "fault-code", "count": 1})
        assert len(_summary(ledger).todos) == 1

    def test_case_already_emptied_is_only_to_be_seen_to(self) -> None:
        """Nobody is told to move fish that was moved at five."""
        ledger = bad_ledger()
        ledger["units"]["case-1"]["excursions"][0]["end"] = None

        assert _summary(ledger).todos[0].text == (
            "Front display case is still above 41.0 °F: keep fish out of it and see to the unit."
        )


class TestLots:
    def test_completion_is_expected_the_missing_hours_from_now(self) -> None:
        """168 h less 121.5 h from Monday 06:30 is Wednesday 05:00."""
        lot = _summary(quiet_ledger()).lots[0]

        assert lot.expected_ms == TO_MS + round(46.5 * HOUR_MS)

    def test_ledgers_own_expectation_goes_before_ours(self) -> None:
        """Who follows the hold knows more than the hours still missing."""
        ledger = quiet_ledger()
        ledger["lots"][0]["expected"] = "2026-03-04T15:00:00Z"
        assert _summary(ledger).lots[0].expected_ms == ms("2026-03-04T15:00:00Z")

        ledger["lots"][0]["expected"] = None
        assert _summary(ledger).lots[0].expected_ms is None

    def test_exempt_lot_says_what_that_leaves_open_and_what_is_missing(self) -> None:
        """Exempt from freezing is not free of every hazard."""
        ledger = quiet_ledger()
        ledger["lots"][2] |= {
            "species": "yellowfin tuna",
            "remaining_hazards": ["It can form scombrotoxin (histamine) if it gets warm."],
            "statement_missing": True,
            "received_too_warm": True,
        }
        summary = _summary(ledger)
        text = " ".join(file_text(summary).split())

        assert "Lot L2 (yellowfin tuna): no freezing called for" in text
        assert "It can form scombrotoxin (histamine) if it gets warm." in text
        assert "It came in too warm: the person in charge decides about it." in text
        assert [todo.text for todo in summary.todos] == [
            "Lot L2: record the supplier’s written statement."
        ]

    def test_hold_not_yet_counting_has_no_expected_time(self) -> None:
        """No promise before the first cold."""
        ledger = quiet_ledger()
        ledger["lots"][0] |= {"started": None, "credited_h": 0.0}
        summary = _summary(ledger)

        assert summary.lots[0].expected_ms is None
        assert "Lot L1: in the freezer, hold not counting yet" in file_text(summary)

    def test_interruption_of_an_earlier_night_is_not_told_again(self) -> None:
        """The news is this night's."""
        ledger = quiet_ledger()
        ledger["lots"][0]["interruptions"] = [
            {
                "start": "2026-02-26T08:00:00Z",
                "end": "2026-02-26T09:00:00Z",
                "peak_c": -17.0,
                "reason": "warm",
            }
        ]

        assert _summary(ledger).lots[0].set_back == ()

    def test_hold_set_back_by_a_gap_says_no_readings(self) -> None:
        """Nobody should look for warmth where there was silence."""
        ledger = bad_ledger()
        ledger["lots"][0]["interruptions"][0] |= {"reason": "gap", "peak_c": None}

        assert "Set back 01:21–02:15 CST (no readings)" in file_text(_summary(ledger))

    def test_hold_still_interrupted_does_not_count_yet(self) -> None:
        """The freezer is warm while the summary is read."""
        ledger = bad_ledger()
        ledger["lots"][0] |= {"started": None, "credited_h": 0.0}
        ledger["lots"][0]["interruptions"][0]["end"] = None
        text = " ".join(file_text(_summary(ledger)).split())

        assert "Lot L1: in the freezer, hold not counting yet" in text
        assert "the count begins, once the cold is back, again from zero." in text

    def test_withdrawn_lot_is_left_out(self) -> None:
        """Sold out is no news in the morning."""
        ledger = quiet_ledger()
        ledger["lots"][1]["state"] = "withdrawn"

        assert "L0" not in file_text(_summary(ledger))


class TestAlarms:
    def test_who_was_woken_when_and_how_soon_answered(self) -> None:
        """Both contacts by name, each with the first time, and the answer."""
        alarms = {item.rule.value: item for item in _summary(bad_ledger()).alarms}
        text = " ".join(file_text(_summary(bad_ledger())).split())

        assert alarms["hold-at-risk"].told_first == (
            (ms("2026-03-02T07:21:00Z"), "On-call phone"),
            (ms("2026-03-02T07:51:00Z"), "Owner"),
        )
        assert "Woken: On-call phone 02:26 CST; 2 messages in all. Answered after 19 min." in text
        assert "3 messages in all. Nobody answered. Back to normal 02:15 CST." in text

    def test_medium_alarm_of_the_night_waited_for_the_summary(self) -> None:
        """Nobody is woken for it, and that is said."""
        text = " ".join(file_text(_summary(bad_ledger())).split())

        assert "no readings (medium) Nobody was told before this summary." in text

    def test_alarm_over_before_the_night_is_left_out(self) -> None:
        """It stood in yesterday's summary."""
        ledger = bad_ledger()
        summary = _summary(ledger, from_ms=ms("2026-03-02T08:20:00Z"))

        assert [alarm.rule.value for alarm in summary.alarms] == ["holding"]

    def test_given_alarms_and_messages_replace_the_ledgers_own(self) -> None:
        """The service may keep them elsewhere."""
        ledger = bad_ledger()
        alarms, messages = ledger.pop("alarms"), ledger.pop("messages")
        given = build_summary(shop(), ledger, {}, FROM_MS, TO_MS, alarms, messages)

        assert given == _summary(bad_ledger())

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
        text = " ".join(file_text(_summary(ledger)).split())

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
        text = " ".join(file_text(_summary(ledger)).split())

        assert "00:00 CST Front display case and Walk-in cooler: power lost (high)" in text
        assert "Woken: On-call phone 00:00 CST. Answered after 4 min." in text


class TestNightsOfClockChange:
    @pytest.mark.parametrize(
        ("begins", "ends", "note"),
        [
            (
                "2026-03-07T12:30:00Z",
                "2026-03-08T11:30:00Z",
                "The clocks went forward 1 h at 02:00 CST: this is 23 h, not 24 h.",
            ),
            (
                "2026-10-31T11:30:00Z",
                "2026-11-01T12:30:00Z",
                "The clocks went back 1 h at 02:00 CDT: this is 25 h, not 24 h.",
            ),
        ],
    )
    def test_chicago_says_how_long_the_day_was(self, begins: str, ends: str, note: str) -> None:
        """A hold of seven local days over the change is an hour short: the page says so."""
        summary = _summary(quiet_ledger(), from_ms=ms(begins), to_ms=ms(ends))

        assert page(summary).clock_note == note
        assert note in push_text(summary)

    def test_lord_howe_moves_by_half_an_hour(self) -> None:
        """Not every zone moves by whole hours."""
        summary = _summary(
            quiet_ledger(),
            of=shop(timezone="Australia/Lord_Howe"),
            from_ms=ms("2026-10-03T06:30:00Z"),
            to_ms=ms("2026-10-04T06:00:00Z"),
        )

        assert page(summary).clock_note == (
            "The clocks went forward 30 min at 02:00 UTC+1030: this is 23.5 h, not 24 h."
        )

    def test_ordinary_night_says_nothing_about_clocks(self) -> None:
        """Only news is told."""
        seen = page(_summary(quiet_ledger()))

        assert seen.clock_note == ""
        assert seen.night == "Night to Monday 2 March 2026"
        assert seen.period == "Sun 1 March 06:30 CST to Mon 2 March 06:30 CST, 24 h"


class TestOptionalKeys:
    def test_bare_contract_ledger_is_enough(self) -> None:
        """Without any further key there is still a summary, and it still warns."""
        ledger = bad_ledger()
        for key in ("probes", "quarantine", "corrective_actions"):
            del ledger[key]
        for unit in ledger["units"].values():
            for key in ("doors", "defrosts", "gaps"):
                unit.pop(key, None)
            for excursion in unit["excursions"]:
                for key in ("explanation", "fish_c", "found_late"):
                    excursion.pop(key, None)
        text = file_text(_summary(ledger))

        assert "Front display case got warm, up to 44.6 °F." in text
        assert "17 messages set aside" in text
        assert "Door" not in text

    def test_found_late_is_said(self) -> None:
        """A probe's backlog told it after the night."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [_excursion(found_late=True, alarmed=False)]
        text = file_text(_summary(ledger))

        assert "Found late, in readings that came in afterwards." in text
        assert "It raised no alarm." in text

    def test_excursion_of_a_unit_no_longer_configured_keeps_its_recorded_name(self) -> None:
        """Taking a unit out of the file does not take its night out of the record."""
        ledger = quiet_ledger()
        ledger["units"]["case-9"] = copy.deepcopy(ledger["units"]["case-1"]) | {
            "name": "Old corner case",
            "excursions": [_excursion()],
        }
        text = file_text(_summary(ledger))

        assert "Old corner case, 02:11–03:14 CST" in text
        assert "Peak 44.6 °F; above its limit for 59 min." in text

    @pytest.mark.parametrize(
        "payload",
        [b"\xff\x00boom", "line\nbreak \x1b[31m\u202egnorw", {"base64": "AAH/"}, None, ""],
    )
    def test_quarantined_payload_of_any_kind_is_shown_harmlessly(self, payload: Any) -> None:
        """What could not be believed can be looked at without harm."""
        ledger = quiet_ledger()
        ledger["quarantined"] = 1
        ledger["quarantine"] = [
            {
                "topic": "shop/x",
                "probe": None,
                "reason": "undecodable",
                "count": 1,
                "payload_start": payload,
            }
        ]
        text = file_text(_summary(ledger))

        assert "shop/x: could not be read" in text
        assert not set(text) & set("\x00\x1b\u202e")


class TestBadLedgers:
    @pytest.mark.parametrize("value", [math.nan, "7", True, math.inf])
    def test_figure_that_is_no_number_is_refused(self, value: Any) -> None:
        """A summary does not print what it cannot have read."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["max_c"] = value

        with pytest.raises(ValueError, match=r"max_c is .*expected a finite number"):
            _summary(ledger)

    @pytest.mark.parametrize("value", ["2026-03-02T08:11:00", "yesterday", 5])
    def test_time_without_zone_is_refused(self, value: Any) -> None:
        """A local time without its zone is an hour's doubt twice a year."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [_excursion(start=value)]

        with pytest.raises(ValueError, match=r"start is .*expected a time such as"):
            _summary(ledger)

    def test_missing_fixed_key_is_refused(self) -> None:
        """Missing time that is itself missing must not read as none."""
        ledger = quiet_ledger()
        del ledger["units"]["case-1"]["missing_s"]

        with pytest.raises(ValueError, match="missing_s is missing"):
            _summary(ledger)

    def test_end_before_start_is_refused(self) -> None:
        """The two were swapped."""
        with pytest.raises(ValueError, match="expected the end after the start"):
            _summary(quiet_ledger(), from_ms=TO_MS, to_ms=FROM_MS)


def test_building_a_summary_leaves_the_ledger_as_it_was() -> None:
    """The same ledger goes to the file afterwards."""
    ledger = bad_ledger()
    before = copy.deepcopy(ledger)
    _summary(ledger)

    assert ledger == before


def test_celsius_shop_reads_celsius_throughout() -> None:
    """One scale on a page."""
    text = file_text(_summary(bad_ledger(), of=shop(display=Scale.CELSIUS)))

    assert "°F" not in text
    assert "Peak 7.0 °C; above 5.0 °C for 59 min." in text
    assert "−20.0 °C or colder for 168 h" in text


def test_iso_and_ms_agree() -> None:
    """The builders of these tests do not deceive them."""
    assert ms(iso(TO_MS)) == TO_MS
