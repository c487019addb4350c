"""``rimewatch check``: say what is wrong with a configuration, and what is worth a look."""

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rimewatch.commands.options import load
from rimewatch.errors import UserError

if TYPE_CHECKING:
    from rimewatch.shop import Shop


@click.command(
    epilog="Example:  rimewatch check --config config/saltmarsh-row.toml\n\n"
    "To try out the broker as well:  rimewatch check --config shop.toml --broker\n\n"
    "To complete the file in an editor:  rimewatch check --schema > shop.schema.json"
)
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    envvar="RIMEWATCH_CONFIG",
    help="The shop's configuration, a TOML file.",
)
@click.option(
    "--broker",
    "tries_broker",
    is_flag=True,
    help="Connect to the broker as well, and say whom it lets do what. Nothing is changed there.",
)
@click.option("--schema", is_flag=True, help="Print the JSON Schema of the configuration.")
@click.option("--provisions", is_flag=True, help="List every published limit with its source.")
def command(config: Path | None, *, tries_broker: bool, schema: bool, provisions: bool) -> None:
    """Check a configuration: every mistake is named with its place, its value and its cure."""
    if schema:
        from rimewatch.config import json_schema

        click.echo(json.dumps(json_schema(), indent=2, ensure_ascii=False))
        return
    if provisions:
        _list_provisions()
        return
    if config is None:
        raise UserError(
            "no configuration given; name it with --config FILE, "
            "or ask for --schema or --provisions"
        )
    from rimewatch.config import exposed_secrets, warnings_of
    from rimewatch.report.wording import counted, extent

    shop = load(config)
    for warning in (*warnings_of(shop), *exposed_secrets(config)):
        click.echo(f"Worth a look: {warning}")
    click.echo(
        f"{config}: {shop.name}, {extent(shop)}, {counted(len(shop.contacts), 'contact')}. "
        "Nothing is wrong with it."
    )
    if tries_broker:
        _try_broker(shop)


def _try_broker(shop: "Shop") -> None:
    from rimewatch.clock import SystemClock
    from rimewatch.intake.broker_check import BrokerFault, examine
    from rimewatch.intake.broker_settings import BrokerSettingsError
    from rimewatch.intake.guest import NotHeard

    try:
        for finding in examine(shop, SystemClock().now_ms()):
            click.echo(finding.text if finding.is_well else f"Worth a look: {finding.text}")
    except (BrokerFault, BrokerSettingsError, NotHeard) as error:
        raise UserError(str(error)) from None


def _list_provisions() -> None:
    from rimewatch.rules.provisions import PROVISIONS

    for provision in PROVISIONS.values():
        value = f"{provision.value} {provision.unit}".strip()
        click.echo(f"{provision.id}: {value}")
        click.echo(f"    {provision.text}")
        click.echo(
            f"    {provision.document}, {provision.edition}, {provision.section}"
            f" ({provision.confidence}); used by {', '.join(provision.used_by)}"
        )
