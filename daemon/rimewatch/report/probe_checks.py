"""Probe checks as the record and the review tell them. Pure: entries are given.

References:
    [1] 21 CFR 123.8(a)(2)(ii), (a)(3)(iii): process-monitoring instruments are calibrated, and
        the records of it reviewed.
"""

from collections.abc import Iterable

from rimewatch.entries import AnyEntry, CalibrationCheck
from rimewatch.report import wording
from rimewatch.report.records import ProbeCheck
from rimewatch.vocabulary import ProbeId, Scale


def calibration_log(entries: Iterable[AnyEntry], scale: Scale) -> list[ProbeCheck]:
    """Return every check on the books, the earliest first, in the scale that people read."""
    checks = [entry for entry in entries if isinstance(entry, CalibrationCheck)]
    return [
        ProbeCheck(at_ms=check.at_ms, who=check.who, probe=check.probe, what=_what(check, scale))
        for check in sorted(checks, key=lambda check: (check.at_ms, check.probe))
    ]


def last_checks_ms(entries: Iterable[AnyEntry], until_ms: int) -> dict[ProbeId, int]:
    """Return when each probe was last checked by some instant; one that never was is missing."""
    found: dict[ProbeId, int] = {}
    for entry in entries:
        if isinstance(entry, CalibrationCheck) and entry.at_ms <= until_ms:
            found[entry.probe] = max(entry.at_ms, found.get(entry.probe, entry.at_ms))
    return found


def _what(check: CalibrationCheck, scale: Scale) -> str:
    against = f" against {check.reference}" if check.reference else ""
    said = f"off by {wording.correction(check.found_c, scale)}{against}"
    if check.offset_c is None:
        return said
    return f"{said}; offset set to {wording.correction(check.offset_c, scale)}"
