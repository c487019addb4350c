"""The first line of a summary, and each unit's state: sober, and only what was measured.

The word "safe" is never said here: a thermometer does not know it. Pure.
"""

from collections.abc import Sequence

from rimewatch.evaluation.excursions import Excursion
from rimewatch.report import wording
from rimewatch.report.facts import LotFacts, State, UnitFacts
from rimewatch.vocabulary import Scale

_SEVERITY = (State.WARM, State.UNWATCHED, State.NOT_PROVEN, State.HELD, State.OUT_OF_SERVICE)


def unit_state(
    *,
    readings: int,
    missing_s: float,
    fish_above_s: float,
    warm_excursion: bool,
    out_of_service: bool = False,
) -> State:
    """Return what the readings say about one unit: warmth first, then doubt, then cold.

    Of a unit out of service all the time they say nothing about fish.
    """
    if out_of_service:
        return State.OUT_OF_SERVICE
    if fish_above_s > 0 or warm_excursion:
        return State.WARM
    if readings == 0:
        return State.UNWATCHED
    return State.NOT_PROVEN if missing_s > 0 else State.HELD


def overall_state(units: Sequence[UnitFacts]) -> State:
    """Return the gravest state of any unit; without units, nothing was watched."""
    return min((unit.state for unit in units), key=_SEVERITY.index, default=State.UNWATCHED)


def verdict(
    units: Sequence[UnitFacts],
    excursions: Sequence[Excursion],
    lots: Sequence[LotFacts],
    todo_count: int,
    scale: Scale,
) -> tuple[str, ...]:
    """Return the first line in sentences: what the cold did, then how much there is to do."""
    parts = list(_cold(units, excursions, scale))
    set_back = sum(1 for lot in lots if lot.set_back and lot.story.state != "complete")
    if set_back:
        parts.append(f"{_capital(set_back)} freezing {_plural(set_back, 'hold')} set back.")
    if todo_count:
        parts.append(f"{_capital(todo_count)} {_plural(todo_count, 'thing')} to do.")
    else:
        parts.append("Nothing to do.")
    return tuple(parts)


def _cold(
    units: Sequence[UnitFacts], excursions: Sequence[Excursion], scale: Scale
) -> tuple[str, ...]:
    warm = [unit for unit in units if unit.state is State.WARM]
    doubtful = [unit for unit in units if unit.state is State.NOT_PROVEN]
    unwatched = [unit for unit in units if unit.state is State.UNWATCHED]
    out = [unit.name for unit in units if unit.state is State.OUT_OF_SERVICE]
    serving = len(units) - len(out)
    parts = []
    if len(unwatched) == serving and (unwatched or not units):
        parts.append("Nothing was measured: the cold is not proven.")
    elif serving and not warm and not doubtful and not unwatched:
        held = next(unit for unit in units if unit.state is State.HELD)
        parts.append("All cold held." if serving > 1 else f"{held.name} held cold.")
    else:
        parts.extend(_trouble(warm, doubtful, unwatched, excursions, scale))
    if out:
        were = "was" if len(out) == 1 else "were"
        parts.append(f"{wording.joined(out, most=3)} {were} out of service.")
    return tuple(parts)


def _trouble(
    warm: Sequence[UnitFacts],
    doubtful: Sequence[UnitFacts],
    unwatched: Sequence[UnitFacts],
    excursions: Sequence[Excursion],
    scale: Scale,
) -> tuple[str, ...]:
    parts = []
    if warm:
        parts.append(_warm(warm, excursions, scale))
    if doubtful or unwatched:
        parts.append(_doubt(doubtful, unwatched))
    return tuple(parts)


def _warm(warm: Sequence[UnitFacts], excursions: Sequence[Excursion], scale: Scale) -> str:
    still = {item.unit.id for item in excursions if item.concerns_fish and item.end_ms is None} & {
        unit.unit.id for unit in warm
    }
    if len(warm) > 1:
        names = wording.joined([unit.name for unit in warm], most=3)
        ending = f"; {wording.number(len(still))} still {_is_are(len(still))}" if still else ""
        return f"{_capital(len(warm))} units got warm: {names}{ending}."
    one = warm[0]
    peaks = [
        item.peak_c for item in excursions if item.concerns_fish and item.unit.id == one.unit.id
    ]
    peak = f", up to {wording.temperature(max(peaks), scale)}" if peaks else ""
    ending = " and still is" if still else ""
    return f"{one.name} got warm{peak}{ending}."


def _doubt(doubtful: Sequence[UnitFacts], unwatched: Sequence[UnitFacts]) -> str:
    both = [*unwatched, *doubtful]
    if len(both) > 1:
        names = wording.joined([unit.name for unit in both], most=3)
        return f"Cold not proven in {wording.number(len(both))} units: {names}."
    one = both[0]
    how = (
        "was not watched at all"
        if unwatched
        else f"was unmonitored for {wording.duration(one.account.missing_s)}"
    )
    return f"Cold not proven: {one.name} {how}."


def _capital(count: int) -> str:
    return wording.number(count).capitalize()


def _plural(count: int, noun: str) -> str:
    return noun if count == 1 else f"{noun}s"


def _is_are(count: int) -> str:
    return "is" if count == 1 else "are"
