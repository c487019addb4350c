"""A probe is replaced while its unit is too warm: nobody is told that it is cold again."""

from dataclasses import replace

from handmade import ONE_CONTACT, Paper, probe, shop, unit
from rimewatch.alarms import codec
from rimewatch.alarms.effects import Send
from rimewatch.evaluation.evaluator import Evaluator
from rimewatch.evaluation.memory import MemoryStore
from rimewatch.evaluation.outcome import Outcome
from rimewatch.evaluation.resumed import Resumed
from rimewatch.intake.entries import parse_entry
from rimewatch.intake.receiver import Receiver
from rimewatch.intake.trace import TraceMessage
from rimewatch.shop import Shop
from rimewatch.vocabulary import About, ProbeId, Rule, UnitId

H = 3600
OLD = shop(
    unit(on_delay_s=900, lag_s=1200),
    unit("case-2", on_delay_s=900, lag_s=1200),
    probe("air", every_s=60),
    probe("other", "case-2", every_s=60),
    ONE_CONTACT,
)


def replaced(in_shop: Shop) -> Shop:
    """Return the shop with a new probe in place of the first case's, on the same topic."""
    first, *others = in_shop.probes
    return replace(in_shop, probes=(replace(first, id=ProbeId("new")), *others))


def played(evaluator: Evaluator, in_shop: Shop, store: MemoryStore, paper: Paper) -> list[Send]:
    """Show an evaluator a trace; return what was sent."""
    receiver = Receiver(in_shop)
    for line in paper.read():
        assert isinstance(line, TraceMessage)
        evaluator.advance(line.at_ms)
        for reading in receiver.receive(line.topic, line.payload, line.at_ms).readings:
            store.add(reading)
            evaluator.observe(reading)
    return sends(evaluator.take_outcomes())


def sends(outcomes: "list[Outcome] | tuple[Outcome, ...] | object") -> list[Send]:
    """Return the messages among outcomes."""
    assert isinstance(outcomes, list)
    return [outcome for outcome in outcomes if isinstance(outcome, Send)]


def changed(
    before: Evaluator, in_shop: Shop, store: MemoryStore, at_ms: int
) -> tuple[Evaluator, list[Send]]:
    """Go on with another configuration, as after a reload; what is sent by that alone."""
    after = Evaluator(
        in_shop,
        store,
        at_ms,
        resumed=Resumed(
            alarms=codec.from_json(codec.to_json(before.alarms)),
            entries=before.entries,
            watching_since_ms=before.watching_since_ms,
            seen_until_ms=before.now_ms,
            batteries={},
        ),
    )
    after.load()
    return after, sends(after.take_outcomes())


def test_new_probe_in_a_warm_unit_ends_no_alarm_until_it_is_cold() -> None:
    """It has said nothing yet, and then that the fish is as warm as ever."""
    store = MemoryStore()
    paper = Paper()
    warm = paper.curve([(0, 2.0), (2 * H, 2.0), (2 * H + 60, 9.0), (4 * H, 9.0)], every_s=60)
    before = Evaluator(OLD, store, paper.start_ms)
    told = played(before, OLD, store, warm)
    assert {send.key.rule for send in told if send.about is About.RAISED} >= {Rule.HOLDING}

    after, at_once = changed(before, replaced(OLD), store, paper.at_ms(4 * H + 30))
    assert at_once == []
    still = Paper().curve([(4 * H + 60, 9.0), (4 * H + 1500, 9.0)], every_s=60)
    later = played(after, replaced(OLD), store, still)
    assert {send.about for send in later if send.key.rule is Rule.HOLDING} == {About.REPEAT}

    cold = Paper().curve([(4 * H + 1560, 1.0), (6 * H, 1.0)], every_s=60)
    over = played(after, replaced(OLD), store, cold)
    assert [s.about for s in over if s.key.rule is Rule.HOLDING].count(About.RETURNED) == 1


def test_new_probe_that_finds_the_unit_cold_ends_its_alarm() -> None:
    """The old one may have been broken."""
    store = MemoryStore()
    paper = Paper()
    warm = paper.curve([(0, 2.0), (2 * H, 2.0), (2 * H + 60, 9.0), (4 * H, 9.0)], every_s=60)
    before = Evaluator(OLD, store, paper.start_ms)
    played(before, OLD, store, warm)

    after, _ = changed(before, replaced(OLD), store, paper.at_ms(4 * H + 30))
    over = played(after, replaced(OLD), store, Paper().curve([(4 * H + 60, 2.0)]))

    assert [s.about for s in over if s.key.rule is Rule.HOLDING] == [About.RETURNED]


def test_hold_is_at_risk_no_more_once_its_lot_is_gone() -> None:
    """A new probe in a warm freezer carries the risk on, and no longer than there is a lot."""
    cold_room = shop(
        unit("freezer-1", "freezer"), probe("air", "freezer-1", every_s=60), ONE_CONTACT
    )
    store = MemoryStore()
    paper = Paper()
    paper.curve([(0, -26.0), (5 * H, -26.0), (5 * H + 60, -19.0), (6 * H, -19.0)], every_s=60)
    before = Evaluator(cold_room, store, paper.start_ms)
    for at_s, body in (
        (0, {"do": "receive-lot", "species": "salmon", "origin": "wild", "serve_raw": True}),
        (1, {"do": "start-freezing", "unit": "freezer-1", "option": "20C-168h"}),
    ):
        before.enter(parse_entry({**body, "lot": "L1"}, paper.at_ms(at_s)))
    told = played(before, cold_room, store, paper)
    assert Rule.HOLD_AT_RISK in {send.key.rule for send in told}

    after, at_once = changed(before, replaced(cold_room), store, paper.at_ms(6 * H + 30))
    assert About.RETURNED not in {send.about for send in at_once}
    gone = {"do": "withdraw-lot", "lot": "L1", "reason": "sold cooked"}
    after.advance(paper.at_ms(6 * H + 40))
    after.enter(parse_entry(gone, paper.at_ms(6 * H + 40)))
    played(after, replaced(cold_room), store, Paper().curve([(6 * H + 60, -19.0)]))

    assert Rule.HOLD_AT_RISK not in {key.rule for key in after.alarms.conditions}


def test_longer_on_delay_ends_no_alarm() -> None:
    """Who waits longer before the next alarm has not made this fish cold."""
    store = MemoryStore()
    paper = Paper()
    warm = paper.curve([(0, 2.0), (2 * H, 2.0), (2 * H + 60, 9.0), (4 * H, 9.0)], every_s=60)
    before = Evaluator(OLD, store, paper.start_ms)
    played(before, OLD, store, warm)
    patient = replace(OLD, units=tuple(replace(one, on_delay_s=4 * 3600.0) for one in OLD.units))

    _, at_once = changed(before, patient, store, paper.at_ms(4 * H + 30))

    assert at_once == []


def test_new_probe_on_one_of_two_units_without_power_does_not_bring_it_back() -> None:
    """Nothing is known of its usual air yet: that is no sign that it cools."""
    store = MemoryStore()
    paper = Paper()
    for topic in ("air", "other"):
        paper.curve([(0, 2.0), (2 * H, 2.0), (4 * H, 9.0)], topic, every_s=60)
    before = Evaluator(OLD, store, paper.start_ms)
    told = played(before, OLD, store, paper)
    assert Rule.POWER_LOSS in {send.key.rule for send in told}

    after, _ = changed(before, replaced(OLD), store, paper.at_ms(4 * H + 30))
    still = Paper()
    for topic in ("air", "other"):
        still.curve([(4 * H + 60, 9.0), (5 * H, 12.0)], topic, every_s=60)
    later = played(after, replaced(OLD), store, still)

    assert About.RETURNED not in {s.about for s in later if s.key.rule is Rule.POWER_LOSS}
    assert (
        UnitId("case-1")
        in after.alarms.alarms[
            next(key for key in after.alarms.alarms if key.rule is Rule.POWER_LOSS)
        ].units
    )
