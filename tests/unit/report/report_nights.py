"""Invented nights at Saltmarsh Row Fish, as ledgers: a quiet one and a bad one."""

from datetime import UTC, datetime, time
from typing import Any

import numpy as np

from ledger_values import ledger_of, ms
from plain_shop import plain_shop
from rimewatch.report.curve import Curve
from rimewatch.report.facts import Summary
from rimewatch.report.summary import build_summary
from rimewatch.shop import Broker, Contact, DefrostWindow, Probe, Shop, Unit
from rimewatch.vocabulary import (
    ContactId,
    Kind,
    Measures,
    ProbeId,
    Scale,
    UnitId,
)


def iso(at_ms: int) -> str:
    """Return milliseconds since the epoch as the ledger writes them."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


FROM_MS = ms("2026-03-01T12:30:00Z")  # Sunday 06:30 CST
TO_MS = ms("2026-03-02T12:30:00Z")  # Monday 06:30 CST


def _unit(
    unit_id: str,
    name: str,
    kind: Kind,
    limit_c: float,
    operating_limit_c: float | None,
    **more: Any,
) -> Unit:
    return Unit(
        id=UnitId(unit_id),
        name=name,
        kind=kind,
        limit_c=limit_c,
        operating_limit_c=operating_limit_c,
        deadband_c=0.5,
        on_delay_s=900.0,
        **{"lag_s": 1200.0, "door_open_s": 300.0, **more},
    )


def _probe(probe_id: str, unit: str, measures: Measures, **more: Any) -> Probe:
    return Probe(
        id=ProbeId(probe_id),
        unit=UnitId(unit),
        measures=measures,
        topic=f"shop/{unit}/{measures.value}",
        format="json",
        fields={"value": "t"},
        scale=Scale.CELSIUS,
        every_s=60.0,
        stale_s=180.0,
        uncertainty_c=0.3,
        offset_c=0.0,
        slope=1.0,
        check_every_days=180.0,
        plausible_c=(-90.0, 60.0),
        **more,
    )


def shop(*, display: Scale = Scale.FAHRENHEIT, timezone: str = "America/Chicago") -> Shop:
    """Return the shop with its four units."""
    return plain_shop(
        name="Saltmarsh Row Fish",
        timezone=timezone,
        display=display,
        summary_at=time(6, 30),
        broker=Broker(url="mqtt://127.0.0.1:1883", client_id="rimewatch"),
        units=(
            _unit(
                "case-1",
                "Front display case",
                Kind.DISPLAY_CASE,
                5.0,
                3.3,
                defrost=(DefrostWindow(start=time(2), length_s=1800.0),),
            ),
            _unit("case-2", "Side display case", Kind.DISPLAY_CASE, 5.0, 3.3),
            _unit("walk-in", "Walk-in cooler", Kind.WALK_IN, 5.0, None),
            _unit("freezer-1", "Chest freezer", Kind.FREEZER, -18.0, None, lag_s=0.0),
        ),
        probes=(
            _probe("case-1-air", "case-1", Measures.AIR, battery_low=15.0),
            _probe("case-2-air", "case-2", Measures.AIR, battery_low=15.0),
            _probe("walk-in-fish", "walk-in", Measures.PRODUCT),
            _probe("freezer-1-air", "freezer-1", Measures.AIR),
        ),
        contacts=(
            Contact(id=ContactId("first"), name="On-call phone", urls=("json://127.0.0.1:9000/",)),
            Contact(id=ContactId("second"), name="Owner", urls=("json://127.0.0.1:9001/",)),
        ),
    )


def a_unit(
    readings: int, low: float, high: float, mean: float, kinetic: float, **more: Any
) -> dict[str, Any]:
    """Return a unit as a ledger has it."""
    return {
        "readings": readings,
        "missing_s": 0.0,
        "min_c": low,
        "max_c": high,
        "mean_c": mean,
        "kinetic_c": kinetic,
        "above_limit_s": 0.0,
        "governing_above_limit_s": 0.0,
        "excursions": [],
        **more,
    }


def quiet_ledger() -> dict[str, Any]:
    """Return a night on which the cold held; a defrost warmed one case's air."""
    return {
        "from": iso(FROM_MS),
        "to": iso(TO_MS),
        "quarantined": 0,
        "units": {
            "case-1": a_unit(
                1440,
                0.8,
                7.4,
                2.2,
                2.4,
                above_limit_s=1140.0,
                doors={"openings": 7, "open_s": 312.0, "longest_s": 95.0},
                defrosts=2,
            ),
            "case-2": a_unit(1440, 0.6, 3.1, 1.9, 2.0, defrosts=0),
            "walk-in": a_unit(
                1440, 0.2, 2.8, 1.1, 1.2, doors={"openings": 1, "open_s": 40.0, "longest_s": 40.0}
            ),
            "freezer-1": a_unit(1440, -24.1, -21.6, -22.9, -22.8),
        },
        "alarms": [],
        "messages": [],
        "lots": [
            {
                "lot": "L1",
                "needs_destruction": True,
                "why": "Wild coho salmon, to be served raw.",
                "option": "20C-168h",
                "required_h": 168.0,
                "credited_h": 121.5,
                "state": "freezing",
                "started": "2026-02-25T11:00:00Z",
                "completed": None,
                "interruptions": [],
                "ice_days": 0.6,
            },
            {
                "lot": "L0",
                "needs_destruction": True,
                "why": "Wild halibut, to be served raw.",
                "option": "20C-168h",
                "required_h": 168.0,
                "credited_h": 168.0,
                "state": "complete",
                "started": "2026-02-22T23:45:00Z",
                "completed": "2026-03-01T23:45:00Z",
                "interruptions": [],
                "ice_days": 1.4,
            },
            {
                "lot": "L2",
                "needs_destruction": False,
                "why": "Yellowfin tuna (Thunnus albacares) is exempt by name.",
                "option": None,
                "required_h": 0.0,
                "credited_h": 0.0,
                "state": "received",
                "started": None,
                "completed": None,
                "interruptions": [],
                "ice_days": 2.1,
            },
        ],
        "probes": {
            name: {
                "last": "2026-03-02T12:29:30Z",
                "battery": 87.0,
                "missing_s": 0.0,
                "stale": False,
                "clock_offset_s": 1.0,
            }
            for name in ("case-1-air", "case-2-air", "walk-in-fish", "freezer-1-air")
        },
        "quarantine": [],
        "corrective_actions": [],
    }


def bad_ledger() -> dict[str, Any]:
    """Return a night with a failed case, a silent probe and a hold set back."""
    ledger = quiet_ledger()
    units = ledger["units"]
    units["case-1"] |= {
        "max_c": 7.9,
        "defrosts": 1,
        "mean_c": 3.1,
        "above_limit_s": 4920.0,
        "governing_above_limit_s": 3540.0,
        "excursions": [
            {
                "rule": "holding",
                "start": "2026-03-02T08:11:00Z",
                "end": "2026-03-02T09:14:00Z",
                "peak_c": 7.0,
                "above_s": 3540.0,
                "cause": "cooling-failure",
                "explanation": "The air rose steadily with the door shut and no defrost was due.",
                "alarmed": True,
                "fish_c": 7.0,
            }
        ],
    }
    units["case-2"] |= {"missing_s": 2520.0, "readings": 1398}
    units["case-2"]["gaps"] = [{"start": "2026-03-02T07:10:00Z", "end": "2026-03-02T07:52:00Z"}]
    units["freezer-1"] |= {"max_c": -18.6, "mean_c": -22.1}
    ledger["lots"][0] |= {
        "credited_h": 4.25,
        "started": "2026-03-02T08:15:00Z",
        "interruptions": [
            {
                "start": "2026-03-02T07:21:00Z",
                "end": "2026-03-02T08:15:00Z",
                "peak_c": -18.6,
                "reason": "warm",
            }
        ],
    }
    ledger["alarms"] = [
        {
            "unit": "freezer-1",
            "rule": "hold-at-risk",
            "priority": "high",
            "raised": "2026-03-02T07:21:00Z",
            "acknowledged": None,
            "returned": "2026-03-02T08:15:00Z",
            "woke": True,
        },
        {
            "unit": "case-2",
            "rule": "stale",
            "priority": "medium",
            "raised": "2026-03-02T07:13:00Z",
            "acknowledged": None,
            "returned": "2026-03-02T07:52:00Z",
            "woke": False,
        },
        {
            "unit": "case-1",
            "rule": "holding",
            "priority": "high",
            "raised": "2026-03-02T08:26:00Z",
            "acknowledged": "2026-03-02T08:45:00Z",
            "returned": "2026-03-02T09:14:00Z",
            "woke": True,
        },
    ]
    ledger["messages"] = [
        {"at": at, "contact": contact, "unit": unit, "rule": rule, "about": about}
        for at, contact, unit, rule, about in (
            ("2026-03-02T07:21:00Z", "first", "freezer-1", "hold-at-risk", "raised"),
            ("2026-03-02T07:36:00Z", "first", "freezer-1", "hold-at-risk", "repeat"),
            ("2026-03-02T07:51:00Z", "second", "freezer-1", "hold-at-risk", "escalated"),
            ("2026-03-02T08:15:00Z", "first", "freezer-1", "hold-at-risk", "returned"),
            ("2026-03-02T08:26:00Z", "first", "case-1", "holding", "raised"),
            ("2026-03-02T08:41:00Z", "first", "case-1", "holding", "repeat"),
            ("2026-03-02T09:14:00Z", "first", "case-1", "holding", "returned"),
        )
    ]
    ledger["probes"]["case-2-air"] |= {"battery": 11.0, "missing_s": 2520.0}
    ledger["probes"]["walk-in-fish"]["clock_offset_s"] = -432.0
    ledger["quarantined"] = 17
    ledger["quarantine"] = [
        {
            "topic": "shop/case-2/air",
            "probe": "case-2-air",
            "reason": "fault-code",
            "count": 14,
            "payload_start": '{"t": -127.0}',
        },
        {
            "topic": "shop/ice-maker/air",
            "probe": None,
            "reason": "unknown-topic",
            "count": 3,
            "payload_start": "3.4",
        },
    ]
    ledger["cooling"] = [
        {
            "unit": "walk-in",
            "lot": "C1",
            "food": "cooked",
            "put_in": "2026-03-01T23:00:00Z",
            "taken_out": "2026-03-02T06:00:00Z",
            "started": "2026-03-01T23:00:00Z",
            "state": "failed",
            "measured": True,
            "stages": [
                {
                    "to_c": 21.0,
                    "within_h": 2.0,
                    "deadline": "2026-03-02T01:00:00Z",
                    "reached": "2026-03-02T01:30:00Z",
                    "missed": True,
                },
                {
                    "to_c": 5.0,
                    "within_h": 6.0,
                    "deadline": "2026-03-02T05:00:00Z",
                    "reached": "2026-03-02T04:45:00Z",
                    "missed": False,
                },
            ],
        }
    ]
    ledger["time_control"] = [
        {
            "unit": None,
            "lot": "T1",
            "hours": 4,
            "started": "2026-03-01T23:00:00Z",
            "ended": None,
            "ends": "2026-03-02T03:00:00Z",
            "state": "discard",
            "discard": "2026-03-02T03:00:00Z",
            "warmest_c": 14.0,
            "unmonitored_s": 0.0,
            "reason": "4 h are over",
        }
    ]
    ledger["corrective_actions"] = [
        {
            "at": "2026-03-02T08:58:00Z",
            "unit": "case-1",
            "text": "Moved everything to the walk-in, called the repair firm.",
            "who": "M.",
        },
        {
            "at": "2026-03-02T11:40:00Z",
            "unit": "walk-in",
            "text": "Mopped up under the coil.",
            "who": "",
        },
    ]
    return ledger


def _lagged(air_c: np.ndarray, step_s: float, lag_s: float) -> np.ndarray:
    fish_c = np.empty_like(air_c)
    fish_c[0] = air_c[0]
    for at in range(1, len(air_c)):
        fish_c[at] = fish_c[at - 1] + (air_c[at] - fish_c[at - 1]) * -np.expm1(-step_s / lag_s)
    return fish_c


def curves(*, bad: bool) -> dict[UnitId, Curve]:
    """Return a minute-by-minute course for each unit, from a seeded generator."""
    random = np.random.default_rng(7)
    times_ms = np.arange(FROM_MS, TO_MS, 60_000)
    hours = (times_ms - FROM_MS) / 3_600_000
    case_1 = 2.0 + 0.6 * np.sin(hours * 9.0) + random.normal(0.0, 0.12, len(hours))
    defrosts = []
    for start in (7.5,) if bad else (7.5, 19.5):
        inside = (hours >= start) & (hours < start + 0.5)
        case_1[inside] += 5.2 * np.sin((hours[inside] - start) / 0.5 * np.pi)
        defrosts.append((FROM_MS + round(start * 3.6e6), FROM_MS + round((start + 0.5) * 3.6e6)))
    doors = tuple(
        (FROM_MS + round(at * 3.6e6), FROM_MS + round(at * 3.6e6) + 60_000)
        for at in (2.1, 3.4, 4.0, 5.7, 6.2, 9.1, 10.4)
    )
    case_2 = 1.9 + 0.5 * np.sin(hours * 8.0 + 1.0) + random.normal(0.0, 0.12, len(hours))
    walk_in = 1.1 + 0.4 * np.sin(hours * 3.0) + random.normal(0.0, 0.04, len(hours))
    freezer = -22.9 + 0.7 * np.sin(hours * 6.0) + random.normal(0.0, 0.1, len(hours))
    if bad:
        warm = (hours >= 19.2) & (hours < 20.4)
        case_1[warm] += 5.0
        freezer[(hours >= 18.7) & (hours < 19.75)] += 3.6
        case_2[
            (times_ms > ms("2026-03-02T07:10:00Z")) & (times_ms < ms("2026-03-02T07:52:00Z"))
        ] = np.nan
    gone = ~np.isfinite(case_2)
    fish_2 = _lagged(np.where(gone, 2.0, case_2), 60.0, 1200.0)
    fish_2[gone] = np.nan
    return {
        UnitId("case-1"): Curve(
            times_ms=times_ms,
            measured_c=case_1,
            governing_c=_lagged(case_1, 60.0, 1200.0),
            doors=doors,
            defrosts=tuple(defrosts),
        ),
        UnitId("case-2"): Curve(times_ms=times_ms, measured_c=case_2, governing_c=fish_2),
        UnitId("walk-in"): Curve(times_ms=times_ms, measured_c=walk_in, governing_c=walk_in),
        UnitId("freezer-1"): Curve(times_ms=times_ms, measured_c=freezer, governing_c=freezer),
    }


def summary_of(
    ledger: dict[str, Any], *, of: Shop | None = None, from_ms: int = FROM_MS, to_ms: int = TO_MS
) -> Summary:
    """Return the summary of a night at the shop, or at another one."""
    place = of or shop()
    night = ledger | {"from": iso(from_ms), "to": iso(to_ms)}
    return build_summary(place, ledger_of(night, place), {})


def an_excursion(**more: Any) -> dict[str, Any]:
    """Return a door left open for an hour, as a ledger has it."""
    return {
        "rule": "holding",
        "start": "2026-03-02T08:11:00Z",
        "end": "2026-03-02T09:14:00Z",
        "peak_c": 7.0,
        "above_s": 3540.0,
        "cause": "door",
        "alarmed": True,
        **more,
    }
