"""Any entry, drawn from its declaration: a new kind of entry is drawn without being named here."""

import json
from typing import get_args

from hypothesis import strategies as st

from rimewatch.entries import AnyEntry
from rimewatch.entry_keys import Key, Number, Text, keys_of

_TIMES = st.integers(min_value=0, max_value=253_402_300_799_999)
_SIGNS = st.characters(exclude_categories=["Cs"])


def any_entry() -> st.SearchStrategy[AnyEntry]:
    """Return entries of every kind, each within the bounds of its fields."""
    kinds: tuple[type[AnyEntry], ...] = get_args(AnyEntry)
    return st.one_of(
        [
            st.builds(kind, at_ms=_TIMES, **{key.field: _value(key) for key in keys_of(kind)})
            for kind in kinds
        ]
    )


def _value(key: Key) -> st.SearchStrategy[object]:
    one: st.SearchStrategy[object]
    if key.is_instant:
        one = _TIMES
    elif key.is_document:
        one = st.dictionaries(st.text(_SIGNS, max_size=5), st.integers() | st.text(_SIGNS)).map(
            lambda found: json.dumps(
                found, sort_keys=True, separators=(",", ":"), ensure_ascii=False
            )
        )
    elif key.words is not None:
        one = st.sampled_from(key.words)
    elif key.choice:
        one = st.sampled_from(key.choice)
    elif isinstance(key.bounds, Text):
        least, longest = key.bounds.least, key.bounds.longest or 64
        one = st.text(_SIGNS, min_size=least, max_size=min(longest, 20))
        if key.bounds.pattern is not None:
            one = st.from_regex(key.bounds.pattern, fullmatch=True)
    elif key.kind is bool:
        one = st.booleans()
    else:
        assert isinstance(key.bounds, Number), f"{key.name}: a number without bounds"
        least = key.bounds.over if key.bounds.least is None else key.bounds.least
        if key.kind is int:
            one = st.integers(min_value=round(least or 0), max_value=2**31)
        else:
            one = st.floats(
                min_value=least,
                max_value=key.bounds.most,
                exclude_min=key.bounds.over is not None,
                allow_nan=False,
            )
    if key.many is not None:
        one = st.lists(one, max_size=3).map(tuple)
    return st.none() | one if key.may_be_none else one
