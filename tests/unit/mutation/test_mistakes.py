"""The tool that tests the tests: it makes the mistakes it says, one at a time, and no others."""

import ast

import pytest

from mutation.__main__ import found_again
from mutation.mistakes import mistakes_in


def made_of(source: str) -> list[str]:
    """Return what each mistake makes of a source."""
    return [ast.unparse(found.made_in(source)) for found in mistakes_in(source, "m.py")]


@pytest.mark.parametrize(
    ("source", "wrong"),
    [
        ("a < b", ["a <= b", "a >= b"]),
        ("a == b", ["a != b"]),
        ("a is None", ["a is not None"]),
        ("a and b", ["a or b"]),
        ("not a", ["a"]),
        ("a + b", ["a - b"]),
        ("x = 5", ["x = 6"]),
        ("x = 0.5", ["x = 1.5"]),
        ("x = True", ["x = False"]),
        ("min(a, b)", ["max(a, b)"]),
        ("a if b else c", ["c if b else a"]),
        ("[a for a in b if c]", ["[a for a in b]"]),
        ("if a:\n    x", ["if not a:\n    x"]),
    ],
)
def test_mistakes_are_those_a_hand_makes(source: str, wrong: list[str]) -> None:
    """Each once, and the rest of the source as it was."""
    found = [text for text in made_of(source) if not text.endswith("pass")]

    assert found == wrong


def test_mistakes_leave_out_statements_and_return_nothing() -> None:
    """Within a function."""
    source = "def f(a):\n    a.b = c\n    g(a)\n    a += b\n    return a"

    assert made_of(source) == [
        "def f(a):\n    pass\n    g(a)\n    a += b\n    return a",
        "def f(a):\n    a.b = c\n    pass\n    a += b\n    return a",
        "def f(a):\n    a.b = c\n    g(a)\n    a -= b\n    return a",
        "def f(a):\n    a.b = c\n    g(a)\n    pass\n    return a",
        "def f(a):\n    a.b = c\n    g(a)\n    a += b\n    return None",
    ]


def test_nothing_is_made_of_texts_annotations_and_asserts() -> None:
    """A mistake there changes nothing that a shop could notice."""
    source = (
        'x: int | None\n"""Says what."""\nassert x > 1, "no"\n\n@d(slots=True)\nclass C:\n    "C."'
    )

    assert made_of(source) == []


def test_mistake_knows_the_lines_it_stands_in_and_whether_they_run_at_import() -> None:
    """Whose tests are to be run hangs on it."""
    source = "X = 1\n\ndef f(\n    a=2,\n):\n    if (\n        a == 3\n    ):\n        return 4"
    found = {
        each.text.split("  ->")[0]: (each.lines, each.runs_at_import)
        for each in mistakes_in(source, "m.py")
    }

    assert found["1"] == ((1,), True)
    assert found["2"] == ((3, 4, 5), True)
    assert found["a == 3"] == ((6, 7, 8), False)
    assert found["4"] == ((9,), False)


def test_survivors_are_found_again_where_the_code_before_them_has_moved() -> None:
    """The nearest of the same text, each once; what is gone with its code is left out."""
    before = "a < b\nx = 5\nx = 5"
    after = "y = 1\n\nx = 5\nx = 5"
    names = [each.name for each in mistakes_in(before, "m.py")]

    found = found_again(names, mistakes_in(after, "m.py"))

    assert [each.name for each in found] == ["m.py:3: 5  ->  6", "m.py:4: 5  ->  6"]
