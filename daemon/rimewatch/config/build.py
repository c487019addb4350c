"""From the file's tables to the values the service works with, defaults filled in."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Final

from rimewatch.config.broker import FILE_KEYS, certificate, full_address, resolve_password
from rimewatch.config.build_alarms import at_stake, message_texts, self_watch, web
from rimewatch.config.checks import effective_format
from rimewatch.config.checks_alarms import shift_of
from rimewatch.config.checks_species import species_of
from rimewatch.config.destinations import (
    Fault,
    Secrets,
    address_fault,
    is_reference,
    malformed_reference,
)
from rimewatch.config.mirror import mirror_to
from rimewatch.config.notation import environment_name, file_name
from rimewatch.config.problems import Problem
from rimewatch.config.tables import (
    DEFAULT_EVERY_S,
    DEFAULT_LIMIT_C,
    DEFAULT_PLAUSIBLE,
    STALE_INTERVALS,
    BrokerTable,
    FieldsTable,
    MirrorTable,
    ProbeTable,
    RecordsTable,
    ShopTable,
    SpeciesTable,
    UnitTable,
    WatchTable,
    WebTable,
)
from rimewatch.config.tables_alarms import (
    AtStakeTable,
    ContactTable,
    EscalationTable,
    MessagesTable,
    NightTable,
    PrioritiesTable,
    RotaTable,
)
from rimewatch.config.translate import Row
from rimewatch.shop import Broker, Contact, EscalationStep, Mark, Night, Probe, Shop, Unit
from rimewatch.vocabulary import ContactId, Priority, ProbeId, Rule, UnitId

DEFAULT_REPEAT_S: Final = 900.0
"""How often everybody is told again where no [[escalation]] says (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Every table of the file, as read."""

    shop: Row[ShopTable] | None
    broker: Row[BrokerTable]
    units: list[Row[UnitTable]]
    probes: list[Row[ProbeTable]]
    contacts: list[Row[ContactTable]]
    night: Row[NightTable] | None
    escalation: list[Row[EscalationTable]]
    priorities: Row[PrioritiesTable]
    records: Row[RecordsTable]
    species: list[Row[SpeciesTable]]
    rotas: list[Row[RotaTable]]
    at_stake: Row[AtStakeTable]
    messages: Row[MessagesTable]
    web: Row[WebTable] | None
    watch: Row[WatchTable]
    mirror: Row[MirrorTable] | None


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
    contacts = [contact for row in rows.contacts if (contact := _contact(row, secrets, problems))]
    broker = _broker(rows.broker, secrets, problems)
    watch = self_watch(rows.watch, secrets, problems)
    texts = message_texts(rows.messages, folder, problems)
    shop = rows.shop.table if rows.shop else None
    mirror = mirror_to(rows.mirror, shop, secrets, problems)
    records = rows.records.table
    if problems or shop is None or broker is None or records is None:
        return None
    return Shop(
        name=shop.name,
        timezone=shop.timezone,
        display=shop.display,
        summary_at=shop.summary_at,
        broker=broker,
        units=tuple(_unit(row.table) for row in rows.units if row.table),
        probes=tuple(_probe(row.table) for row in rows.probes if row.table),
        contacts=tuple(contacts),
        night=_night(rows.night),
        escalation=_escalation(rows.escalation, contacts),
        priorities=_priorities(rows.priorities),
        paper=records.paper,
        keep_chilled_days=records.keep_chilled_days,
        keep_frozen_days=records.keep_frozen_days,
        keep_days=records.keep_days,
        species=tuple(species_of(row.table) for row in rows.species if row.table),
        use_by_ice_days=shop.use_by_ice_days,
        shifts=tuple(shift_of(row.table) for row in rows.rotas if row.table),
        holidays=frozenset(shop.holidays),
        web=web(rows.web),
        self_watch=watch,
        at_stake=at_stake(rows.at_stake),
        messages=texts,
        mirror=mirror,
    )


def _unit(table: UnitTable) -> Unit:
    return Unit(
        id=UnitId(table.id),
        name=table.name,
        kind=table.kind,
        limit_c=DEFAULT_LIMIT_C[table.kind] if table.limit_c is None else table.limit_c,
        operating_limit_c=table.operating_limit_c,
        deadband_c=table.deadband_c,
        on_delay_s=table.on_delay_s,
        lag_s=table.lag_s,
        defrost=tuple(table.defrost),
        door_open_s=table.door_open_s,
        laxer_because=table.laxer_because.strip(),
    )


def _probe(table: ProbeTable) -> Probe:
    every_s, stale_s = table.every_s, table.stale_s
    if every_s is None and not table.measures.is_contact:
        every_s = DEFAULT_EVERY_S
    if stale_s is None and every_s is not None:
        stale_s = STALE_INTERVALS * every_s
    low, high = table.plausible_c or DEFAULT_PLAUSIBLE[table.measures]
    return Probe(
        id=ProbeId(table.id),
        unit=UnitId(table.unit),
        measures=table.measures,
        topic=table.topic,
        format=effective_format(table),
        fields=MappingProxyType(_fields(table)),
        scale=table.scale,
        every_s=every_s,
        stale_s=stale_s,
        uncertainty_c=table.uncertainty_c,
        offset_c=table.offset_c,
        slope=table.slope,
        plausible_c=(low, high),
        battery_low=table.battery_low,
        humidity_high_percent=table.humidity_high_percent,
        match=None
        if table.match is None
        else Mark(
            field=table.match.field or "", level=table.match.level, equals=table.match.equals
        ),
        time_zone=table.time_zone or "",
        check_every_days=table.check_every_days,
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
    return Contact(id=ContactId(table.id), name=table.name, urls=tuple(found))


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
    return Broker(
        url=address,
        client_id=table.client_id,
        username=table.username,
        password=password,
        ca_file=files["ca_file"],
        cert_file=files["cert_file"],
        key_file=files["key_file"],
        entries=table.entries,
        sparkplug_host=table.sparkplug_host or "",
    )


def _night(row: Row[NightTable] | None) -> Night | None:
    if row is None or row.table is None:
        return None
    table = row.table
    return Night(begins=table.begins, ends=table.ends, wake_for=frozenset(table.wake_for))


def _escalation(
    rows: list[Row[EscalationTable]], contacts: list[Contact]
) -> tuple[EscalationStep, ...]:
    """Return the steps; contacts without any step are all told at once, again and again.

    Somebody who writes down contacts and no order wants to be told; silence would be
    the dangerous reading.
    """
    if not rows and contacts:
        everybody = tuple(contact.id for contact in contacts)
        return (EscalationStep(after_s=0.0, contacts=everybody, repeat_s=DEFAULT_REPEAT_S),)
    return tuple(
        EscalationStep(
            after_s=row.table.after_s,
            contacts=tuple(ContactId(contact) for contact in row.table.contacts),
            repeat_s=row.table.repeat_s,
        )
        for row in rows
        if row.table
    )


def _priorities(row: Row[PrioritiesTable]) -> Mapping[Rule, Priority]:
    if row.table is None:
        return MappingProxyType({})
    given = row.table.model_dump(by_alias=True, exclude_none=True)
    return MappingProxyType({Rule(key): Priority(value) for key, value in given.items()})
