"""``rimewatch lot``: lots from receiving through their freezing hold to the case."""

import click

from rimewatch.commands import lot_goods, lot_moves, lot_views
from rimewatch.commands.group import CommandGroup


@click.group(cls=CommandGroup, epilog="Example:  rimewatch lot list --config shop.toml --raw-ready")
def command() -> None:
    """Follow lots from receiving through their freezing hold to the case."""


for _each in (
    lot_goods.receive,
    lot_goods.correct,
    lot_goods.attach,
    lot_moves.freeze,
    lot_moves.thaw,
    lot_moves.move,
    lot_goods.withdraw,
    lot_goods.cancel,
    lot_views.list_lots,
    lot_views.options,
    lot_views.plan,
    lot_views.record,
):
    command.add_command(_each)
