"""How a lot's record says things: moments with their year, probes, entries. Pure."""

from collections.abc import Mapping
from datetime import tzinfo
from typing import Final

from rimewatch.entries import (
    AttachStatement,
    CancelEntry,
    CorrectiveAction,
    CorrectLot,
    MoveLot,
    ReceiveLot,
    StartFreezing,
    StartThawing,
    WithdrawLot,
)
from rimewatch.lots.record import EntryLine, Evidence, ProbeUsed
from rimewatch.report import wording
from rimewatch.report.sections import DISPOSITIONS
from rimewatch.vocabulary import Origin, Scale, States, UnitId

ORIGINS: Final = {
    Origin.WILD: "wild",
    Origin.FARMED_PELLET: "farmed on pellets, by the supplier’s statement",
    Origin.FARMED_OTHER: "farmed, without a statement on its feed",
}
STATES: Final = {
    States.FREEZING: "on freezing",
    States.FEED: "on raising and feed",
}
_EVIDENCE: Final = {
    Evidence.CENTRE_PROBE: "in a product, which need not be this lot",
    Evidence.BUFFERED_AIR: "air, buffered: seen through a time constant of {lag}, as fish follows",
    Evidence.AIR: "air as measured, not buffered",
}
NO_CALIBRATION: Final = "no calibration check on record"
_FIELDS: Final = {
    "species": "species",
    "origin": "origin",
    "serve_raw": "served raw",
    "thickness_mm": "thickness",
    "celsius": "temperature at receipt",
    "kilograms": "weight",
    "supplier": "supplier",
    "supplier_reference": "supplier’s lot",
    "statement": "statement",
    "rop": "vacuum-packed",
}


def moment(at_ms: float, zone: tzinfo) -> str:
    """Return "2026-03-02 02:41 CST": a record is read years later, and sorted by its days."""
    at = wording.local(round(at_ms), zone)
    return f"{at:%Y-%m-%d %H:%M} {wording.zone_name(at)}"


def probe_words(used: ProbeUsed, units: Mapping[UnitId, str], zone: tzinfo, scale: Scale) -> str:
    """Say what a probe measured, and how far it can be trusted."""
    how = _EVIDENCE[used.evidence].format(lag=wording.duration(used.lag_s))
    if used.in_lot:
        how = "in this lot, as was entered"
    plus_minus = wording.temperature_difference(used.uncertainty_c, scale)
    offset = wording.temperature_difference(used.offset_c, scale)
    where = units.get(used.unit, used.unit)
    return (
        f"{used.probe} in {where}, {how}; uncertainty ±{plus_minus}, offset {offset}, "
        f"{_check(used, zone, scale)}"
    )


def _check(used: ProbeUsed, zone: tzinfo, scale: Scale) -> str:
    if used.check is None:
        return NO_CALIBRATION
    against = f" against {used.check.reference}" if used.check.reference else ""
    off = wording.temperature_difference(used.check.found_c, scale)
    return wording.printable(f"checked {moment(used.check.at_ms, zone)}{against}: off by {off}")


def entry_words(line: EntryLine, units: Mapping[UnitId, str], zone: tzinfo, scale: Scale) -> str:
    """Say what an entry says."""
    entry = line.entry
    match entry:
        case ReceiveLot():
            said = f"Received: {_receipt(entry, scale)}"
        case CorrectLot():
            said = f"Corrected ({entry.reason}): {_corrections(line, scale)}"
        case AttachStatement():
            said = f"Statement {STATES[entry.states]} on file: {entry.reference}"
        case StartFreezing():
            said = _freezing(entry, units, zone, scale)
        case StartThawing() | MoveLot():
            did = "Put to thaw in" if isinstance(entry, StartThawing) else "Moved to"
            said = f"{did} {_unit(entry.unit, units)}"
        case WithdrawLot():
            said = ": ".join(part for part in ("Withdrawn", entry.reason) if part)
        case CorrectiveAction():
            said = _done(entry, units)
        case CancelEntry():
            said = f"Entry {entry.number} cancelled: {entry.reason}"
        case _:
            raise AssertionError("no entry about a lot")
    if line.cancelled_by is not None:
        said = f"[cancelled by entry {line.cancelled_by.entry_number}] {said}"
    return wording.printable(said)


def _done(entry: CorrectiveAction, units: Mapping[UnitId, str]) -> str:
    became = "" if entry.disposition is None else f" (fish {DISPOSITIONS[entry.disposition]})"
    return f"Done in {_unit(entry.unit, units)}: {entry.text}{became}"


def _corrections(line: EntryLine, scale: Scale) -> str:
    said = [
        f"{_FIELDS[item.what]} {_value(item.what, item.before, scale)} → "
        f"{_value(item.what, item.after, scale)}"
        for item in line.corrections
    ]
    if isinstance(line.entry, CorrectLot) and line.entry.confirms_start:
        said.append("its freezing did begin when it was entered to have")
    return "; ".join(said) or "nothing"


def _freezing(entry: StartFreezing, units: Mapping[UnitId, str], zone: tzinfo, scale: Scale) -> str:
    said = (
        f"Put to freeze in {_unit(entry.unit, units)}: {wording.option_words(entry.option, scale)}"
    )
    if entry.probe is not None:
        said += f"; probe {entry.probe} put into this lot"
    if entry.needed_by_ms is None:
        return said
    return f"{said}; wanted by {moment(entry.needed_by_ms, zone)}"


def _unit(unit: UnitId, units: Mapping[UnitId, str]) -> str:
    return units.get(unit, unit)


def _receipt(entry: ReceiveLot, scale: Scale) -> str:
    parts = [
        entry.species,
        entry.origin.value,
        "to be served raw" if entry.serve_raw else "not to be served raw",
    ]
    for name in ("kilograms", "thickness_mm", "celsius"):
        value = getattr(entry, name)
        if value is not None:
            parts.append(_value(name, value, scale))
    if entry.supplier:
        parts.append(f"from {entry.supplier}")
    if entry.supplier_reference:
        parts.append(f"their lot {entry.supplier_reference}")
    if entry.statement:
        parts.append(f"statement {entry.statement}")
    if entry.rop:
        parts.append("vacuum-packed")
    return ", ".join(parts)


def _value(name: str, value: object, scale: Scale) -> str:
    if value is None or value == "":
        return "not said"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if name == "celsius":
            return wording.temperature(value, scale)
        return f"{value:g} {'mm' if name == 'thickness_mm' else 'kg'}"
    return str(value)
