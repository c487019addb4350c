"""A change put into the file's text: comments and order stay, and nothing else is touched."""

import copy
import difflib
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimewatch.config.changing import tables_of
from rimewatch.config.editing import Clash, NotEditable, edited, merged

SHIPPED = (Path(__file__).parents[3] / "config" / "saltmarsh-row.toml").read_text(encoding="utf-8")


def changed_lines(text: str, after: str) -> list[str]:
    """Return the lines that are others, as a diff marks them."""
    diff = difflib.unified_diff(text.splitlines(), after.splitlines(), n=0, lineterm="")
    return [line for line in list(diff)[2:] if line[:1] in "+-"]


def with_change(change: Callable[[dict[str, Any]], None], text: str = SHIPPED) -> list[str]:
    """Return the lines that differ after a change of the tables."""
    after = copy.deepcopy(tables_of(text))
    change(after)
    found = edited(text, after)

    assert tomllib.loads(found) == after
    return changed_lines(text, found)


def test_value_is_changed_and_the_comment_beside_it_stays() -> None:
    """One line of three hundred is another."""

    def change(tables: dict[str, Any]) -> None:
        tables["shop"]["display"] = "C"

    assert with_change(change) == [
        '-display = "F"                       # what people read: "F" or "C"; default "C"',
        '+display = "C"                       # what people read: "F" or "C"; default "C"',
    ]


def test_new_key_stands_with_its_table_and_not_behind_the_next_headline() -> None:
    """The last freezer is followed by the headline of the probes."""

    def change(tables: dict[str, Any]) -> None:
        tables["unit"][4]["on_delay_s"] = 600

    assert with_change(change) == ["+on_delay_s = 600"]
    after = copy.deepcopy(tables_of(SHIPPED))
    change(after)
    assert "limit_c = -60.0\non_delay_s = 600\n\n\n# ---- Probes" in edited(SHIPPED, after)


def test_new_tables_follow_those_of_their_kind() -> None:
    """Whoever reads the file finds them where they look; what is within stands on one line."""

    def change(tables: dict[str, Any]) -> None:
        tables["unit"].append({"id": "case-9", "name": 'Café "Nord"', "kind": "walk-in"})
        tables["probe"].append({"id": "p", "fields": {"value": "t"}})
        tables["messages"] = {"language": "es"}

    assert with_change(change) == [
        "+",
        "+[[unit]]",
        '+id = "case-9"',
        '+name = "Café \\"Nord\\""',
        '+kind = "walk-in"',
        "+[[probe]]",
        '+id = "p"',
        '+fields = {value = "t"}',
        "+",
        "+",
        "+[messages]",
        '+language = "es"',
    ]


def test_probe_taken_out_leaves_every_comment_that_is_not_within_it() -> None:
    """The headline of the next section belongs to nobody's probe."""

    def change(tables: dict[str, Any]) -> None:
        del tables["probe"][-1]

    gone = with_change(change)
    assert all(line.startswith("-") for line in gone)
    assert not [line for line in gone if line.startswith("-#")]


def test_key_taken_away_goes_with_its_line_alone() -> None:
    """An empty field is the default again."""
    text = '[shop]\nsummary_at = "06:30"  # local time\n# every morning\nname = "S"\n'

    def change(tables: dict[str, Any]) -> None:
        del tables["shop"]["summary_at"]

    assert with_change(change, text) == ['-summary_at = "06:30"  # local time']


def test_time_and_date_as_the_file_has_them_stay_so() -> None:
    """They may be written without quotes; a change beside them leaves them."""
    text = '[shop]\nname = "S"\nsummary_at = 06:30:00\nholidays = [2026-12-25]\n'
    after = tables_of(text)
    after["shop"]["name"] = "T"

    assert changed_lines(text, edited(text, after)) == ['-name = "S"', '+name = "T"']


def test_tables_without_a_name_are_told_apart_by_their_place() -> None:
    """Steps of an escalation have none."""
    text = "[[escalation]]\nafter_s = 0 # at once\n\n[[escalation]]\nafter_s = 60\n"

    def change(tables: dict[str, Any]) -> None:
        tables["escalation"][1]["after_s"] = 90
        tables["escalation"].append({"after_s": 300})

    assert with_change(change, text) == [
        "-after_s = 60", "+after_s = 90", "+", "+[[escalation]]", "+after_s = 300"
    ]  # fmt: skip


def test_text_written_in_another_way_is_refused_and_never_guessed_at() -> None:
    """Keys with dots, at the top: there is no table to put a further one into."""
    text = 'shop.name = "Saltmarsh Row Fish"\n'
    with pytest.raises(NotEditable, match="change it in the file"):
        edited(text, {"shop": {"name": "Saltmarsh Row Fish", "timezone": "UTC"}})
    assert tables_of(edited(text, {"shop": {"name": "Other"}})) == {"shop": {"name": "Other"}}


def test_text_that_is_no_toml_is_refused() -> None:
    """It is wrong already; whoever wrote it puts it right."""
    with pytest.raises(ValueError, match="at end of document"):
        edited("[shop", {})


def test_changes_of_two_people_are_put_together_where_they_are_of_different_keys() -> None:
    """Also within lists of tables, by name; and whoever added or took out a probe."""
    base = {"unit": [{"id": "a", "limit_c": 5.0, "lag_s": 0}], "probe": [{"id": "p"}, {"id": "q"}]}
    theirs = {
        "unit": [{"id": "a", "limit_c": 4.0, "lag_s": 0}],
        "probe": [{"id": "p"}, {"id": "q"}, {"id": "r"}],
    }
    ours = {"unit": [{"id": "a", "limit_c": 5.0, "lag_s": 60}], "probe": [{"id": "p"}]}
    found = merged(base, theirs, ours)

    assert found.clashes == ()
    assert found.tables == {
        "unit": [{"id": "a", "limit_c": 4.0, "lag_s": 60}],
        "probe": [{"id": "p"}, {"id": "r"}],
    }


def test_one_key_changed_by_two_is_a_clash_that_names_both_values() -> None:
    """Nobody's is dropped in silence; a step has no name, so its list is one value."""
    base = {"unit": [{"id": "a", "limit_c": 5.0}], "escalation": [{"after_s": 0}]}
    theirs = {"unit": [{"id": "a", "limit_c": 4.0}], "escalation": [{"after_s": 60}]}
    ours = {"unit": [{"id": "a"}], "escalation": []}

    assert merged(base, theirs, ours).clashes == (
        Clash(("unit", "a", "limit_c"), 4.0, None),
        Clash(("escalation",), [{"after_s": 60}], []),
    )
    assert merged(base, base, ours).tables == ours
    assert merged(base, theirs, base).tables == theirs


VALUES = st.one_of(
    st.booleans(),
    st.integers(-1000, 1000),
    st.floats(-1e6, 1e6),
    st.text(max_size=20),
    st.lists(st.text(max_size=5), max_size=3),
)
KEYS = st.sampled_from(["id", "name", "limit_c", "lag_s", "x", "y-z"])
TABLE = st.dictionaries(KEYS, VALUES, max_size=4)
WHOLE = st.fixed_dictionaries(
    {},
    optional={
        "shop": TABLE,
        "night": TABLE,
        "unit": st.lists(TABLE, min_size=1, max_size=3),
        "escalation": st.lists(TABLE, min_size=1, max_size=3),
    },
)


@settings(max_examples=150)
@given(base=WHOLE, after=WHOLE)
def test_edited_text_says_what_it_should_or_is_refused(
    base: dict[str, Any], after: dict[str, Any]
) -> None:
    """Whatever is changed: never a third meaning, and no comment at the top is lost."""
    text = "# The shop's own words.\n" + edited("", base)
    try:
        found = edited(text, after)
    except NotEditable:
        return
    assert tomllib.loads(found) == after
    assert found.startswith("# The shop's own words.\n")
