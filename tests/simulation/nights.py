"""Nights written by hand: what a chance week seldom holds in full.

Each begins at noon in the shop; hours count from there, so that 10 is ten at night.
"""

import random
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from simulation.plan import Fault, Kind
from simulation.plant import FREEZER, UNITS, Setup, Trouble, course
from simulation.week import Hold, Week, messages_of
from simulation.world import HOUR, MINUTE, S

CASE_1: Final = ("case-1",)
CASE_2: Final = ("case-2",)
COLD: Final = (FREEZER,)
WINTER: Final = "2026-01-12T18:00:00Z"
FORWARD: Final = "2026-03-07T18:00:00Z"
"""In this night the clock goes forward."""
BACK: Final = "2026-10-31T17:00:00Z"


def night(
    troubles: Sequence[tuple[str, tuple[str, ...], float, float]],
    *,
    start: str = WINTER,
    deeds: Sequence[tuple[float, str]] = (),
    reloads: Sequence[tuple[float, str]] = (),
    faults: Sequence[tuple[float, Kind, int]] = (),
    holds: Sequence[tuple[float, str]] = (),
    hours: int = 24,
) -> Week:
    """Return a night.

    Args:
        troubles: What goes wrong, where, from and to which hour.
        start: Its noon, UTC.
        deeds: When somebody looks, and what they do of what stands.
        reloads: When the shop is configured anew, and what is other then.
        faults: When the service, the link or the phones fail, and for how many seconds.
        holds: When a lot is put to freeze, and by which option.
        hours: How long it lasts.
    """
    start_ms = round(datetime.fromisoformat(start).timestamp() * S)

    def at_ms(hour: float) -> int:
        return start_ms + round(hour * HOUR)

    wrong = [
        Trouble(what=what, units=units, from_ms=at_ms(from_h), to_ms=at_ms(to_h))
        for what, units, from_h, to_h in troubles
    ]
    chance, every_ms = random.Random("night"), 2 * MINUTE
    courses = {
        unit: course(
            unit,
            wrong,
            set_c=-26.0 if unit == FREEZER else 1.0,
            start_ms=start_ms,
            steps=hours * HOUR // every_ms,
            every_ms=every_ms,
            chance=chance,
        )
        for unit in UNITS
    }
    setup = Setup(zone="America/Chicago", every_s=every_ms // S)
    return Week(
        seed=1,
        start_ms=start_ms,
        shop=setup.shop(),
        heals_ms=(hours - 1) * HOUR,
        ends_ms=hours * HOUR,
        messages=messages_of(chance, courses, wrong, start_ms, every_ms),
        by_hand=(),
        faults=[
            Fault(kind=kind, at_ms=round(hour * HOUR), for_ms=for_s * S, number=1, place="all")
            for hour, kind, for_s in faults
        ],
        setup=setup,
        every_ms=every_ms,
        courses=courses,
        troubles=tuple(wrong),
        reloads=tuple((at_ms(hour), what) for hour, what in reloads),
        deeds=tuple((at_ms(hour), what) for hour, what in deeds),
        holds=tuple(
            Hold(lot=f"L{n}", option=option, from_ms=at_ms(hour))
            for n, (hour, option) in enumerate(holds)
        ),
    )


def two_units_and_one_recovers() -> Week:
    """The other's compressor does not start again."""
    return night([("power", UNITS, 10, 12), ("compressor", CASE_2, 12, 18)])


def freezer_and_cases_without_power() -> Week:
    """Acknowledged early, and out until the morning."""
    return night([("power", UNITS, 10, 20)], deeds=[(10.8, "acknowledge")], holds=[(1, "20C-168h")])


def loss_of_power_is_shelved() -> Week:
    """Before the fish passes its limit."""
    return night([("power", UNITS, 10, 16)], deeds=[(10.8, "shelve")])


def reload_while_acknowledged() -> Week:
    """Another name, another contact, another limit."""
    return night(
        [("compressor", CASE_1, 10, 18)],
        deeds=[(11.5, "acknowledge")],
        reloads=[(12, "name"), (12.5, "contact"), (13, "limit")],
    )


def acknowledged_for_hours() -> Week:
    """Once past ten degrees there is no line for long: time alone ends it."""
    return night([("compressor", CASE_1, 9, 19)], deeds=[(12.2, "acknowledge")])


def clocks_go_forward() -> Week:
    """A promise is made in the hour that is left out."""
    return night([("compressor", CASE_1, 13, 18)], start=FORWARD, deeds=[(14.5, "promise")])


def clocks_go_back() -> Week:
    """And one in the hour that comes twice."""
    return night([("compressor", CASE_2, 12, 18)], start=BACK, deeds=[(13.7, "promise")])


def clock_falls_back_and_resumes() -> Week:
    """While the fish warms."""
    return night([("slow", CASE_2, 10, 14), ("compressor", CASE_2, 10.5, 13)])


def probe_replaced_while_warm() -> Week:
    """The new one knows nothing of the old one's excursion."""
    return night([("compressor", CASE_1, 10, 16)], reloads=[(11.5, "probe"), (12.3, "probe")])


def probe_replaced_without_power() -> Week:
    """The new one knows no usual air."""
    return night([("power", UNITS, 10, 15)], reloads=[(11.2, "probe")])


def silent_while_warm_and_back() -> Week:
    """Nobody knows for three hours."""
    return night([("compressor", CASE_2, 10, 16), ("silence", CASE_2, 12, 15)])


def silent_all_while_one_dies() -> Week:
    """A compressor stops when nobody can see it."""
    return night([("silence", UNITS, 10, 14), ("compressor", CASE_1, 10.5, 18)])


def service_dies_as_power_goes() -> Week:
    """For half an hour; the machine has a battery of its own, or power comes back to it."""
    return night([("power", UNITS, 10, 15)], faults=[(10.05, Kind.KILL_WAITING, 1800)])


def service_dies_while_fish_is_warm() -> Week:
    """Nobody has acknowledged: the new process goes on telling."""
    return night([("compressor", CASE_1, 9, 18)], faults=[(12.5, Kind.KILL_WAITING, 60)])


def two_compressors_die_apart() -> Week:
    """An hour and a half lies between them, and the power is on."""
    return night([("compressor", CASE_1, 10, 17), ("compressor", CASE_2, 11.5, 17)])


def phones_refuse_for_half_an_hour() -> Week:
    """Just when a freezer is called too warm."""
    return night(
        [("compressor", COLD, 9, 18)],
        faults=[(10.0, Kind.PUSH_500, 1800), (11.0, Kind.PUSH_500, 1800)],
        holds=[(1, "20C-24h")],
    )


def sound_night() -> Week:
    """Doors by day, defrosts by night, restarts, another contact: nobody hears of anything."""
    return night(
        [("defrost", CASE_1, h, h + 0.23) for h in (1.0, 9.0, 17.0)]
        + [("defrost", CASE_2, h, h + 0.23) for h in (4.0, 12.0, 20.0)]
        + [("door", CASE_1, 2.5, 2.56), ("door", CASE_2, 6.1, 6.17), ("gap", COLD, 13, 13.03)],
        reloads=[(11, "contact"), (14, "")],
        faults=[(12.1, Kind.RESTART, 5), (15.5, Kind.KILL_WAITING, 30)],
    )


NIGHTS: Final = {
    make.__name__: make
    for make in (
        two_units_and_one_recovers,
        freezer_and_cases_without_power,
        loss_of_power_is_shelved,
        reload_while_acknowledged,
        acknowledged_for_hours,
        clocks_go_forward,
        clocks_go_back,
        clock_falls_back_and_resumes,
        probe_replaced_while_warm,
        probe_replaced_without_power,
        silent_while_warm_and_back,
        silent_all_while_one_dies,
        service_dies_as_power_goes,
        service_dies_while_fish_is_warm,
        two_compressors_die_apart,
        phones_refuse_for_half_an_hour,
        sound_night,
    )
}
