"""The small notations: what is nearly right is refused, for a guess could move an hour."""

from collections.abc import Callable

import pytest

from rimewatch.config.notation import defrost, local_date, local_time


@pytest.mark.parametrize(
    ("parse", "text"), [(local_time, "06:30"), (local_date, "2026-12-25"), (defrost, "02:00/25m")]
)
@pytest.mark.parametrize("around", ["{}\n", "\n{}", " {}", "{} ", "{}x", "{}\r\n"])
def test_text_with_anything_around_it_is_refused(
    parse: Callable[[object], object], text: str, around: str
) -> None:
    """A line's end is no part of a time: the schema that editors read says so, too."""
    assert parse(text)
    with pytest.raises(ValueError, match=r"^not a "):
        parse(around.format(text))
