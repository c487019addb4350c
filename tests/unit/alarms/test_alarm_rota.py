"""Who is on call: by weekday, hour and holiday, to the minute of the hand-over."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time
from typing import Any

import pytest
from freezegun import freeze_time

from rimewatch.alarms.rota import Gap, RotaPolicy, first_told, gaps, told_by, whom
from rimewatch.shop import Contact, Shift
from rimewatch.vocabulary import About, ContactId

ON_CALL = ContactId("on-call")
EVERY_DAY = frozenset(range(7))
CHRISTMAS = date(2026, 12, 25)


def instant_ms(text: str) -> int:
    """Return an ISO 8601 instant as milliseconds UTC."""
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def shift(
    who: str,
    begins: str,
    ends: str,
    days: frozenset[int] = EVERY_DAY,
    *,
    on_holidays: bool = False,
) -> Shift:
    """Return a shift of the one rota."""
    return Shift(
        rota=ON_CALL,
        days=days,
        on_holidays=on_holidays,
        begins=time.fromisoformat(begins),
        ends=time.fromisoformat(ends),
        contacts=tuple(ContactId(name) for name in who.split()),
    )


def rota(
    *shifts: Shift, holidays: frozenset[date] = frozenset(), zone: str = "America/Chicago"
) -> RotaPolicy:
    """Return a rota of some shifts."""
    return RotaPolicy(shifts, holidays, zone)


def on_call(policy: RotaPolicy, at: str) -> str:
    """Return who is on call at an ISO 8601 instant, with its offset."""
    return " ".join(policy.on_call(ON_CALL, instant_ms(at)))


DAY_AND_NIGHT = (shift("anna", "08:00", "20:00"), shift("ben", "20:00", "08:00"))


@pytest.mark.parametrize(
    ("at", "who"),
    [
        ("2026-03-03T19:59:59-06:00", "anna"),
        ("2026-03-03T20:00:00-06:00", "ben"),
        ("2026-03-04T07:59:59-06:00", "ben"),
        ("2026-03-04T08:00:00-06:00", "anna"),
    ],
)
def test_hand_over_is_at_its_wall_time_to_the_second(at: str, who: str) -> None:
    """Nobody is on call for a minute of the other's time."""
    assert on_call(rota(*DAY_AND_NIGHT), at) == who


@pytest.mark.parametrize(
    ("at", "who"),
    [
        ("2026-03-08T01:59:59-06:00", "ben"),  # before the clocks go forward
        ("2026-03-08T03:00:00-05:00", "carl"),  # a second later
        ("2026-11-01T01:59:59-05:00", "ben"),  # the doubled hour, first time
        ("2026-11-01T01:00:00-06:00", "ben"),  # and again
        ("2026-11-01T01:59:59-06:00", "ben"),
        ("2026-11-01T02:00:00-06:00", "carl"),
    ],
)
def test_clock_change_leaves_no_instant_without_anybody(at: str, who: str) -> None:
    """A hand-over at 02:30, which one night does not have and another passes but once."""
    policy = rota(shift("ben", "20:00", "02:00"), shift("carl", "02:00", "20:00"))
    with freeze_time(datetime(2030, 6, 1, tzinfo=UTC)):  # the machine's clock is not asked
        assert on_call(policy, at) == who


def test_every_minute_of_both_clock_changes_has_somebody() -> None:
    """26 hours from the evening before, each minute, both nights."""
    policy = rota(*DAY_AND_NIGHT)
    for evening in ("2026-03-07T18:00:00-06:00", "2026-10-31T18:00:00-05:00"):
        start_ms = instant_ms(evening)
        for minute in range(26 * 60):
            at_ms = start_ms + minute * 60_000
            local = datetime.fromtimestamp(at_ms / 1000, UTC)
            assert len(policy.on_call(ON_CALL, at_ms)) == 1, local


def test_shift_over_midnight_belongs_to_the_day_it_begins() -> None:
    """Friday's night lasts into Saturday morning; Saturday's own begins in the evening."""
    friday, others = frozenset({4}), EVERY_DAY - {4}
    policy = rota(shift("ben", "20:00", "08:00", friday), shift("dora", "20:00", "08:00", others))

    assert on_call(policy, "2026-03-07T03:00:00-06:00") == "ben"
    assert on_call(policy, "2026-03-07T21:00:00-06:00") == "dora"


def test_holiday_has_its_own_shifts_until_they_end() -> None:
    """Who is on call on Christmas hands over the next morning."""
    policy = rota(
        *DAY_AND_NIGHT,
        shift("eve", "08:00", "08:00", frozenset(), on_holidays=True),
        holidays=frozenset({CHRISTMAS}),
    )

    assert on_call(policy, "2026-12-25T07:00:00-06:00") == "ben"  # Christmas Eve's night shift
    assert on_call(policy, "2026-12-25T12:00:00-06:00") == "eve"
    assert on_call(policy, "2026-12-26T07:59:00-06:00") == "eve"
    assert on_call(policy, "2026-12-26T08:00:00-06:00") == "anna"


def test_holiday_without_shifts_of_its_own_is_a_day_like_any_other() -> None:
    """A list of holidays alone leaves nobody without a phone."""
    policy = rota(*DAY_AND_NIGHT, holidays=frozenset({CHRISTMAS}))

    assert on_call(policy, "2026-12-25T12:00:00-06:00") == "anna"


def test_gap_tells_everybody_of_the_rota() -> None:
    """The check refuses gaps; if one is left all the same, silence is the worse mistake."""
    policy = rota(shift("anna", "08:00", "12:00"), shift("ben", "13:00", "08:00"))

    assert on_call(policy, "2026-03-03T12:30:00-06:00") == "anna ben"


def test_two_on_call_at_once_are_both_told_once() -> None:
    """Shifts may overlap; nobody's phone rings twice for one message."""
    policy = rota(shift("anna ben", "00:00", "00:00"), shift("ben", "20:00", "08:00"))

    ids = (ON_CALL, ContactId("ben"), ContactId("owner"))
    at_ms = instant_ms("2026-03-03T22:00:00-06:00")
    assert policy.resolved(ids, at_ms) == ("anna", "ben", "owner")


@pytest.mark.parametrize(
    ("shifts", "expected"),
    [
        (DAY_AND_NIGHT, []),
        ((shift("anna", "00:00", "00:00"),), []),
        (
            (shift("anna", "08:00", "20:00"), shift("ben", "20:30", "08:00")),
            [
                (f"{day} 20:00", f"{day} 20:30")
                for day in ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
            ],
        ),
        (
            (shift("anna", "08:00", "08:00", frozenset(range(5))),),
            [("Sat 08:00", "Mon 08:00")],
        ),
        (
            (shift("anna", "00:00", "00:00", EVERY_DAY - {0, 6}),),
            [("Sun 00:00", "Tue 00:00")],
        ),
        (
            (shift("anna", "00:00", "00:00", frozenset(), on_holidays=True),),
            [("Mon 00:00", "Mon 00:00")],
        ),
    ],
)
def test_gaps_of_a_week_are_told_to_the_minute(
    shifts: tuple[Shift, ...], expected: list[tuple[str, str]]
) -> None:
    """The exact hours in which nobody would be woken."""
    assert list(gaps(shifts, [])) == [Gap(*pair) for pair in expected]


def test_gaps_about_a_holiday_name_its_date() -> None:
    """A holiday shift that ends at eight in the evening leaves the night to nobody."""
    shifts = (*DAY_AND_NIGHT, shift("eve", "08:00", "20:00", frozenset(), on_holidays=True))

    assert list(gaps(shifts, [CHRISTMAS])) == [Gap("2026-12-25 20:00", "2026-12-26 08:00")]


def test_repeat_after_the_hand_over_goes_to_whoever_has_taken_over(
    open_desk: Callable[..., Any], shop_of: Callable[..., Any], step: Callable[..., Any]
) -> None:
    """Raised to Anna at 19:50; the repeat at 20:05 rings Ben; both hear that it is over."""
    shop = replace(shop_of(step(0, "on-call", 900)), shifts=DAY_AND_NIGHT)
    desk = open_desk(shop, "2026-03-04")  # UTC clock times; Chicago is six hours behind
    desk.wrong("01:50:00")
    desk.until("02:10:00")
    desk.right("02:20:00")

    told = [(send.about, send.contact) for send in desk.sent]
    assert told == [
        (About.RAISED, "anna"),
        (About.REPEAT, "ben"),
        (About.RETURNED, "anna"),
        (About.RETURNED, "ben"),
    ]


def test_gap_of_every_week_is_told_once_and_not_again_for_each_holiday() -> None:
    """Christmas, a Friday, is no day of the rota's own: its hour without anybody is known."""
    every_noon = [
        Gap(f"{day} 12:00", f"{day} 13:00")
        for day in ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    ]
    shifts = (shift("anna", "08:00", "12:00"), shift("ben", "13:00", "08:00"))

    assert list(gaps(shifts, [CHRISTMAS])) == every_noon


def test_gap_of_the_second_of_two_holidays_is_told_once() -> None:
    """It is the day after the first as well as a holiday itself."""
    shifts = (*DAY_AND_NIGHT, shift("eve", "00:00", "20:00", frozenset(), on_holidays=True))
    both = [CHRISTMAS, date(2026, 12, 26)]

    assert list(gaps(shifts, both)) == [
        Gap("2026-12-25 20:00", "2026-12-26 00:00"),
        Gap("2026-12-26 20:00", "2026-12-27 08:00"),
    ]


def test_names_that_can_be_told_are_the_contacts_and_then_the_rotas(
    shop_of: Callable[..., Any], step: Callable[..., Any]
) -> None:
    """A test alarm may be sent to a person, or to whoever has the phone now."""
    people = tuple(
        Contact(id=ContactId(name), name=name, urls=("json://127.0.0.1:9000/",))
        for name in ("owner", "anna", "ben")
    )
    shop = replace(shop_of(step(0, "on-call")), contacts=people, shifts=DAY_AND_NIGHT)
    evening_ms = instant_ms("2026-03-03T21:00:00-06:00")

    assert whom(shop) == ("owner", "anna", "ben", "on-call")
    assert told_by(shop, "on-call", evening_ms) == ("ben",)
    assert told_by(shop, "owner", evening_ms) == ("owner",)
    assert first_told(shop, evening_ms) == ("ben",)
