"""What people do in a scenario: operator entries, by the keys of the trace format.

What an entry may hold is declared once, by the service; here it only gets its moment. So a
scenario may say whatever a trace may, and is refused in the same sentence.
"""

from typing import Any, Self

from pydantic import BaseModel, ConfigDict, PrivateAttr, model_validator

from rimewatch.intake.entries import EntryError, parse_entry
from rimewatch.journal.entry_codec import entry_to_dict
from rimewatch_sim.models import Moment, Name


class SaidEntry(BaseModel):
    """An entry of a scenario: its moment, what it does, and that entry's own keys."""

    model_config = ConfigDict(extra="allow", frozen=True)

    at: Moment
    do: str
    unit: Name | None = None
    lot: Name | None = None
    _said: dict[str, Any] = PrivateAttr(default_factory=dict)

    @model_validator(mode="after")
    def _is_an_entry(self) -> Self:
        given = self.model_dump(exclude={"at"}, exclude_unset=True)
        try:
            said = entry_to_dict(parse_entry(given, 0))
        except EntryError as error:
            raise ValueError(f"entry at {self.at}: {error}") from None
        if "rule" in said:
            said.setdefault("unit", None)  # an alarm over several units has none
        del said["at"]
        self._said.update({key: said[key] for key in ("who", *said) if key in said})
        return self

    def fields(self) -> dict[str, Any]:
        """Return the entry as it stands in a trace, without its time and what is unset."""
        return dict(self._said)
