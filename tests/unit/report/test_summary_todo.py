"""What the morning summary asks for: each task once, and none for nothing."""

from dataclasses import replace
from datetime import time

from report_nights import an_excursion, bad_ledger, quiet_ledger, shop, summary_of

from rimewatch.report.page import page
from rimewatch.report.sections import sections
from rimewatch.report.summary_document import file_text
from rimewatch.shop import Contact, EscalationStep, Shift
from rimewatch.vocabulary import ContactId


class TestTodo:
    def test_warm_spell_without_entry_asks_for_one(self) -> None:
        """A corrective action is only one when it is written down."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [an_excursion()]
        texts = [todo.text for todo in summary_of(ledger).todos]

        assert texts == [
            "Measure the fish of Front display case with a thermometer before any is sold.",
            "Write down what was done about the excursion of Front display case.",
        ]

    def test_entry_before_the_warm_spell_does_not_count_for_it(self) -> None:
        """Yesterday's note is not about tonight."""
        ledger = bad_ledger()
        ledger["corrective_actions"][0]["at"] = "2026-03-02T02:00:00Z"
        summary = summary_of(ledger)

        assert any("Write down what was done" in todo.text for todo in summary.todos)
        assert "Nothing written down yet about what was done." in " ".join(
            file_text(summary).split()
        )

    def test_tasks_are_said_once_however_often_it_happened(self) -> None:
        """Three warm spells of one case are one walk to it."""
        ledger = quiet_ledger()
        ledger["units"]["case-1"]["excursions"] = [
            an_excursion(start=f"2026-03-02T0{hour}:11:00Z", end=f"2026-03-02T0{hour}:44:00Z")
            for hour in (3, 5, 8)
        ]

        assert len(summary_of(ledger).todos) == 2

    def test_same_task_in_several_units_is_one_line(self) -> None:
        """A power cut is not nine things to do."""
        ledger = quiet_ledger()
        for unit in ("case-1", "case-2", "walk-in"):
            ledger["units"][unit]["excursions"] = [an_excursion(cause="power-loss")]
        ledger["units"]["freezer-1"]["excursions"] = [an_excursion(rule="freezer", peak_c=-15.0)]
        texts = [todo.text for todo in summary_of(ledger).todos]
        three = "Front display case, Side display case and Walk-in cooler"
        four = "Front display case, Side display case, Chest freezer and Walk-in cooler"

        assert texts == [
            f"Measure the fish of {three} with a thermometer before any is sold.",
            "Look in Chest freezer for fish that thawed and froze again.",
            f"Write down what was done about the excursion of {four}.",
            f"Have the cooling of {three} looked at.",
        ]

    def test_lot_received_for_raw_service_asks_for_its_hold(self) -> None:
        """Forgotten in the walk-in is the commonest way to a missed hold."""
        ledger = quiet_ledger()
        ledger["lots"][0] |= {"state": "received", "started": None, "credited_h": 0.0}
        texts = [todo.text for todo in summary_of(ledger).todos]

        assert texts == ["Lot L1: needs a freezing hold before it is served raw."]

    def test_silent_probe_weak_battery_and_wrong_clock_each_have_a_task(self) -> None:
        """Small jobs by day keep the nights watched."""
        ledger = quiet_ledger()
        ledger["probes"]["case-1-air"] |= {"stale": True, "last": "2026-03-02T10:00:00Z"}
        ledger["probes"]["case-2-air"]["battery"] = 15.0
        ledger["probes"]["walk-in-fish"]["clock_offset_s"] = 301.0
        ledger["probes"]["freezer-1-air"]["clock_offset_s"] = -302.0
        ledger["probes"]["case-1-air"]["clock_offset_s"] = 299.0
        texts = [todo.text for todo in summary_of(ledger).todos]

        assert texts == [
            "Probe case-1-air: silent since 04:00 CST; check battery and range.",
            "Probe case-2-air: change the battery.",
            "Probe walk-in-fish: set its clock, 5 min behind.",
            "Probe freezer-1-air: set its clock, 5 min ahead.",
        ]

    def test_two_devices_on_one_topic_are_a_task_and_stand_with_the_probes(self) -> None:
        """One of the two measures something else: nobody knows which reading is the case's."""
        ledger = quiet_ledger()
        ledger["probes"]["case-1-air"]["two_sources"] = "2026-03-02T08:14:00Z"
        ledger["probes"]["case-2-air"]["two_sources"] = "2026-02-27T08:14:00Z"  # days ago
        summary = summary_of(ledger)

        assert [todo.text for todo in summary.todos] == [
            "Probe case-1-air: two devices publish on its topic; give each its own."
        ]
        probes = next(item for item in sections(summary) if item.title == "Probes")
        assert [item.head for item in probes.items if item.lines] == ["case-1-air"]
        assert probes.items[0].lines == (
            "Two devices publish on its topic, seen 02:14 CST: one is not this probe.",
        )

    def test_probe_at_qos_0_is_a_task_on_the_morning_after_it_was_found(self) -> None:
        """Told once: it is no news on the second morning."""
        ledger = quiet_ledger()
        ledger["probes"]["case-1-air"]["sent_at_qos_0"] = "2026-03-02T08:14:00Z"
        ledger["probes"]["case-2-air"]["sent_at_qos_0"] = "2026-02-27T08:14:00Z"  # days ago

        (todo,) = summary_of(ledger).todos
        assert todo.text == (
            "Probe case-1-air: set it to QoS 1; at QoS 0 nobody keeps what it sends while the "
            "service is away."
        )

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
        texts = [todo.text for todo in summary_of(ledger).todos]

        assert texts == ["Walk-in cooler: alarm “door open” is still on; see to it."]

    def test_a_few_garbled_messages_are_listed_and_no_task(self) -> None:
        """Any radio garbles one now and then."""
        ledger = quiet_ledger()
        row = {"topic": "shop/case-1/air", "probe": "case-1-air", "payload_start": "x"}
        ledger["quarantine"] = [row | {"reason": "undecodable", "count": 4}]
        assert summary_of(ledger).todos == ()
        assert "4 messages, such as “x”" in file_text(summary_of(ledger))

        ledger["quarantine"].append(row | {"reason": "fault-code", "count": 1})
        assert len(summary_of(ledger).todos) == 1

    def test_case_already_emptied_is_only_to_be_seen_to(self) -> None:
        """Nobody is told to move fish that was moved at five."""
        ledger = bad_ledger()
        ledger["units"]["case-1"]["excursions"][0]["end"] = None

        assert summary_of(ledger).todos[0].text == (
            "Front display case is still above 41.0 °F: keep fish out of it and see to the unit."
        )


def test_the_tasks_say_whose_they_are_where_somebody_is_on_call() -> None:
    """Of two rotas' mornings each names who has it; a shop without contacts names nobody."""
    of = shop()
    told = replace(
        of,
        escalation=(EscalationStep(after_s=0.0, contacts=(ContactId("desk"),), repeat_s=None),),
        contacts=(Contact(id=ContactId("ana"), name="Ana", urls=()),),
        shifts=(
            Shift(
                rota=ContactId("desk"),
                days=frozenset({0}),
                on_holidays=False,
                begins=time(6, 0),
                ends=time(14, 0),
                contacts=(ContactId("ana"),),
            ),
        ),
    )

    assert page(summary_of(bad_ledger(), of=told)).todos_title == "To do today, by Ana"
    assert "TO DO TODAY, BY ANA" in file_text(summary_of(bad_ledger(), of=told))
    assert (
        page(summary_of(bad_ledger(), of=replace(of, escalation=()))).todos_title == "To do today"
    )
