"""``rimewatch run``: the service itself."""

import faulthandler
import os
import signal
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final

import click

from rimewatch.commands.options import config_option, journal_option, load
from rimewatch.commands.terminal import tell
from rimewatch.errors import UserError
from rimewatch.shop import Shop

END_WITHIN_S: Final = 40.0
"""Shorter than the 90 s after which systemd kills what it has asked to end."""


def _warn_if_open(shop: Shop, say: Callable[[str], None]) -> None:
    """Say once, beside the start, that the broker takes anybody; nothing waits for it."""
    from rimewatch.intake.broker_settings import BrokerSettingsError
    from rimewatch.intake.eavesdrop import OPEN_BROKER, is_open

    def look() -> None:
        try:
            if is_open(shop.broker):
                say(OPEN_BROKER.format(address=shop.broker.url))
        except BrokerSettingsError:
            pass  # the session itself says it better

    threading.Thread(target=look, name="open-broker", daemon=True).start()


@click.command(
    epilog="Example:  rimewatch run --config config/saltmarsh-row.toml --journal "
    "/var/lib/rimewatch/rimewatch.db\n\nSIGTERM or Ctrl-C ends it after the batch in hand; "
    "an edited configuration is read again within some seconds, and at once on SIGHUP."
)
@config_option
@journal_option
def command(config: Path, journal: Path) -> None:
    """Subscribe to the shop's probes and watch, until told to stop."""
    from rimewatch.clock import SystemClock
    from rimewatch.config import exposed_secrets
    from rimewatch.intake.broker_settings import BrokerSettingsError
    from rimewatch.intake.decoders import UnusableProbe
    from rimewatch.journal.errors import JournalError
    from rimewatch.service.disk_kind import disk_trouble
    from rimewatch.service.file_look import FileLook
    from rimewatch.service.handles import raise_handle_limit
    from rimewatch.service.library_log import bound_library_logs
    from rimewatch.service.lock import Locked, only_one
    from rimewatch.service.service import Service
    from rimewatch.service.signals import heed
    from rimewatch.service.stand_in import StandIn
    from rimewatch.service.surroundings import Surroundings

    raise_handle_limit()
    bound_library_logs(tell, SystemClock())
    shop = load(config)
    misplaced = disk_trouble(journal)
    for sentence in (*exposed_secrets(config), *misplaced):
        tell(f"Worth a look: {sentence}")

    def reread() -> Shop:
        try:
            return load(config)
        except UserError as error:
            raise ValueError(str(error)) from None

    try:
        with only_one(journal):
            service = Service(
                shop,
                journal,
                SystemClock(),
                say=tell,
                reread=reread,
                config_path=config,
                environ=os.environ,
                surroundings=Surroundings(
                    stand_in=StandIn, file_look=FileLook, trouble=tuple(misplaced)
                ),
            )

            def stop() -> None:
                # What is acknowledged is on the disk, so an end that hangs may be forced; the
                # system would do so later, and nobody would know where it hung.
                faulthandler.dump_traceback_later(END_WITHIN_S, exit=True)
                service.stop()

            heed(
                {
                    signal.SIGTERM: stop,
                    signal.SIGINT: stop,
                    signal.SIGHUP: service.reload,
                }
            )
            _warn_if_open(shop, tell)
            service.run()
            tell("Stopped; everything taken in is on the disk.")
    except (JournalError, BrokerSettingsError, UnusableProbe, Locked) as error:
        raise UserError(str(error)) from None
    except MemoryError:
        raise UserError(
            "there is no more memory; what was not acknowledged comes again after a restart"
        ) from None
    # Threads of libraries may be anywhere, in an import for one: taking the interpreter down
    # around them can wait for ever, and there is nothing left to do.
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(0)
