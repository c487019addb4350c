"""From the file's tables to the values the service works with, defaults filled in."""

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Final
from urllib.parse import urlsplit

from rimewatch.config.broker import FILE_KEYS, certificate, full_address, resolve_password
from rimewatch.config.checks import effective_format, shift_of
from rimewatch.config.checks_species import species_of
from rimewatch.config.destinations import (
    Fault,
    Secrets,
    address_fault,
    is_reference,
    malformed_reference,
)
from rimewatch.config.mirror import mirror_to
from rimewatch.config.notation import address_and_port, environment_name, file_name
from rimewatch.config.problems import NOT_SHOWN, Problem, show
from rimewatch.config.table import taken
from rimewatch.config.tables import (
    DEFAULT_EVERY_S,
    DEFAULT_LIMIT_C,
    DEFAULT_PLAUSIBLE,
    STALE_INTERVALS,
    AtStakeTable,
    BrokerTable,
    ContactTable,
    EscalationTable,
    FieldsTable,
    MessagesTable,
    MirrorTable,
    NightTable,
    PrioritiesTable,
    ProbeTable,
    RecordsTable,
    RotaTable,
    ShopTable,
    SpeciesTable,
    UnitTable,
    WatchTable,
    WebTable,
)
from rimewatch.config.translate import Row, Rows
from rimewatch.shop import (
    AtStake,
    Broker,
    Contact,
    EscalationStep,
    Mark,
    MessageTexts,
    Night,
    Probe,
    SelfWatch,
    Shop,
    Unit,
    Web,
)
from rimewatch.vocabulary import MS_PER_H, MS_PER_S, Priority, Rule

DEFAULT_REPEAT_S: Final = 900.0
"""How often everybody is told again where no [[escalation]] says (common practice, no source)."""


def build_shop(
    rows: Rows, secrets: Secrets | None, problems: list[Problem], folder: Path | None = None
) -> Shop | None:
    """Return the shop, or None if anything was refused.

    Args:
        rows: The file's tables.
        secrets: Where references lead; None: they are not followed.
        problems: What was refused so far; grows where a secret can't be found or an
            address can't be used.
        folder: Where relative paths start; None: the working folder.
    """
    contacts = [
        contact for row in rows.every(ContactTable) if (contact := _contact(row, secrets, problems))
    ]
    broker = _broker(rows.the(BrokerTable), secrets, problems)
    watch = self_watch(rows.the(WatchTable), secrets, problems)
    texts = message_texts(rows.the(MessagesTable), folder, problems)
    shop = next(iter(rows.tables(ShopTable)), None)
    mirror = mirror_to(rows.one(MirrorTable), shop, secrets, problems)
    if problems or not (shop and broker and watch and texts):
        return None
    return taken(
        Shop,
        shop,
        *rows.tables(RecordsTable),
        acknowledged_for_s=shop.acknowledged_for_h * MS_PER_H / MS_PER_S,
        holidays=frozenset(shop.holidays),
        broker=broker,
        units=tuple(_unit(table) for table in rows.tables(UnitTable)),
        probes=tuple(_probe(table) for table in rows.tables(ProbeTable)),
        contacts=tuple(contacts),
        night=_night(rows.one(NightTable)),
        escalation=_escalation(rows.every(EscalationTable), contacts),
        priorities=_priorities(rows.the(PrioritiesTable)),
        species=tuple(species_of(table) for table in rows.tables(SpeciesTable)),
        shifts=tuple(shift_of(table) for table in rows.tables(RotaTable)),
        web=web(rows.one(WebTable)),
        self_watch=watch,
        at_stake=at_stake(rows.the(AtStakeTable)),
        messages=texts,
        mirror=mirror,
    )


def _unit(table: UnitTable) -> Unit:
    return taken(
        Unit,
        table,
        limit_c=DEFAULT_LIMIT_C[table.kind] if table.limit_c is None else table.limit_c,
        laxer_because=table.laxer_because.strip(),
    )


def _probe(table: ProbeTable) -> Probe:
    every_s, stale_s, match = table.every_s, table.stale_s, table.match
    if every_s is None and not table.measures.is_contact:
        every_s = DEFAULT_EVERY_S
    if stale_s is None and every_s is not None:
        stale_s = STALE_INTERVALS * every_s
    return taken(
        Probe,
        table,
        format=effective_format(table),
        fields=MappingProxyType(_fields(table)),
        every_s=every_s,
        stale_s=stale_s,
        plausible_c=tuple(table.plausible_c or DEFAULT_PLAUSIBLE[table.measures]),
        match=None if match is None else taken(Mark, match, field=match.field or ""),
        time_zone=table.time_zone or "",
        is_uncertainty_stated="uncertainty_c" in table.model_fields_set,
    )


def _fields(table: ProbeTable) -> dict[str, str]:
    """Return the paths into the payload: none for a number, elsewhere at least the value's."""
    if effective_format(table) == "number":
        return {}
    if table.fields is None and effective_format(table) != "json":
        return {}  # senml and sparkplug: the one value of the payload, whatever its name
    given = (table.fields or FieldsTable()).model_dump(exclude_none=True)
    if effective_format(table) != "json" and table.fields:
        given = table.fields.model_dump(exclude_none=True, exclude_unset=True)
    return {key: str(path) for key, path in given.items()}


def _contact(
    row: Row[ContactTable], secrets: Secrets | None, problems: list[Problem]
) -> Contact | None:
    table = row.table
    urls = row.raw.get("urls")
    found: list[str] = []
    before = len(problems)
    for index, url in enumerate(urls if isinstance(urls, list) else []):
        if not isinstance(url, str) or not url:
            continue  # refused already
        address = _address(url, secrets)
        if isinstance(address, Fault):
            problems.append(
                row.place.problem(
                    f"urls[{index}]", address.shown, address.expected, address.verdict
                )
            )
        elif address is not None:
            found.append(address)
    if table is None or len(problems) > before:
        return None
    return taken(Contact, table, urls=tuple(found))


def _address(url: str, secrets: Secrets | None) -> str | Fault | None:
    """Return the usable address behind a URL or reference; None: it is not to be followed.

    Without ``secrets`` nothing is going to be sent, and Apprise is not asked: that costs a
    command a third of its time.
    """
    if not is_reference(url):
        return url if secrets is None else address_fault(url) or url
    if secrets is None:
        name_or_path = environment_name(url) or file_name(url)
        return None if name_or_path else malformed_reference()
    resolved = secrets.resolve(url)
    if isinstance(resolved, Fault):
        return resolved
    return address_fault(resolved) or resolved


def _broker(
    row: Row[BrokerTable], secrets: Secrets | None, problems: list[Problem]
) -> Broker | None:
    password = resolve_password(row, secrets, problems)
    files = {key: certificate(row, key, secrets, problems) for key in FILE_KEYS}
    table = row.table
    address = full_address(table.url) if table else None
    if table is None or address is None:
        return None
    return taken(
        Broker,
        table,
        url=address,
        password=password,
        sparkplug_host=table.sparkplug_host or "",
        **files,
    )


def _night(row: Row[NightTable] | None) -> Night | None:
    if row is None or row.table is None:
        return None
    return taken(Night, row.table, wake_for=frozenset(row.table.wake_for))


def _escalation(
    rows: Sequence[Row[EscalationTable]], contacts: list[Contact]
) -> tuple[EscalationStep, ...]:
    """Return the steps; contacts without any step are all told at once, again and again.

    Somebody who writes down contacts and no order wants to be told; silence would be
    the dangerous reading.
    """
    if not rows and contacts:
        everybody = tuple(contact.id for contact in contacts)
        return (EscalationStep(after_s=0.0, contacts=everybody, repeat_s=DEFAULT_REPEAT_S),)
    return tuple(taken(EscalationStep, row.table) for row in rows if row.table)


def _priorities(row: Row[PrioritiesTable]) -> Mapping[Rule, Priority]:
    if row.table is None:
        return MappingProxyType({})
    given = row.table.model_dump(by_alias=True, exclude_none=True)
    return MappingProxyType({Rule(key): Priority(value) for key, value in given.items()})


TEXTS_FILE: Final = "messages.toml"
LARGEST_TEXTS_BYTES: Final = 1_000_000


def web(row: Row[WebTable] | None) -> Web | None:
    """Return where the pages are found; None: there are none."""
    if row is None or row.table is None:
        return None
    listen = address_and_port(row.table.listen)
    if listen is None:
        return None  # refused already
    host, port = listen
    url = (row.table.url or "").rstrip("/")
    path = urlsplit(url).path if row.table.path is None else row.table.path
    return Web(host=host, port=port, url=url, path=path.rstrip("/"))


def at_stake(row: Row[AtStakeTable]) -> AtStake:
    """Return from when on what a unit holds makes its alarms more urgent."""
    return AtStake() if row.table is None else taken(AtStake, row.table)


def self_watch(
    row: Row[WatchTable], secrets: Secrets | None, problems: list[Problem]
) -> SelfWatch | None:
    """Return how somebody outside learns that all is well; the address resolved."""
    table = row.table
    if table is None:
        return None  # refused already
    url = table.heartbeat_url or ""
    if url and is_reference(url):
        resolved = secrets.resolve(url) if secrets is not None else ""
        if isinstance(resolved, Fault):
            problems.append(
                row.place.problem(
                    "heartbeat_url", resolved.shown, resolved.expected, resolved.verdict
                )
            )
            resolved = ""
        url = resolved
    if url and not url.startswith(("http://", "https://")):
        problems.append(
            row.place.problem(
                "heartbeat_url",
                NOT_SHOWN,
                'expected an address that begins with https:// or http://, or "env:NAME" or '
                '"file:PATH" that leads to one',
                "is no address that can be called",
            )
        )
    return taken(SelfWatch, table, heartbeat_url=url)


def message_texts(
    row: Row[MessagesTable], folder: Path | None, problems: list[Problem]
) -> MessageTexts | None:
    """Return the language and the shop's own sentences, read as they stand in their file.

    Whether they fit the shipped ones is checked where those are known
    (``rimewatch.report.texts``).
    """
    table = row.table
    if table is None:
        return None  # refused already
    if table.folder is None:
        return taken(MessageTexts, table)
    file = (Path(table.folder) if folder is None else folder / table.folder) / TEXTS_FILE
    try:
        if file.stat().st_size > LARGEST_TEXTS_BYTES:
            raise ValueError("it is too large")  # noqa: TRY301 (told like the other failures)
        overrides = tomllib.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as failed:
        reason = failed.strerror if isinstance(failed, OSError) else str(failed)
        problems.append(
            row.place.problem(
                "folder",
                show(table.folder),
                f"expected a folder with a readable {TEXTS_FILE} in it",
                f"is {show(table.folder)} and its {TEXTS_FILE} can't be read ({reason})",
            )
        )
        return None
    return taken(MessageTexts, table, overrides=MappingProxyType(overrides), source=str(file))
