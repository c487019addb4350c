"""``rimewatch demo``: an invented shop's night, with everything in one process."""

import signal
import tempfile
from pathlib import Path

import click

from rimewatch.errors import UserError


@click.command(
    epilog="Example:  rimewatch demo\n\nAs slow as life, another night:  rimewatch demo --speed 1 "
    "--scenario busy-saturday"
)
@click.option(
    "--speed",
    type=click.FloatRange(min=0, min_open=True),
    default=1800.0,
    show_default=True,
    help="Seconds of the shop's time in one second.",
)
@click.option(
    "--scenario",
    default="night-at-saltmarsh-row",
    show_default=True,
    help="Which night; rimewatch-sim scenarios lists them.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder for the journal and the summaries.  [default: a new temporary folder]",
)
def command(speed: float, scenario: str, out: Path | None) -> None:
    """Play a night of Saltmarsh Row Fish, an invented shop.

    An embedded broker, the simulated probes, the service, its journal and a stand-in for
    a phone run in one process; nothing leaves this machine.
    """
    click.echo("Preparing the night ...", err=True)
    try:
        from rimewatch.service.demo import Demo, DemoError
    except ModuleNotFoundError as error:
        if error.name is None or error.name.partition(".")[0] != "amqtt":
            raise
        raise UserError(
            f"the demo needs {error.name}; install it with: pip install 'rimewatch[demo]'"
        ) from None
    from rimewatch.service.signals import heed

    demo = Demo(scenario, _folder(out), speed=speed)
    heed({signal.SIGINT: demo.stop, signal.SIGTERM: demo.stop})
    try:
        demo.run()
    except DemoError as error:
        raise UserError(str(error)) from None


def _folder(out: Path | None) -> Path:
    try:
        if out is None:
            return Path(tempfile.mkdtemp(prefix="rimewatch-demo-"))
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        where = "the temporary folder" if out is None else out
        raise UserError(
            f"{where} cannot be written ({error.strerror or error}); name a folder with --out"
        ) from None
    return out
