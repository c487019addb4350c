"""Nights in which less is heard than should be: warm and silent, too seldom, or nothing at all."""

from typing import Any

import pytest
from watched import Watched

from handmade import NIGHT, ONE_CONTACT, Paper, probe, shop, timed_probe, unit
from rimewatch.config.changing import tables_of
from rimewatch.replay import Replayed
from rimewatch.report.ledger_json import ledger_document
from rimewatch.shop import Shop
from rimewatch.vocabulary import About, Rule

H = 3600
HEAD = (
    '[shop]\nname = "Saltmarsh Row Fish"\ntimezone = "America/Chicago"\n'
    '[broker]\nurl = "mqtt://127.0.0.1:1883"\n'
)
EVENING = "2026-02-03T03:00:00Z"
"""21:00 in Chicago: the night begins."""
ONE = shop(unit(on_delay_s=900, lag_s=1200), probe(every_s=60), ONE_CONTACT, NIGHT)


def stale(replayed: Replayed) -> list[dict[str, Any]]:
    """Return the alarms of silence."""
    return [
        alarm for alarm in ledger_document(replayed.ledger)["alarms"] if alarm["rule"] == "stale"
    ]


def test_readings_sparser_than_the_stale_time_at_15_degrees_wake() -> None:
    """No stretch of it is monitored, so no on-delay passes; somebody must hear all the same."""
    paper = Paper(EVENING).curve([(0, 2.0), (1800, 2.0)], every_s=60)
    for at_s in range(2000, 8 * H, 200):
        paper.say(at_s, 15.0)
    replayed = paper.replay(ONE)
    (alarm,) = stale(replayed)

    assert (alarm["priority"], alarm["woke"]) == ("high", True)
    assert alarm["returned"] is None
    told = [m for m in ledger_document(replayed.ledger)["messages"] if m["rule"] == "stale"]
    assert {m["about"] for m in told} == {"raised", "repeat"}


def test_sparse_readings_that_are_cold_wake_nobody() -> None:
    """A weak radio is for the morning."""
    paper = Paper(EVENING)
    for at_s in range(0, 8 * H, 200):
        paper.say(at_s, 2.0)
    replayed = paper.replay(ONE)

    assert {alarm["priority"] for alarm in stale(replayed)} == {"medium"}
    assert not any(alarm["woke"] for alarm in ledger_document(replayed.ledger)["alarms"])


def test_probe_that_speaks_as_it_should_again_ends_the_silence_though_it_is_warm() -> None:
    """From its second reading on it is monitored, and the fish has an alarm of its own."""
    paper = Paper(EVENING).curve([(0, 2.0), (1800, 2.0), (1860, 12.0), (5400, 12.0)], every_s=60)
    paper.curve([(6000, 12.0), (9000, 12.0)], every_s=60)
    (alarm,) = stale(paper.replay(ONE))

    assert alarm["raised"] == paper.iso(5400 + 180)
    assert alarm["returned"] == paper.iso(6060)


@pytest.mark.parametrize(
    ("curve", "priority"),
    [
        pytest.param([(0, 12.0), (1800, 12.0)], "high", id="above its limit"),
        pytest.param([(0, 2.0), (3600, 2.0), (5400, 8.0)], "high", id="rising to it"),
        pytest.param([(0, 2.0), (5400, 2.3)], "medium", id="within two hours it would not"),
        pytest.param([(0, 9.0), (1800, 1.0), (5400, 0.9)], "medium", id="cold again"),
    ],
)
def test_unit_that_falls_silent_while_it_is_warm_or_warming_wakes(
    curve: list[tuple[float, float]], priority: str
) -> None:
    """What was last seen decides: nobody knows how it goes on."""
    paper = Paper(EVENING).curve(curve, every_s=60)
    paper.do(12_000, "corrective-action", unit="case-1", text="looked at something else")
    (alarm,) = stale(paper.replay(ONE))

    assert (alarm["priority"], alarm["woke"]) == (priority, priority == "high")


def test_words_of_a_silence_at_warmth_say_how_warm_it_was() -> None:
    """Whoever is woken for it must learn why this silence is another than most."""
    paper = Paper(EVENING).curve([(0, 12.0), (1800, 12.0)], every_s=60)
    paper.say(9000, 12.0)
    seen = Watched(paper, ONE)
    due = seen.of(Rule.STALE)[0]
    words = seen.words(due)

    assert "53.6 °F" in words.body
    assert "limit" in words.body


BESIDE = shop(
    unit(on_delay_s=900, lag_s=1200),
    probe("air"),
    probe("fish", measures="product"),
    ONE_CONTACT,
    NIGHT,
)


@pytest.mark.parametrize(
    ("air", "priority"),
    [
        pytest.param([(0, 2.0), (7200, 2.0), (9000, 12.0), (20_000, 12.0)], "high", id="it fails"),
        pytest.param([(0, 12.0), (1800, 2.0), (20_000, 2.0)], "medium", id="warm before"),
        pytest.param(
            [(0, 2.0), (7200, 2.0), (7800, 8.0), (8400, 2.0), (20_000, 2.0)], "medium", id="a door"
        ),
    ],
)
def test_air_that_is_warm_makes_the_silence_of_a_product_probe_urgent(
    air: list[tuple[float, float]], priority: str
) -> None:
    """The fish was cold when its probe fell silent; the air goes on, and stands in for it."""
    paper = Paper(EVENING).curve(air, "air", every_s=60)
    paper.curve([(0, 2.0), (5400, 2.0)], "fish", every_s=60)
    (alarm,) = stale(paper.replay(BESIDE))

    assert (alarm["priority"], alarm["woke"]) == (priority, priority == "high")


def test_silence_that_somebody_has_seen_rings_once_it_becomes_urgent() -> None:
    """At 20:00 the product probe was quiet and the air cold; what they saw was less bad."""
    paper = Paper("2026-02-03T00:00:00Z")
    paper.curve([(0, 2.0), (4 * H, 2.0), (5 * H, 15.0), (10 * H, 15.0)], "air", every_s=60)
    paper.curve([(0, 2.0), (1800, 2.0)], "fish", every_s=60)
    paper.do(H, "acknowledge", unit="case-1", rule="stale")
    replayed = paper.replay(BESIDE)
    (alarm,) = stale(replayed)
    told = [
        message["at"]
        for message in ledger_document(replayed.ledger)["messages"]
        if message["rule"] == "stale" and message["at"] > paper.iso(4 * H)
    ]

    assert (alarm["priority"], alarm["woke"]) == ("high", True)
    assert told
    assert told[0] < paper.iso(6 * H)


def test_warm_unit_whose_probe_is_replaced_by_one_that_never_speaks_wakes() -> None:
    """That another probe is to speak for it makes no fish cold."""
    spare = probe("spare", every_s=60)
    paper = Paper(EVENING).curve([(0, 2.0), (1800, 2.0), (1860, 9.0), (2400, 9.0)], every_s=60)
    tables = unit(on_delay_s=900, lag_s=0), ONE_CONTACT, NIGHT
    beside = unit("case-2"), probe("other", "case-2", every_s=60)
    paper.curve([(0, 2.0), (4 * H, 2.0)], "other", every_s=60)
    after = tables_of("\n".join((HEAD, *tables, *beside, spare)))
    paper.do(2420, "change-settings", settings=after)
    (alarm,) = stale(paper.replay(shop(*tables, *beside, probe(every_s=60))))

    assert (alarm["priority"], alarm["woke"]) == ("high", True)


@pytest.mark.parametrize(
    "muted",
    [
        NIGHT.replace('wake_for = ["high"]', "wake_for = []"),
        f'{NIGHT}\n[priorities]\nholding = "low"\n',
    ],
    ids=["nothing wakes", "it is of low priority"],
)
def test_warm_unit_that_settings_had_muted_rings_once_they_are_put_back(muted: str) -> None:
    """It stands, nobody heard of it, and whoever put the setting back expects to be woken."""
    paper = Paper(EVENING).curve([(0, 2.0), (1800, 2.0), (1860, 8.0), (6 * H, 8.0)], every_s=60)
    tables = unit(on_delay_s=900, lag_s=0), probe(every_s=60), ONE_CONTACT
    for at_s, night in ((2000, muted), (3 * H, NIGHT)):
        paper.do(at_s, "change-settings", settings=tables_of("\n".join((HEAD, *tables, night))))
    told = ledger_document(paper.replay(shop(*tables, NIGHT)).ledger)["messages"]
    first = next(message for message in told if message["rule"] == "holding")

    assert first["at"] == paper.iso(3 * H)


def test_words_of_a_silence_beside_warm_air_do_not_call_the_fish_warm() -> None:
    """The fish was last seen at 2 °C (35.6 °F); what wakes is the air, at 12 °C."""
    paper = Paper(EVENING).curve([(0, 2.0), (7200, 2.0), (9000, 12.0), (20_000, 12.0)], "air", 60)
    paper.curve([(0, 2.0), (5400, 2.0)], "fish", every_s=60)
    seen = Watched(paper, BESIDE)
    body = seen.words(seen.of(Rule.STALE)[-1]).body

    assert "Last fish reading 35.6 °F" in body
    assert "its air is still read, and is too warm for the fish" in body
    assert "past its limit" not in body


# --- found late ---------------------------------------------------------------------------

DATED = shop(unit(on_delay_s=900), timed_probe(every_s=300), ONE_CONTACT, NIGHT)


def dated_night(warm_c: float, kept_s: range, arrives_s: int) -> dict[str, Any]:
    """Return the ledger of an hour's readings that a probe kept while later ones went on."""
    paper = Paper(EVENING)
    for at_s in range(0, 4 * H, 300):
        is_kept = at_s in kept_s
        paper.dated(arrives_s if is_kept else at_s, at_s, warm_c if is_kept else 2.0)
    return paper.ledger(DATED)


def test_warmth_that_later_readings_overtook_is_told_when_it_comes() -> None:
    """An hour at 9 °C arrives after a cold reading that is younger: in order it would be told."""
    ledger = dated_night(9.0, range(H, 2 * H, 300), 2 * H + 620)

    (excursion,) = ledger["units"]["case-1"]["excursions"]
    assert (excursion["alarmed"], excursion["found_late"]) == (True, True)
    (alarm,) = [alarm for alarm in ledger["alarms"] if alarm["rule"] == "holding"]
    assert alarm["raised"] == alarm["returned"]
    sent = [m["about"] for m in ledger["messages"] if m["rule"] == "holding"]
    assert sent == ["raised", "returned"]


def test_warmth_that_was_told_is_not_told_again_by_what_comes_late() -> None:
    """One reading of a told excursion was overtaken: it is the same excursion."""
    paper = Paper(EVENING)
    for at_s in range(0, 4 * H, 300):
        late = at_s == H + 1200
        paper.dated(3 * H + 20 if late else at_s, at_s, 9.0 if H <= at_s < 2 * H else 2.0)
    told = [m["about"] for m in paper.ledger(DATED)["messages"] if m["rule"] == "holding"]

    assert (told.count("raised"), told.count("returned")) == (1, 1)


def test_late_readings_that_were_cold_are_no_alarm() -> None:
    """A backlog on a sound night."""
    ledger = dated_night(2.0, range(H, 2 * H, 300), 2 * H + 620)

    assert {alarm["rule"] for alarm in ledger["alarms"]} == {"stale"}
    assert not any(alarm["woke"] for alarm in ledger["alarms"])


# --- everything silent --------------------------------------------------------------------


def shop_of(units: int, **keys: Any) -> Shop:
    """Return a shop with a probe in each of some cases."""
    names = [f"case-{n}" for n in range(1, units + 1)]
    return shop(
        *(unit(name, on_delay_s=900, lag_s=1200) for name in names),
        *(probe(name, name, every_s=60, **keys) for name in names),
        ONE_CONTACT,
        NIGHT,
    )


def spoken(until_s: dict[str, float], to_s: float) -> Paper:
    """Each probe speaks every minute until some time; somebody enters something at the end."""
    paper = Paper(EVENING)
    for n, (name, end_s) in enumerate(until_s.items()):
        for at_s in range(n, round(end_s), 60):
            paper.say(at_s, 2.0, name)
    return paper.do(to_s, "corrective-action", unit="case-1", text="looked at something else")


@pytest.mark.parametrize("units", [2, 3, 5])
def test_everything_silent_is_one_urgent_alarm(units: int) -> None:
    """The hub, the mains or the broker is gone for good at ten at night."""
    names = [f"case-{n}" for n in range(1, units + 1)]
    replayed = spoken(dict.fromkeys(names, 3600), 6 * H).replay(shop_of(units))
    woken = [alarm for alarm in ledger_document(replayed.ledger)["alarms"] if alarm["woke"]]
    (alarm,) = woken

    assert (alarm["unit"], alarm["rule"], alarm["priority"]) == (None, "stale", "high")
    assert alarm["units"] == names
    assert alarm["returned"] is None


def test_one_unit_that_still_speaks_leaves_the_silence_for_the_morning() -> None:
    """Four of five may be one gateway; it is not all that the shop has."""
    until_s = {**dict.fromkeys(["case-1", "case-2", "case-3", "case-4"], 3600.0), "case-5": 6 * H}
    replayed = spoken(until_s, 6 * H).replay(shop_of(5))

    assert not any(alarm["woke"] for alarm in ledger_document(replayed.ledger)["alarms"])
    assert [alarm["unit"] for alarm in stale(replayed)] == [None]


def test_probe_that_had_died_before_does_not_hide_that_all_are_silent() -> None:
    """It has an alarm of its own, and no longer counts."""
    until_s = {"case-1": 3 * H, "case-2": 3 * H, "case-3": H}
    replayed = spoken(until_s, 6 * H).replay(shop_of(3))
    (alarm,) = [alarm for alarm in ledger_document(replayed.ledger)["alarms"] if alarm["woke"]]

    assert (alarm["unit"], alarm["priority"]) == (None, "high")


def test_shelved_silence_of_all_lets_each_unit_speak_for_itself() -> None:
    """What is put aside silences nobody else."""
    paper = spoken({"case-1": 3600, "case-2": 3600}, 3 * H)
    paper.do(60, "shelve", unit=None, rule="stale", minutes=600)
    alarms = stale(paper.replay(shop_of(2)))

    assert [alarm["unit"] for alarm in alarms] == ["case-1", "case-2"]


def test_warm_fish_that_fell_silent_is_told_as_it_was_last_seen() -> None:
    """Nobody knows how warm it is now, nor how long it has been so."""
    paper = Paper(EVENING).curve([(0, 12.0), (1800, 12.0)], every_s=60)
    paper.say(2 * H, 12.0)
    watched = Watched(paper, ONE)
    first, *repeats = (watched.words(due) for due in watched.of(Rule.HOLDING, About.REPEAT))

    assert first.title == "case-1: still too warm, 53.6 °F"
    assert repeats
    for words in repeats:
        assert words.title == "case-1: last seen at 53.6 °F, 21:30 CST"
        assert words.body.startswith(
            "case-1: last seen at 53.6 °F, 21:30 CST, over 41.0 °F. Silent since."
        )
        assert "Air" not in words.body
