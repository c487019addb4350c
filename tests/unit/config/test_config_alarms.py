"""Rotas, pages, stakes, words and the heartbeat: read, or refused with the exact hours."""

from collections.abc import Callable
from datetime import date, time
from pathlib import Path

import pytest

from rimewatch.config import ConfigError, Problem, load_shop, warnings_of

Configuration = Callable[..., str]
Refused = Callable[..., tuple[Problem, ...]]

NIGHT_AND_DAY = """
[[rota]]
id = "on-call"
from = "08:00"
to = "20:00"
contacts = ["first"]
[[rota]]
id = "on-call"
from = "20:00"
to = "08:00"
contacts = ["first"]
"""


def test_rota_named_by_an_escalation_step_is_read(configuration: Configuration) -> None:
    """A step may ask for whoever is on call."""
    text = configuration(NIGHT_AND_DAY, escalation={"contacts": '["on-call"]'})
    shop = load_shop(text)

    assert shop.escalation[0].contacts == ("on-call",)
    assert [(shift.begins, shift.ends) for shift in shop.shifts] == [
        (time(8), time(20)),
        (time(20), time(8)),
    ]
    assert not [said for said in warnings_of(shop) if "rota" in said or "first" in said]


def test_rota_with_an_hour_uncovered_is_refused_with_the_exact_hours(
    configuration: Configuration, refused: Refused
) -> None:
    """An hour in which nobody would be woken is found before that hour comes."""
    shifts = NIGHT_AND_DAY.replace('to = "08:00"', 'to = "06:30"').replace(
        'from = "08:00"', 'days = ["mon", "tue", "wed", "thu", "fri"]\nfrom = "08:00"'
    )
    (problem,) = refused(configuration(shifts))

    assert problem.path == "rota[0]"
    assert "nobody on call Mon 06:30 to Mon 08:00" in problem.text
    assert "Sat 06:30 to Sat 20:00 and 1 more" in problem.text


def test_rota_with_a_holiday_uncovered_is_refused_with_its_date(
    configuration: Configuration, refused: Refused
) -> None:
    """The holidays' own shifts may leave a gap that no plain week has."""
    holiday = """
[[rota]]
id = "on-call"
days = ["holiday"]
from = "09:00"
to = "21:00"
contacts = ["first"]
"""
    text = configuration(NIGHT_AND_DAY + holiday, shop={"holidays": '["2026-12-25"]'})
    (problem,) = refused(text)

    assert "2026-12-25 08:00 to 2026-12-25 09:00" in problem.text
    assert "2026-12-25 21:00 to 2026-12-26 08:00" in problem.text


@pytest.mark.parametrize(
    ("before", "after", "path", "cure"),
    [
        ('contacts = ["first"]', 'contacts = ["frist"]', "rota[0].contacts[0]", '"first"'),
        ('id = "on-call"', 'id = "first"', "rota[0].id", "a name of its own"),
        ('from = "08:00"', 'from = "8"', "rota[0].from", "HH:MM"),
        ('id = "on-call"', 'id = "on-call"\ndays = ["sunday"]', "rota[0].days[0]", '"sun"'),
    ],
)
def test_rota_mistake_is_refused_at_its_key(
    configuration: Configuration, refused: Refused, before: str, after: str, path: str, cure: str
) -> None:
    """Each slip is named with its place and its cure."""
    problems = refused(configuration(NIGHT_AND_DAY.replace(before, after, 1)))

    assert path in [problem.path for problem in problems]
    assert cure in "".join(problem.text for problem in problems)


def test_holidays_are_local_dates_written_either_way(configuration: Configuration) -> None:
    """In quotes, or as TOML's own."""
    text = configuration(shop={"holidays": '["2026-12-25", 2027-01-01]'})

    assert load_shop(text).holidays == {date(2026, 12, 25), date(2027, 1, 1)}


@pytest.mark.parametrize(
    ("key", "value", "cure"),
    [
        ("url", '"rime.example.com"', "https://HOST"),
        ("url", '"https://rime.example.com/?a=1"', "https://HOST"),
        ("url", '"ftp://rime.example.com"', "https://HOST"),
        ("url", '"https://rime.example.com/lots"', "none of the pages' own"),
        ("path", '"rimewatch"', '"/rimewatch"'),
        ("path", '"/rime watch"', '"/rimewatch"'),
        ("path", '"/../rimewatch"', '"/rimewatch"'),
        ("path", '"//rimewatch"', '"/rimewatch"'),
        ("path", '"/unit"', "none of the pages' own"),
        ("listen", '"8080"', "127.0.0.1:8080"),
        ("listen", '"127.0.0.1:0"', "1 to 65535"),
        ("listen", '"127.0.0.1:70000"', "1 to 65535"),
    ],
)
def test_web_address_that_cannot_be_is_refused(
    configuration: Configuration, refused: Refused, key: str, value: str, cure: str
) -> None:
    """A link that leads nowhere is found before the night."""
    (problem,) = refused(configuration(f"[web]\n{key} = {value}\n"))

    assert problem.path == f"web.{key}"
    assert cure in problem.text


def test_web_defaults_to_this_machine_alone(configuration: Configuration) -> None:
    """Nobody's pages are open to the street by an oversight."""
    web = load_shop(configuration('[web]\nurl = "https://rime.example.com/"\n')).web

    assert web is not None
    assert (web.url, web.host, web.port) == ("https://rime.example.com", "127.0.0.1", 8080)
    assert load_shop(configuration()).web is None


def test_path_of_the_pages_is_that_of_their_address(configuration: Configuration) -> None:
    """It is said once."""
    web = load_shop(configuration('[web]\nurl = "https://example.com/rimewatch/"\n')).web

    assert web is not None
    assert (web.url, web.path) == ("https://example.com/rimewatch", "/rimewatch")


@pytest.mark.parametrize("url", ["https://example.com", "https://example.com/other"])
def test_path_that_is_not_that_of_the_address_is_refused(
    configuration: Configuration, refused: Refused, url: str
) -> None:
    """Links in messages and links on the pages would lead to different places."""
    text = f'[web]\nurl = "{url}"\npath = "/rimewatch"\n'
    (problem,) = refused(configuration(text))

    assert problem.path == "web.path"
    assert "https://example.com/rimewatch" in problem.text


def test_unencrypted_web_address_is_worth_a_look(configuration: Configuration) -> None:
    """Allowed in a shop's own network; said all the same."""
    shop = load_shop(configuration('[web]\nurl = "http://192.168.1.5:8080"\n'))

    assert any("not encrypted" in said for said in warnings_of(shop))


def test_heartbeat_address_is_resolved_and_never_shown(
    configuration: Configuration, refused: Refused
) -> None:
    """Whoever knows it could pretend that all is well."""
    text = configuration(watch={"heartbeat_url": '"env:RIMEWATCH_BEAT"'})
    shop = load_shop(text, {"RIMEWATCH_BEAT": "https://beat.example.com/s3cret"})

    assert shop.self_watch.heartbeat_url == "https://beat.example.com/s3cret"
    assert "s3cret" not in repr(shop.self_watch)
    (problem,) = refused(text, {"RIMEWATCH_BEAT": "s3cret-without-scheme"})
    assert "s3cret" not in problem.text
    (problem,) = refused(text, {})
    assert "RIMEWATCH_BEAT" in problem.text


def test_messages_folder_without_its_file_is_refused(
    configuration: Configuration, tmp_path: Path
) -> None:
    """The shop's own words are found missing before they are needed."""
    text = configuration('[messages]\nfolder = "texts"\n')
    with pytest.raises(ConfigError, match=r"messages.toml can't be read"):
        load_shop(text, folder=tmp_path)
    (tmp_path / "texts").mkdir()
    (tmp_path / "texts" / "messages.toml").write_text('[first]\ndoor = "Shut it."\n')

    assert load_shop(text, folder=tmp_path).messages.overrides == {"first": {"door": "Shut it."}}


def test_acknowledgement_lasts_as_long_as_the_shop_says(
    configuration: Configuration, refused: Refused
) -> None:
    """Four hours unless it says otherwise: FDA Food Code 2022, 3-501.19(B)."""
    assert load_shop(configuration()).acknowledged_for_s == 4 * 3600
    shop = load_shop(configuration(shop={"acknowledged_for_h": "1.5"}))
    assert shop.acknowledged_for_s == 5400
    (problem,) = refused(configuration(shop={"acknowledged_for_h": "30"}))
    assert problem.path == "shop.acknowledged_for_h"
