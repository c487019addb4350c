"""A group of commands that says in one sentence which command was probably meant."""

import difflib
from collections.abc import Iterable

import click


class CommandGroup(click.Group):
    """A command with sub-commands."""

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command:
        """Return a sub-command by its name.

        Raises:
            click.UsageError: If there is none of that name.
        """
        found = super().get_command(ctx, cmd_name)
        if found is None:
            raise unknown_command(ctx, cmd_name, self.list_commands(ctx))
        return found


def unknown_command(ctx: click.Context, said: str, known: Iterable[str]) -> click.UsageError:
    """Return the error for a command that is not there, with its cure."""
    names = list(known)
    close = difflib.get_close_matches(said, names, n=1)
    cure = f"did you mean {close[0]}?" if close else f"expected one of {', '.join(names)}"
    return click.UsageError(f'there is no command "{said}"; {cure}', ctx)
