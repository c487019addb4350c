"""What a published limit is: a number with its unit, its wording and where it stands.

Pure values. Knows no particular limit and decides nothing.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

Confidence = Literal["read", "from memory"]
"""``read``: the number was read in a copy of the text, often a state's mirror of it.
``from memory``: it was not; check it against the text before an inspector does."""

FOOD_CODE: Final = "FDA Food Code"
FOOD_CODE_EDITION: Final = "2022"
HAZARDS: Final = "FDA Fish and Fishery Products Hazards and Controls Guidance"
HAZARDS_EDITION: Final = "4th ed. (2011, revised 2019-2022)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Provision:
    """One published limit.

    ``value`` is a number in ``unit``, or a list of names where the text lists names
    (``unit`` is then ``"names"``). ``used_by`` names the rules and subjects that
    stand on it.
    """

    id: str
    value: float | tuple[str, ...]
    unit: str
    text: str
    document: str
    edition: str
    section: str
    used_by: tuple[str, ...]
    confidence: Confidence

    @property
    def citation(self) -> str:
        """The source in one line, for a record or a page.

        >>> from rimewatch.rules.provisions import PROVISIONS
        >>> PROVISIONS["cold-holding"].citation
        'FDA Food Code 2022, 3-501.16(A)(2)'
        """
        return f"{self.document} {self.edition}, {self.section}"


def celsius_of_fahrenheit(fahrenheit: float) -> float:
    """Convert a printed limit in °F to °C, exactly (the printed °C is often rounded).

    >>> round(celsius_of_fahrenheit(70.0), 3)
    21.111
    """
    return (fahrenheit - 32.0) * 5.0 / 9.0


def registry(*groups: Iterable[Provision]) -> Mapping[str, Provision]:
    """Join groups of provisions into one read-only mapping by id, in order.

    Raises:
        ValueError: If two provisions have one id.
    """
    found: dict[str, Provision] = {}
    for group in groups:
        for provision in group:
            if provision.id in found:
                raise ValueError(
                    f"provision id {provision.id!r} is there twice; give each limit its own id"
                )
            found[provision.id] = provision
    return MappingProxyType(found)
