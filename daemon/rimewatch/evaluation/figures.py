"""Figures as the ledger holds them. Pure."""

from typing import overload


@overload
def figure(value: float, digits: int) -> float: ...
@overload
def figure(value: None, digits: int) -> None: ...
@overload
def figure(value: float | None, digits: int) -> float | None: ...
def figure(value: float | None, digits: int) -> float | None:
    """Return a number rounded for the ledger; never a negative zero."""
    return None if value is None else round(value, digits) + 0.0
