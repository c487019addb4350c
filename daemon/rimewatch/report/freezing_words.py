"""What the freezers can do for a lot, and which lots will be late, in words. Pure."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import tzinfo
from typing import Final

from rimewatch.lots.foretell import Advice
from rimewatch.lots.options import STEADY_H, Outlook, Prospect
from rimewatch.report import wording
from rimewatch.vocabulary import Option, Scale, UnitId

_WHY_NOT: Final = {
    Outlook.TOO_WARM: "not cold enough",
    Outlook.TOO_THICK: "no telling when fish this thick is cold inside",
}


def prospect_lines(
    found: Sequence[Prospect], units: Mapping[UnitId, str], zone: tzinfo, scale: Scale
) -> Iterator[str]:
    """Say what each freezer can do, the earliest first, and then what none can."""
    for item in found:
        if item.complete_ms is None:
            continue
        where = units.get(item.unit, item.unit)
        done = wording.local_moment(round(item.complete_ms), zone)
        text = f"{item.option.value} in {where} ({item.unit}): complete {done}"
        if item.outlook is Outlook.BROKEN:
            lasted = wording.duration(item.unbroken_h * 3600.0)
            text += f", doubtful: cold enough for only {lasted} without a break"
        elif item.warmest_c is not None:
            warmest = wording.temperature(item.warmest_c, scale)
            text += f" (never above {warmest} in the last {STEADY_H / 24:g} days)"
        if item.option is Option.F20C_24H:
            text += "; no option of the FDA Food Code"
        yield f"{text}."
    impossible = [item for item in found if item.complete_ms is None]
    for outlook, why in _WHY_NOT.items():
        names = [
            f"{item.option.value} in {units.get(item.unit, item.unit)}"
            for item in impossible
            if item.outlook is outlook
        ]
        if names:
            yield f"Not possible now, {why}: {', '.join(names)}."


def advice_line(item: Advice, units: Mapping[UnitId, str], zone: tzinfo, scale: Scale) -> str:
    """Say what to do about lots that will not be ready in time."""
    lots = wording.joined([wording.printable(lot) for lot in item.lots], most=6)
    noun = "Lot" if len(item.lots) == 1 else "Lots"
    by = wording.local_moment(item.needed_by_ms, zone)
    late = f"{noun} {lots} will not be ready by {by}"
    if item.option is None or item.unit is None or item.start_by_ms is None:
        return f"{late}, and no freezer here would have {'it' if noun == 'Lot' else 'them'} so."
    before = wording.local_moment(round(item.start_by_ms), zone)
    where = units.get(item.unit, item.unit)
    return (
        f"{late} unless moved to {where} before {before}: "
        f"{wording.option_words(item.option, scale)} ({item.option.value})."
    )
