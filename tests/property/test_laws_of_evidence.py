"""The laws of evidence, over whole histories: less evidence never says more of a lot.

Replacing readings by a gap, warming a reading, more uncertainty, a failed check: none makes a lot
``proven``. The order of probes changes nothing. Selling and moving prove nothing. What a person
decided outranks every proof. A sign is shown for what is proven alone.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from hypothesis import given, settings
from hypothesis import strategies as st

from core_run import run_core
from handmade import Paper, probe, shop, unit
from rimewatch.evaluation.ledger import Account, build_ledger
from rimewatch.evaluation.lot_book import book
from rimewatch.evaluation.lot_record import record_of
from rimewatch.evaluation.lot_story import tell
from rimewatch.mirror.points import lot_points
from rimewatch.report.document import Tone
from rimewatch.report.lot_document import lot_document
from rimewatch.report.lot_page import lot_page
from rimewatch.report.lot_record_json import lot_record_json
from rimewatch.report.lot_standing import lot_words
from rimewatch.report.summary import build_summary
from rimewatch.report.summary_document import file_text
from rimewatch.shop import Shop
from rimewatch.vocabulary import LotId
from rimewatch.web.lot_view import lot_view

H: Final = 3600.0
EVERY_S: Final = 1200.0
STALE_S: Final = 2400.0
GOOD: Final = frozenset({"proven"})
NO_LOT: Final[dict[str, Any]] = {
    "standing": "not on the books", "against": [], "lacks": [], "doubts": [],
}  # fmt: skip
"""Of a lot whose receipt was crossed out."""
SPECIES: Final = (
    "Thunnus albacares", "Katsuwonus pelamis", "Salmo salar", "Oncorhynchus nerka", "escolar",
    "Anguilla japonica", "nobody's fish", "oyster",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class History:
    """A lot's life: its receipt, where it was, how cold it was there, what else was entered."""

    receipt: dict[str, Any]
    option: str | None
    places: tuple[tuple[str, float, tuple[float, ...]], ...]
    """Unit, hours there, and a temperature for each reading in turn."""
    statement: str | None
    is_sold: bool
    disposition: str | None
    more: tuple[tuple[float, str, str], ...] = ()
    """What else was entered: when, as a share of its life, what, and who signed it."""

    def paper(self, *, gap: tuple[float, float] | None = None, warmer_c: float = 0.0) -> Paper:
        """Write the trace; ``gap``: no reading arrives from one hour to another."""
        paper = Paper("2026-02-02T15:00:00Z").receive(0, **self.receipt)
        if self.statement is not None:
            paper.do(0, "attach-statement", lot="L1", reference="S", states="freezing",
                     option=self.statement)  # fmt: skip
        end_h = sum(hours for _, hours, _ in self.places)
        for name in dict.fromkeys(name for name, _, _ in self.places):
            curve = self._curve(name)
            for n in range(round(end_h * H / EVERY_S) + 1):
                at_h = n * EVERY_S / H
                # The last reading stays: a trace that ends sooner is another history.
                if gap is None or not gap[0] < at_h < min(gap[1], end_h):
                    celsius = curve(at_h) + warmer_c
                    paper.say(n * EVERY_S, f"{celsius:.2f}", f"p-{name}")
                    paper.say(n * EVERY_S, f"{celsius - 0.3:.2f}", f"q-{name}")
        at_h = 0.0
        for number, (name, hours, _) in enumerate(self.places):
            if number == 0 and self.option is not None:
                paper.do(0, "start-freezing", lot="L1", unit=name, option=self.option)
            else:
                paper.do(at_h * H, "move-lot", lot="L1", unit=name)
            at_h += hours
        for share, what, who in self.more:
            _enter(paper, share * end_h * H, what, who, self.places)
        if self.disposition is not None:
            paper.do(at_h * H, "corrective-action", unit=self.places[-1][0], text="done",
                     disposition=self.disposition, lots=["L1"])  # fmt: skip
        if self.is_sold:
            paper.do(at_h * H, "withdraw-lot", lot="L1", reason="sold out")
        return paper

    def _curve(self, name: str) -> Any:
        spans: list[tuple[float, float, tuple[float, ...]]] = []
        at_h = 0.0
        for place, hours, values in self.places:
            if place == name:
                spans.append((at_h, at_h + hours, values))
            at_h += hours
        quiet = -25.0 if name == "freezer" else 1.0

        def at(hour: float) -> float:
            wiggle = 0.1 * (round(hour * H / EVERY_S) % 2)
            for start, end, values in spans:
                if start <= hour <= end:
                    share = (hour - start) / (end - start)
                    return values[min(int(share * len(values)), len(values) - 1)] - wiggle
            return quiet - wiggle

        return at


MORE: Final = (
    "correct-species", "correct-eel", "not-raw", "not-packed", "confirm", "receive-again",
    "freeze-again", "thaw", "statement", "statement-on-feed", "cancel-1", "cancel-2", "cancel-3",
    "good-check", "failed-check", "discarded-unnamed", "withdrawn", "acknowledge", "out-of-service",
    "start-cooling", "start-time-control",
)  # fmt: skip


def _enter(
    paper: Paper, at_s: float, what: str, who: str, places: Sequence[tuple[str, float, object]]
) -> None:
    """Enter one thing more about the lot, or about what is around it."""
    name, lot = places[-1][0], {"lot": "L1"}
    kind, _, number = what.partition("-")
    tuna = {"species": "Thunnus albacares", "origin": "wild", "serve_raw": True}
    feed = {"reference": "F-2", "states": "feed"}
    said: dict[str, tuple[str, dict[str, Any]]] = {
        "correct-species": ("correct-lot", {**lot, "species": "Thunnus obesus", "reason": "x"}),
        "correct-eel": ("correct-lot", {**lot, "species": "Anguilla japonica", "reason": "x"}),
        "not-raw": ("correct-lot", {**lot, "serve_raw": False, "reason": "x"}),
        "not-packed": ("correct-lot", {**lot, "rop": False, "celsius": 2.0, "reason": "x"}),
        "confirm": ("correct-lot", {**lot, "confirms_start": True, "reason": "x"}),
        "receive-again": ("receive-lot", {**lot, **tuna}),
        "freeze-again": ("start-freezing", {**lot, "unit": "freezer", "option": "20C-168h"}),
        "thaw": ("start-thawing", {**lot, "unit": "walk-in"}),
        "statement": (
            "attach-statement",
            {**lot, "reference": "S-2", "states": "freezing", "option": "35C-15h"},
        ),
        "statement-on-feed": ("attach-statement", {**lot, **feed}),
        "good-check": ("calibration-check", {"probe": f"p-{name}", "found_c": 0.1}),
        "failed-check": ("calibration-check", {"probe": f"p-{name}", "found_c": -2.0}),
        "discarded-unnamed": (
            "corrective-action",
            {"unit": name, "text": "x", "disposition": "discarded"},
        ),
        "withdrawn": ("withdraw-lot", {**lot, "reason": "sold"}),
        "acknowledge": ("acknowledge", {"unit": name, "rule": "holding"}),
        "out-of-service": ("out-of-service", {"unit": name}),
        "start-cooling": ("start-cooling", {"unit": "walk-in"}),
        "start-time-control": ("start-time-control", {"unit": name, "hours": 4}),
    }
    if kind == "cancel":
        paper.do(at_s, "cancel-entry", number=int(number), reason="x", who=who)
    else:
        do, keys = said[what]
        paper.do(at_s, do, **keys, who=who)


def place(
    *, lag_s: float = 0.0, uncertainty_c: float = 0.3, probes: tuple[str, ...] = ("p", "q")
) -> Shop:
    """Return a shop with a freezer, a walk-in and a case, two probes each."""
    kinds = {"freezer": "ultra-low-freezer", "walk-in": "walk-in", "case": "display-case"}
    keys: dict[str, Any] = {
        "every_s": EVERY_S, "stale_s": STALE_S, "uncertainty_c": uncertainty_c,
    }  # fmt: skip
    return shop(
        *(
            unit(name, kind, lag_s=lag_s, **({"limit_c": -18.0} if name == "freezer" else {}))
            for name, kind in kinds.items()
        ),
        *(probe(f"{p}-{name}", name, **keys) for name in kinds for p in probes),
    )


def judged(paper: Paper, there: Shop) -> dict[str, Any]:
    """Return the lot of the ledger."""
    found = run_core(there, paper.read()).ledger["lots"]
    return dict(found[0]) if found else NO_LOT


chilled = st.lists(
    st.sampled_from([0.5, 1.0, 2.0, 3.0, 4.0, 4.6, 4.9, 5.2, 7.0, 11.0, 22.0]),
    min_size=1,
    max_size=12,
).map(tuple)
frozen = st.lists(
    st.sampled_from([-62.0, -45.0, -36.0, -25.0, -22.0, -20.4, -20.1, -18.0, -2.0]),
    min_size=1, max_size=3,
).map(tuple)  # fmt: skip
hold = st.one_of(st.just((-25.0,)), st.just((-62.0,)), frozen)


@st.composite
def histories(draw: st.DrawFn) -> History:
    """Draw a lot's life."""
    option = draw(st.sampled_from([None, "20C-168h", "35C-15h", "35C-then-20C-24h", "20C-24h"]))
    places: list[tuple[str, float, tuple[float, ...]]] = []
    if option is not None:
        places.append(("freezer", draw(st.sampled_from([30.0, 172.0])), draw(hold)))
    for _ in range(draw(st.integers(0 if places else 1, 2))):
        hours = draw(st.sampled_from([2.0, 6.0, 24.0]))
        places.append((draw(st.sampled_from(["walk-in", "case"])), hours, draw(chilled)))
    return History(
        receipt={
            "species": draw(st.sampled_from(SPECIES)),
            "origin": draw(st.sampled_from(["wild", "farmed-pellet", "farmed-other"])),
            "serve_raw": draw(st.sampled_from([True, True, True, False])),
            "celsius": draw(st.sampled_from([None, 1.0, 4.0, 6.0])),
            "thickness_mm": draw(st.sampled_from([None, 25.0, 150.0])),
            "statement": draw(st.sampled_from(["", "F-1"])),
            "rop": draw(st.sampled_from([False, False, True])),
        },
        option=option,
        places=tuple(places),
        statement=draw(st.sampled_from([None, None, "35C-15h", "20C-24h"])),
        is_sold=draw(st.booleans()),
        disposition=draw(st.sampled_from([None, None, None, "discarded", "kept"])),
        more=draw(more),
    )


CORRECTS: Final = (
    "correct-species", "not-packed", "confirm", "receive-again", "cancel-1", "cancel-2", "cancel-3",
)  # fmt: skip
entered = st.tuples(
    st.sampled_from([0.01, 0.3, 0.6, 0.99]), st.sampled_from(MORE), st.sampled_from(["Ines", ""])
)
more = st.lists(entered, max_size=3).map(lambda found: tuple(sorted(found)))


lags = st.sampled_from([0.0, 1200.0])


def without(life: History, *what: str) -> History:
    """Return a life in which some things were not entered."""
    return replace(life, more=tuple(one for one in life.more if one[1] not in what))


@settings(max_examples=5, deadline=None)
@given(
    life=histories(), lag_s=lags, at=st.floats(0.0, 1.0), long_h=st.sampled_from([0.8, 1.5, 3.0])
)
def test_gap_never_makes_a_lot_proven(
    life: History, lag_s: float, at: float, long_h: float
) -> None:
    """Wherever it is, and however long beyond the stale time."""
    end_h = sum(hours for _, hours, _ in life.places)
    whole = judged(life.paper(), place(lag_s=lag_s))
    if whole["standing"] in GOOD:
        return
    holed = judged(life.paper(gap=(at * end_h, at * end_h + long_h)), place(lag_s=lag_s))

    assert holed["standing"] not in GOOD, (whole["against"], whole["lacks"], whole["doubts"])


@settings(max_examples=3, deadline=None)
@given(life=histories(), lag_s=lags, warmer_c=st.sampled_from([0.2, 1.0, 4.0]))
def test_warmth_never_makes_a_lot_proven(life: History, lag_s: float, warmer_c: float) -> None:
    """Every reading a little warmer."""
    if judged(life.paper(), place(lag_s=lag_s))["standing"] in GOOD:
        return

    warmer = judged(life.paper(warmer_c=warmer_c), place(lag_s=lag_s))

    assert warmer["standing"] not in GOOD


@settings(max_examples=3, deadline=None)
@given(life=histories(), found_c=st.sampled_from([-1.5, -0.5, 0.9, 3.0]))
def test_neither_uncertainty_nor_a_failed_check_makes_a_lot_proven(
    life: History, found_c: float
) -> None:
    """And a failed check takes every sign away, unless nothing of the probe speaks for it."""
    life = without(life, "withdrawn", "good-check")
    before = judged(life.paper(), place())
    unsure = judged(life.paper(), place(uncertainty_c=1.0))
    end_s = sum(hours for _, hours, _ in life.places) * H
    checked = life.paper()
    for name in dict.fromkeys(name for name, _, _ in life.places):
        checked.do(end_s, "calibration-check", probe=f"p-{name}", found_c=found_c)

    assert judged(checked, place())["standing"] not in GOOD
    if before["standing"] not in GOOD:
        assert unsure["standing"] not in GOOD


@settings(max_examples=3, deadline=None)
@given(life=histories(), lag_s=lags)
def test_order_of_probes_changes_nothing(life: History, lag_s: float) -> None:
    """Not a figure of the lot."""
    first = judged(life.paper(), place(lag_s=lag_s, probes=("p", "q")))
    other = judged(life.paper(), place(lag_s=lag_s, probes=("q", "p")))

    assert _without_statistics(first) == _without_statistics(other)


def _without_statistics(lot: dict[str, Any]) -> dict[str, Any]:
    # A place's mean is that of the probe whose statistics the ledger shows.
    return {key: value for key, value in lot.items() if key not in ("path", "use_by")}


@settings(max_examples=3, deadline=None)
@given(life=histories())
def test_selling_proves_nothing_and_a_persons_word_outranks_every_proof(life: History) -> None:
    """Sold, it stands as it stood; discarded, nothing else is said first."""
    life = without(life, "withdrawn", "cancel-1", "cancel-2", "cancel-3")
    here = judged(replace(life, is_sold=False).paper(), place())
    sold = judged(replace(life, is_sold=True).paper(), place())
    gone = judged(replace(life, disposition="discarded").paper(), place())

    assert (sold["standing"], sold["against"]) == (here["standing"], here["against"])
    assert gone["standing"] == "against"
    assert "discarded" in gone["against"]


@settings(max_examples=3, deadline=None)
@given(life=histories(), lag_s=lags)
def test_every_surface_says_the_same(life: History, lag_s: float) -> None:
    """Ledger, list, page and record; the sign is of what is proven, and of nothing else."""
    there = place(lag_s=lag_s)
    run = run_core(there, life.paper().read())
    if not run.ledger["lots"]:
        return
    story = tell(
        there, run.store, run.evaluator.histories(), book(run.evaluator.entries)[LotId("L1")],
        run.to_ms,
    )  # fmt: skip
    record = record_of(
        there, run.store, run.evaluator.histories(), story, run.evaluator.entries, run.to_ms
    )
    page, view, words = lot_page(there, record), lot_view(there, story), lot_words(there, story)
    (lot,) = run.ledger["lots"]
    asked, kept = lot_document(there, story), json.loads(lot_record_json(record))
    ledger = build_ledger(
        there,
        run.store,
        Account(entries=run.evaluator.entries, batteries={}),
        from_ms=min(entry.at_ms for entry in run.evaluator.entries),
        to_ms=run.to_ms,
    )
    (point,) = lot_points("s", ledger, run.to_ms)
    summary = build_summary(there, ledger, {})

    assert lot["standing"] == story.standing == words.standing
    for found in (asked, kept):
        assert {key: found[key] for key in SAID} == {key: lot[key] for key in SAID}
    assert point["fields"]["standing"] == lot["standing"]
    assert point["fields"].get("against", "") == ",".join(lot["against"])
    assert point["fields"].get("doubts", "") == ",".join(lot["doubts"])
    is_proven, is_gone = lot["standing"] == "proven", story.state == "withdrawn"
    assert (page.tone is Tone.GOOD) == words.is_proven == is_proven
    assert view["ready"] == lot["raw_ready"] == asked["ready"] == (is_proven and not is_gone)
    assert view["standing"] == lot["standing"]
    assert (view["sign"] == "held") == (is_proven and not is_gone)
    assert view["verdict"] == words.verdict == asked["verdict"]
    assert page.verdict[0] == f"{words.verdict}."
    assert asked["caveats"] == list(words.caveats)
    assert all(said in view["lines"] for said in words.caveats)
    assert bool(words.caveats) == bool(lot["against"] or lot["doubts"])
    told = [facts for facts in summary.lots if facts.name == "L1"]
    if told and not is_gone:
        text = " ".join(file_text(summary).split())
        assert words.verdict[1:] in text
        tasks = [todo.text for todo in summary.todos if "L1" in todo.text]
        assert tasks or is_gone or lot["standing"] not in ("against", "doubt")
    json.dumps(lot)


SAID: Final = ("standing", "against", "lacks", "doubts", "reasons")


@settings(max_examples=3, deadline=None)
@given(life=histories(), at=st.sampled_from([0.3, 0.6, 0.99]), what=st.sampled_from(CORRECTS))
def test_correction_that_nobody_signed_never_makes_a_lot_proven(
    life: History, at: float, what: str
) -> None:
    """Neither a changed receipt, nor a further one, nor an entry that is crossed out."""
    before = judged(life.paper(), place())
    if before["standing"] in GOOD:
        return
    entered_so = replace(life, more=tuple(sorted((*life.more, (at, what, "")))))
    found = run_core(place(), entered_so.paper().read()).ledger["lots"]

    assert not found or found[0]["standing"] not in GOOD


@settings(max_examples=3, deadline=None)
@given(life=histories())
def test_more_freezing_proves_nothing_that_was_not(life: History) -> None:
    """To put it to freeze at its very end takes a proof away at most."""
    before = judged(life.paper(), place())
    again = replace(life, more=(*life.more, (0.999, "freeze-again", "Ines")))

    if before["standing"] not in GOOD:
        assert judged(again.paper(), place())["standing"] not in GOOD
