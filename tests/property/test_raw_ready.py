"""No lot is ever ready to be served raw without one of the three proofs, whole.

FDA Food Code 2022, 3-402.11(A) and (B), 3-402.12(B). The proofs are looked for again here by
hand, from the trace alone.
"""

import io
import itertools
from typing import Any, Final

from hypothesis import given, settings
from hypothesis import strategies as st

from core_run import run_core
from handmade import Paper, ms, probe, shop, unit
from rimewatch.intake.trace import read_trace
from rimewatch.rules.provisions_food_code import EXEMPT_TUNA_SPECIES

H: Final = 3600.0
EVERY_S: Final = 3600.0
STALE_S: Final = 7200.0
UNCERTAIN_C: Final = 0.3
LINES_C: Final = {"20C-168h": -20.0, "20C-24h": -20.0, "35C-15h": -35.0}
HOURS: Final = {"20C-168h": 168.0, "20C-24h": 24.0, "35C-15h": 15.0}
FREEZERS: Final = ("freezer-1", "freezer-2")
SHOP: Final = shop(
    *(unit(freezer, "freezer") for freezer in FREEZERS),
    unit("case-1"),
    *(
        probe(
            f"p-{name}",
            name,
            "product",
            every_s=EVERY_S,
            stale_s=STALE_S,
            uncertainty_c=UNCERTAIN_C,
        )
        for name in (*FREEZERS, "case-1")
    ),
)
spells = st.lists(
    st.tuples(
        st.sampled_from([-41.0, -41.0, -36.0, -35.2, -25.0, -25.0, -20.3, -20.29, -19.0, None]),
        st.integers(min_value=20, max_value=100),
    ),
    min_size=1,
    max_size=3,
)
receipts = st.fixed_dictionaries(
    {
        "species": st.sampled_from(
            ["Oncorhynchus nerka", "tuna", "Salmo salar", "Thunnus albacares"]
        ),
        "origin": st.sampled_from(["wild", "farmed-pellet", "farmed-other"]),
        "serve_raw": st.sampled_from([True, True, True, False]),
        "statement": st.sampled_from(["", "F-1"]),
    }
)
doings = st.lists(
    st.sampled_from(
        ["attach-feed", "attach-freezing", "cancel-2", "move", "case", "thaw", "correct"]
    ),
    max_size=3,
)


@settings(max_examples=80, deadline=None)
@given(
    first=spells,
    second=spells,
    receipt=receipts,
    option=st.sampled_from(list(LINES_C)),
    done=doings,
    at_h=st.integers(min_value=1, max_value=90),
)
def test_lot_that_is_raw_ready_has_a_whole_proof(
    first: list[tuple[float | None, int]],
    second: list[tuple[float | None, int]],
    receipt: dict[str, Any],
    option: str,
    done: list[str],
    at_h: int,
) -> None:
    """Unbroken proven cold for all its hours, or an exemption, or a statement; nothing else."""
    paper = Paper("2026-02-02T15:00:00Z").receive(0, **receipt)
    paper.freeze(0, option)
    told = {
        "freezer-1": _told(paper, "freezer-1", first),
        "freezer-2": _told(paper, "freezer-2", second),
    }
    told["case-1"] = _told(paper, "case-1", [(1.0, 200)])
    moves: list[tuple[float, str]] = [(0.0, "freezer-1")]
    statements: set[str] = set()
    was_cancelled = False
    for number, what in enumerate(done):
        at_s = (at_h + number) * H
        if what.startswith("attach"):
            states = what.removeprefix("attach-")
            statements.add(states)
            paper.do(at_s, "attach-statement", lot="L1", reference="S", states=states)
        elif what == "cancel-2":
            was_cancelled = True
            paper.do(at_s, "cancel-entry", number=2, reason="another lot")
        elif what == "correct":
            paper.do(at_s, "correct-lot", lot="L1", reason="again", serve_raw=receipt["serve_raw"])
        else:
            to = {"move": "freezer-2", "case": "case-1", "thaw": "case-1"}[what]
            do = "start-thawing" if what == "thaw" else "move-lot"
            moves.append((at_s, to))
            paper.do(at_s, do, lot="L1", unit=to)

    (lot,) = run_core(SHOP, read_trace(io.BytesIO(paper.text()))).ledger["lots"]

    if not lot["raw_ready"]:
        return
    assert receipt["serve_raw"]
    match lot["proof"]:
        case "exemption":
            by_name = receipt["species"] in EXEMPT_TUNA_SPECIES
            # That origin asserts that the supplier's statement is on file.
            assert by_name or receipt["origin"] == "farmed-pellet"
        case "supplier-freezing":
            assert "freezing" in statements
        case "own-freezing":
            assert not was_cancelled
            _assert_unbroken(paper, lot, option, moves, told)
        case other:
            raise AssertionError(f"ready by {other}")


def _told(
    paper: Paper, name: str, spells: list[tuple[float | None, int]]
) -> list[tuple[float, float]]:
    """Have a unit's probe tell steps of temperature; None: it is silent."""
    told: list[tuple[float, float]] = []
    at_s = 0.0
    for celsius, hours in spells:
        for _ in range(round(hours * H / EVERY_S)):
            if celsius is not None:
                paper.say(at_s, str(celsius), f"p-{name}")
                told.append((at_s, celsius))
            at_s += EVERY_S
    return told


def _assert_unbroken(
    paper: Paper,
    lot: dict[str, Any],
    option: str,
    moves: list[tuple[float, str]],
    told: dict[str, list[tuple[float, float]]],
) -> None:
    """Look at every reading of the hold, where the lot was at the time."""
    from_s = (ms(lot["started"]) - paper.start_ms) / 1000.0
    to_s = (ms(lot["completed"]) - paper.start_ms) / 1000.0
    assert abs(to_s - from_s - HOURS[option] * H) < 0.01
    ends = [*(at_s for at_s, _ in moves[1:]), float("inf")]
    for (begins_s, where), ends_s in zip(moves, ends, strict=True):
        stay_s = (max(begins_s, from_s), min(ends_s, to_s))
        if stay_s[1] <= stay_s[0]:
            continue
        assert where in FREEZERS
        inside = [c for at_s, c in told[where] if stay_s[0] <= at_s <= stay_s[1]]
        assert all(c + UNCERTAIN_C <= LINES_C[option] + 1e-9 for c in inside)
        near = [at_s for at_s, _ in told[where] if at_s <= stay_s[1] + STALE_S]
        known = [at_s for at_s in near if at_s >= stay_s[0] - STALE_S]
        assert known, "cold that nobody measured"
        gaps = [b - a for a, b in itertools.pairwise(known) if b > stay_s[0] and a < stay_s[1]]
        assert all(gap <= STALE_S for gap in gaps)
