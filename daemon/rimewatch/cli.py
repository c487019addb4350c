"""The ``rimewatch`` command: one sub-command a module in ``rimewatch.commands``.

Errors are one clear sentence on standard error and exit code 2; never a traceback for
a user's mistake.
"""

import importlib
import sys
from collections.abc import Iterator
from typing import Final

import click

from rimewatch import __version__
from rimewatch.commands.group import unknown_command
from rimewatch.errors import UserError

COMMANDS: Final = {
    "demo": "Play an invented shop's night, with everything in one process.",
    "init": "Ask a few questions and write a first configuration.",
    "run": "Watch: the service itself.",
    "check": "Check a configuration and say what is wrong with it.",
    "listen": "Find probes on a broker and propose a configuration.",
    "replay": "Evaluate a trace into a ledger and morning summaries.",
    "summary": "Show a morning's summary.",
    "review": "Show how a week or four weeks went, beside those before.",
    "what-if": "Show what another configuration would have made of your own past.",
    "settings": "Show and change what the shop is watched by; who changed what, and back.",
    "records": "Write the record that an inspector asks for.",
    "lot": "Receive, freeze, move and list lots.",
    "alarm": "List, acknowledge, shelve and unshelve alarms.",
    "test-alarm": "Send a test to the phones and wait until somebody acknowledges it.",
    "probe": "See how probes are; check one in melting ice.",
    "quarantine": "See what was not believed; read it once more.",
    "unit": "Take a unit out of service, or note what was done.",
    "people": "Say who may sign in to the pages.",
    "mirror": "Look after the copy in a time series database.",
    "archive": "Export many shops' journals and replay them.",
    "verify": "Check that the journal and its attachments are sound.",
    "stamp": "Have an authority outside say when a seal was there.",
    "backup": "Copy the journal while the service runs.",
}


def _command(name: str) -> click.Command:
    module = importlib.import_module(f"rimewatch.commands.{name.replace('-', '_')}")
    command: click.Command = module.command
    return command


def every_command() -> Iterator[tuple[str, click.Command]]:
    """Yield every command and sub-command with its words, such as ``lot receive``."""

    def below(words: str, command: click.Command) -> Iterator[tuple[str, click.Command]]:
        yield words, command
        if isinstance(command, click.Group):
            for name, child in command.commands.items():
                yield from below(f"{words} {name}", child)

    for name in COMMANDS:
        yield from below(name, _command(name))


class CommandFolder(click.Group):
    """Loads a sub-command only when it is asked for: the rest costs nothing."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click's signature)
        """Return the commands' names in the order of a shop's life."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command by its name.

        Raises:
            click.UsageError: If there is none; names the one that was probably meant.
        """
        if cmd_name not in COMMANDS:
            raise unknown_command(ctx, cmd_name, COMMANDS)
        return _command(cmd_name)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(
    cls=CommandFolder,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    epilog="Example:  rimewatch check --config config/saltmarsh-row.toml",
)
@click.version_option(__version__, prog_name="rimewatch")
def rimewatch() -> None:
    """Watch the cold that raw fish depends on.

    A record is evidence, not a guarantee: the person in charge decides, and local codes
    and the licensed authority come first.
    """


def main() -> None:
    """Run the command line; a user's mistake is one sentence and exit code 2."""
    try:
        # Without click's own handling of errors it returns the code of an early end.
        sys.exit(rimewatch(prog_name="rimewatch", standalone_mode=False))
    except click.Abort:
        click.echo("Stopped.", err=True)
        sys.exit(130)
    except click.exceptions.NoArgsIsHelpError as error:
        error.show()  # the help itself
        sys.exit(2)
    except click.ClickException as error:
        click.echo(_sentence(error), err=True)
        sys.exit(2)
    except UserError as error:
        click.echo(f"rimewatch: {error}", err=True)
        sys.exit(2)
    except BrokenPipeError:
        sys.exit(1)


def _sentence(error: click.ClickException) -> str:
    said = error.format_message().rstrip(".")
    context = error.ctx if isinstance(error, click.UsageError) else None
    if context is None:
        return f"rimewatch: {said}."
    path = context.command_path
    return f"{path}: {said}{'' if said.endswith('?') else '.'} Help: {path} --help"
