"""Every setting there is has its place on a page, or a reason why not; and reads back as shown."""

from collections.abc import Iterator
from types import NoneType
from typing import Any, get_args, get_origin

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimewatch.config.table import Table
from rimewatch.config.tables import File
from rimewatch.config.translate import INNER_TABLES, keys_of
from rimewatch.vocabulary import Scale
from rimewatch.web.setting_kinds import Degrees, Difference, NotRead, Number, Window
from rimewatch.web.setting_subjects import NOT_ON_A_PAGE, SUBJECTS, Field, Subject, subject_of

SPREAD = ("fields",)
"""Tables within a table whose keys a page asks for one by one."""


def model_of(annotation: Any) -> tuple[type[Table], bool]:
    """Return the model of one of the file's tables, and whether there may be several."""
    models = [m for m in get_args(annotation) if m is not NoneType] or [annotation]
    return models[0], get_origin(annotation) is list


def every_key() -> Iterator[tuple[str, str]]:
    """Yield table and key of every setting, by the one declaration of the configuration."""
    for table, info in File.model_fields.items():
        model, _ = model_of(info.annotation)
        for key in keys_of(model):
            inner = keys_of(INNER_TABLES[key]) if key in SPREAD else [""]
            yield from ((table, f"{key}.{name}".rstrip(".")) for name in inner)


def on_a_page(table: str, key: str) -> bool:
    """Return whether a page asks for a setting."""
    subject = subject_of(table)
    return subject is not None and subject.field(key) is not None


def test_every_setting_is_on_a_page_or_has_a_reason_why_not() -> None:
    """A key that is added to the configuration fails here until somebody decided."""
    undecided = [
        f"{table}.{key}"
        for table, key in every_key()
        if on_a_page(table, key) == (f"{table}.{key}" in NOT_ON_A_PAGE)
    ]

    assert undecided == []


def test_most_settings_are_on_a_page() -> None:
    """81 of 104; the rest is the broker, the pages' own address, the mirror, files and ids."""
    every = list(every_key())
    reached = [each for each in every if on_a_page(*each)]

    assert len(reached) / len(every) > 0.75
    assert {name.partition(".")[0] for name in NOT_ON_A_PAGE} == {
        "unit", "probe", "contact", "broker", "web", "mirror", "messages"
    }  # fmt: skip


def test_pages_ask_for_no_setting_that_there_is_not() -> None:
    """A key that goes from the configuration goes from the pages."""
    there = {f"{table}.{key}" for table, key in every_key()}
    asked = {f"{subject.table}.{field.key}" for subject in SUBJECTS for field in subject.fields}

    assert asked | NOT_ON_A_PAGE.keys() == there


@pytest.mark.parametrize("subject", SUBJECTS, ids=lambda s: s.table)
def test_subjects_are_as_many_as_the_file_has_tables_of_them(subject: Subject) -> None:
    """A list of what there is one of would lead nowhere."""
    _, is_many = model_of(File.model_fields[subject.table].annotation)

    assert subject.is_many == is_many


@pytest.mark.parametrize(
    "field", [f for s in SUBJECTS for f in s.fields], ids=lambda field: field.label
)
def test_each_field_explains_itself_without_the_files_own_words(field: Field) -> None:
    """No key, no unit suffix, no brackets of a table in what a shopkeeper reads."""
    said = f"{field.label} {field.help} {field.usual}"

    assert "_" not in said
    assert "[" not in said
    assert field.label[0].isupper()


@given(st.floats(-90, 60), st.sampled_from([Scale.CELSIUS, Scale.FAHRENHEIT]))
def test_temperature_that_was_shown_and_typed_again_is_what_it_was(
    celsius: float, scale: Scale
) -> None:
    """To the two decimals that are shown; 1 °C is 1.8 °F, from 32 (NIST SP 811, B.8)."""
    kind = Degrees(5.0)
    shown = kind.show(celsius, scale)

    assert kind.read(shown, scale) == pytest.approx(celsius, abs=0.0051)
    assert kind.show(kind.read(shown, scale), scale) == shown


@pytest.mark.parametrize(
    ("typed", "celsius"), [("41", 5.0), ("−4", -20.0), ("-0,4", -18.0), ("32 ", 0.0)]
)
def test_fahrenheit_is_typed_with_either_minus_and_a_comma(typed: str, celsius: float) -> None:
    """Phones in other languages have a comma where the point is."""
    assert Degrees(5.0).read(typed, Scale.FAHRENHEIT) == pytest.approx(celsius)


def test_difference_has_no_thirty_two_in_it() -> None:
    """Half a degree Celsius is nine tenths of a degree Fahrenheit."""
    assert Difference(0.5).show(0.5, Scale.FAHRENHEIT) == "0.9"
    assert Difference(0.5).read("0.9", Scale.FAHRENHEIT) == pytest.approx(0.5)


@pytest.mark.parametrize("typed", ["", "nan", "inf", "1e400", "ten", "4 1"])
def test_what_is_no_number_is_said_to_be_none(typed: str) -> None:
    """With what would do."""
    with pytest.raises(NotRead, match="minutes, such as 15"):
        Number("minutes", 15, each=60.0).read(typed, Scale.CELSIUS)


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("02:00 for 25m", "02:00/25m"),
        ("2:00 25", "02:00/25m"),
        ("14:30/1h", "14:30/1h"),
        ("20:00 for 90 s", "20:00/90s"),
        ("02:00 for 25 minutes", "02:00/25m"),
    ],
)
def test_defrost_is_typed_as_people_say_it(typed: str, kept: str) -> None:
    """And shown as it is typed."""
    assert Window().read(typed, Scale.CELSIUS) == kept
    assert Window().read(Window().show(kept, Scale.CELSIUS), Scale.CELSIUS) == kept
