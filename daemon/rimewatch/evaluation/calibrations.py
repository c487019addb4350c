"""Checks of probes, as they stand in a ledger. Pure."""

from collections.abc import Iterable
from typing import Any

from rimewatch.entries import AnyEntry, CalibrationCheck
from rimewatch.evaluation.instants import iso


def calibration_checks(entries: Iterable[AnyEntry], to_ms: int) -> list[dict[str, Any]]:
    """Return every check entered for a time up to an instant, the earliest first."""
    checks = [e for e in entries if isinstance(e, CalibrationCheck) and e.at_ms <= to_ms]
    return [
        {
            "at": iso(check.at_ms),
            "probe": check.probe,
            "who": check.who,
            "reference": check.reference,
            "found_c": check.found_c,
            "offset_c": check.offset_c,
            "offset_from": None if check.offset_c is None else iso(check.from_ms),
        }
        for check in sorted(checks, key=lambda check: (check.at_ms, check.probe))
    ]
