"""A file that can't be read, is no TOML, or has the wrong tables: refused by its place."""

from collections.abc import Callable
from pathlib import Path

import pytest

from rimewatch.config import ConfigError, Problem, read_shop

Configuration = Callable[..., str]
Refused = Callable[..., tuple[Problem, ...]]


@pytest.mark.parametrize(
    ("text", "start"),
    [
        ("[shop]\nname 'x'\n", "shop.toml: line 2, column 6 can't be read ("),
        ("[shop]\nname = \n", "shop.toml: line 2, column 8 can't be read ("),
        ("[shop]\nname = 'x\n", "shop.toml: line 2, "),
        ("[shop\n", "shop.toml: line 1, column 6 can't be read ("),
        ("[shop]\nname = '", "shop.toml: line 2, at the end, can't be read ("),
        ("a = " + "9" * 5000, "shop.toml: a number in it can't be read (it is too long)"),
        ("a = " + "[" * 9000, "shop.toml: is nested too deeply"),
    ],
)
def test_text_that_is_not_toml_is_refused_with_line_and_column(
    refused: Refused, text: str, start: str
) -> None:
    """A missing quote is found by its place."""
    (problem,) = refused(text)

    assert problem.text.startswith(start)
    assert "; expected " in problem.text
    assert "\n" not in problem.text


def test_key_written_twice_is_refused_with_its_own_cure(refused: Refused) -> None:
    """Which of the two was meant, only the shop knows."""
    (problem,) = refused("[shop]\nname = 'a'\nname = 'b'\n[unit]\n")

    assert problem.expected == "expected each key and table to be written once"


@pytest.mark.parametrize(
    ("text", "paths"),
    [
        ("", ["shop", "unit"]),
        ("[shop]\nname='a'\ntimezone='UTC'\n[unit]\nid='x'\n", ["unit"]),
        ("shop = 2\nunit = [1]\n", ["shop", "unit[0]"]),
        (
            "broker = 3\npriorities = 3\nnight = 3\nunit = [1]\n[shop]\nname='a'\ntimezone='UTC'\n",
            ["broker", "unit[0]", "night", "priorities"],
        ),
        ("[shop]\nname='a'\ntimezone='UTC'\n", ["unit"]),
    ],
)
def test_tables_missing_or_of_the_wrong_shape_are_refused(
    refused: Refused, text: str, paths: list[str]
) -> None:
    """A shop without units watches nothing."""
    problems = refused(text)

    assert [problem.path for problem in problems] == paths


def test_single_brackets_are_refused_with_double_ones_as_cure(refused: Refused) -> None:
    """The commonest slip of TOML."""
    (problem,) = refused("[shop]\nname='a'\ntimezone='UTC'\n[unit]\nid='x'\n")

    assert problem.text == (
        "shop.toml: unit is written once for all; expected [[unit]] in double brackets for each"
    )


def test_file_that_is_not_there_is_refused_in_one_sentence(tmp_path: Path) -> None:
    """A wrong path is a user's mistake, not a crash."""
    with pytest.raises(ConfigError) as caught:
        read_shop(tmp_path / "shpo.toml", {})

    assert str(caught.value) == (
        "shpo.toml: can't be read (No such file or directory); "
        "expected the path of a readable TOML file"
    )


def test_folder_in_place_of_a_file_is_refused(tmp_path: Path) -> None:
    """A folder is not a configuration."""
    with pytest.raises(ConfigError, match="can't be read"):
        read_shop(tmp_path, {})


def test_file_that_is_not_text_is_refused(tmp_path: Path) -> None:
    """A picture given by mistake says where it stops being text."""
    (tmp_path / "shop.toml").write_bytes(b"name = \xff\xfe")

    with pytest.raises(ConfigError, match=r"is not UTF-8 text \(at byte 7\); expected"):
        read_shop(tmp_path / "shop.toml", {})


def test_file_beyond_any_shop_is_refused(tmp_path: Path) -> None:
    """A trace given in place of the configuration is not read to its end."""
    (tmp_path / "night.jsonl").write_text("#" * 4_000_001, encoding="utf-8")

    with pytest.raises(ConfigError, match="is too large; expected a TOML file"):
        read_shop(tmp_path / "night.jsonl", {})


def test_file_with_byte_order_mark_is_read(tmp_path: Path, configuration: Configuration) -> None:
    """Some editors put one there; it means nothing."""
    (tmp_path / "shop.toml").write_text(configuration(), encoding="utf-8-sig")

    assert read_shop(tmp_path / "shop.toml", {}).name == "Saltmarsh Row Fish"


def test_folder_given_for_the_file_is_named() -> None:
    """A path that ends in no name is said as it was given."""
    with pytest.raises(ConfigError) as refused:
        read_shop(Path("/"), {})

    assert str(refused.value).startswith("/: can't be read (Is a directory)")
