"""Pages that take something in: what each form has in common."""

from starlette.requests import Request

from rimewatch.web.enter import Desk, Typed, remember
from rimewatch.web.guard import Visitor
from rimewatch.web.page import Means, Page
from rimewatch.web.people import Role


class Forms(Page):
    """Takes forms in and writes down what they say.

    Args:
        means: What every page is made with.
        desk: Writes entries down.
    """

    def __init__(self, means: Means, desk: Desk) -> None:
        super().__init__(means)
        self._desk = desk

    async def _form(self, request: Request) -> tuple[Visitor, dict[str, str]]:
        """Return who sent a form and what they typed; it is shown again if it is refused."""
        visitor = await self._guard.visitor(request, Role.ACT)
        fields = await self._guard.form(request, visitor)
        remember(request, Typed(visitor, fields))
        return visitor, fields
