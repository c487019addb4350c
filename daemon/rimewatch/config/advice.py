"""What is allowed and yet worth a second look: a silent night, a unit nobody measures."""

from collections.abc import Iterator
from typing import Final

from rimewatch.alarms.priority import USUAL_PRIORITY
from rimewatch.config.broker import is_encrypted
from rimewatch.config.destinations import ignores_urgency, scheme_of
from rimewatch.config.tables import DEFAULT_LIMIT_C, STALE_INTERVALS
from rimewatch.lots.standing import LONGEST_UNSEEN_MS
from rimewatch.rules.provisions_food_code import (
    AIR_THERMOMETER_ACCURACY_C,
    FOOD_THERMOMETER_ACCURACY_C,
    FREEZE_SOLID_C,
    FREEZE_STORAGE_C,
)
from rimewatch.science.rtd import Element, RtdClass, claimed_tolerance_c, tolerance_c
from rimewatch.shop import Probe, Shop, Unit
from rimewatch.vocabulary import MS_PER_S, Kind, Measures, Priority, Scale

DIGITAL_SENSOR_C: Final = 1.0
"""What makers of digital sensors mostly state below −10 °C (common practice, no source)."""

LONGEST_LAG_S: Final = 6 * 3600.0
"""Six hours: slower than the fish of any case (common practice, no source)."""

SERVE_TEMPERATURES = {"offset_c": 0.0, "slope": 1.0}
"""Corrections, and what they are where nothing is corrected."""


def warnings_of(shop: Shop) -> list[str]:
    """Return one sentence for each thing worth a second look, with its cure.

    Args:
        shop: A shop as read; nothing of it is wrong enough to be refused.
    """
    return [
        *(sentence for unit in shop.units for sentence in _about_unit(shop, unit)),
        *(sentence for probe in shop.probes for sentence in _about_probe(probe)),
        *(sentence for probe in shop.probes for sentence in _about_resistance(shop, probe)),
        *(sentence for probe in shop.probes for sentence in _about_proof(shop, probe)),
        *_about_people(shop),
        *_about_night(shop),
        *_about_heartbeat(shop),
        *_about_broker(shop),
        *_about_pages(shop),
    ]


def _about_unit(shop: Shop, unit: Unit) -> Iterator[str]:
    where = f'unit "{unit.id}"'
    if not shop.governing_probes(unit.id):
        yield (
            f"{where} has no temperature probe: nothing is known of its fish; "
            f'add a [[probe]] that measures "air" or "product"'
        )
    elif unit.lag_s == 0 and not shop.probes_of(unit.id, Measures.PRODUCT):
        yield (
            f"{where} has lag_s = 0 and only air probes: every door and defrost will count as "
            "warm fish; leave lag_s out or add a product probe"
        )
    if unit.lag_s > LONGEST_LAG_S:
        yield (
            f"{where} has lag_s = {unit.lag_s:.0f}: fish that follows its air so slowly would hide "
            f"hours of warmth; more than {LONGEST_LAG_S:g} is longer than thick fish takes"
        )
    if unit.deadband_c == 0:
        yield (
            f"{where} has deadband_c = 0: a temperature at the limit will make an excursion of "
            "every flicker; 0.5 serves most units"
        )
    if unit.kind.is_freezer and unit.limit_c > DEFAULT_LIMIT_C[unit.kind]:
        yield (
            f"{where} has limit_c = {unit.limit_c}, warmer than the usual "
            f"{DEFAULT_LIMIT_C[unit.kind]} for a {unit.kind}; limits are in °C"
        )
    if unit.laxer_because:
        yield (
            f"{where} is held to {unit.limit_c} °C by its own reason "
            f'("{unit.laxer_because}"); records will show it'
        )


def _about_probe(probe: Probe) -> Iterator[str]:
    where = f'probe "{probe.id}"'
    if probe.scale is not Scale.CELSIUS and not probe.measures.is_temperature:
        yield (
            f'{where} measures {probe.measures}, so scale = "{probe.scale}" means nothing; '
            "leave it out"
        )
    for key, neutral in SERVE_TEMPERATURES.items():
        if getattr(probe, key) != neutral and not probe.measures.is_temperature:
            yield f"{where} measures {probe.measures}, so {key} means nothing; leave it out"
    if probe.battery_low is not None and "battery" not in probe.fields:
        yield (
            f"{where} has battery_low and no path to the battery's level: it will never be "
            "found low; add battery to fields"
        )
    if probe.measures.is_temperature:
        yield from _about_accuracy(probe)
        yield from _about_silence(probe)
    if probe.measures.is_temperature and probe.uncertainty_c == 0:
        yield (
            f"{where} has uncertainty_c = 0: no probe is perfect; take it from its "
            "calibration certificate"
        )


def _about_silence(probe: Probe) -> Iterator[str]:
    longest_s = max(LONGEST_UNSEEN_MS / MS_PER_S, STALE_INTERVALS * (probe.every_s or 0.0))
    if probe.measures.is_temperature and probe.stale_s is not None and probe.stale_s > longest_s:
        yield (
            f'probe "{probe.id}" has stale_s = {probe.stale_s:g}: a silence of that length counts '
            f"as watched, and its temperature as a straight line; {longest_s:g} or less keeps "
            "what nobody saw apart"
        )


def _about_accuracy(probe: Probe) -> Iterator[str]:
    is_product = probe.measures is Measures.PRODUCT
    allowed_c = FOOD_THERMOMETER_ACCURACY_C if is_product else AIR_THERMOMETER_ACCURACY_C
    if probe.uncertainty_c > allowed_c:
        section = "4-203.11" if is_product else "4-203.12"
        yield (
            f'probe "{probe.id}" has uncertainty_c = {probe.uncertainty_c:g}: FDA Food Code 2022, '
            f"{section} asks for ±{allowed_c:g} °C; use a better probe"
        )


def _about_resistance(shop: Shop, probe: Probe) -> Iterator[str]:
    """Say what the element alone may be off by at the unit's limit (IEC 60751)."""
    if probe.scale is not Scale.OHM or not probe.measures.is_temperature:
        return
    limit_c = shop.unit[probe.unit].limit_c
    class_b_c = tolerance_c(limit_c, RtdClass.B)
    if probe.uncertainty_c < class_b_c:
        film = claimed_tolerance_c(limit_c, RtdClass.A, Element.FILM)
        note = "" if film is not None else ", which a film element may not claim there"
        yield (
            f'probe "{probe.id}" sends ohms and has uncertainty_c = {probe.uncertainty_c:g}: at '
            f"{limit_c:g} °C a class B element alone may be off by {class_b_c:g} °C, a class A "
            f"one by {tolerance_c(limit_c, RtdClass.A):g} °C{note} (IEC 60751), besides leads "
            "and meter; take it from its certificate"
        )


def _about_proof(shop: Shop, probe: Probe) -> Iterator[str]:
    """Say what uncertainty a probe that proves holds should be given, if it has the usual one.

    The usual one is better than most probes are at the temperatures of a hold, and each hour of
    a hold is credited by it.
    """
    unit = shop.unit[probe.unit]
    if not unit.kind.is_freezer or probe not in shop.governing_probes(unit.id):
        return
    if probe.scale is Scale.OHM or probe.is_uncertainty_stated:
        return
    coldest_c = FREEZE_SOLID_C if unit.kind is Kind.ULTRA_LOW_FREEZER else FREEZE_STORAGE_C
    is_product = probe.measures is Measures.PRODUCT
    allowed_c = FOOD_THERMOMETER_ACCURACY_C if is_product else AIR_THERMOMETER_ACCURACY_C
    yield (
        f'probe "{probe.id}" proves freezing holds with uncertainty_c = '
        f"{probe.uncertainty_c:g}, the usual one: at {coldest_c:g} °C a class B platinum sensor "
        f"alone may be off by {tolerance_c(coldest_c, RtdClass.B):.3g} °C (IEC 60751), a digital "
        f"one mostly by {DIGITAL_SENSOR_C:g} °C, and the Food Code allows ±{allowed_c:g} °C; take "
        "uncertainty_c from its certificate, or one of these by its kind"
    )


def _about_people(shop: Shop) -> Iterator[str]:
    if not shop.contacts:
        yield "there is no [[contact]]: nobody will be told of an alarm; add at least one"
        return
    named = {contact for step in shop.escalation for contact in step.contacts}
    rotas = {shift.rota for shift in shop.shifts}
    named |= {c for shift in shop.shifts if shift.rota in named for c in shift.contacts}
    for rota in sorted(rotas - named):
        yield f'rota "{rota}" is in no [[escalation]] step: nobody is told by it'
    if shop.holidays and shop.shifts and not any(shift.on_holidays for shift in shop.shifts):
        yield (
            '[shop] has holidays and no [[rota]] has days = ["holiday"]: they are like any other '
            "day"
        )
    for contact in shop.contacts:
        where = f'contact "{contact.id}"'
        if contact.id not in named:
            yield f"{where} is in no [[escalation]] step: it will not be told of any alarm"
        for url in contact.urls:
            if ignores_urgency(url):
                yield (
                    f"{where} asks {scheme_of(url)} for a priority, which that service does "
                    "not have: urgent messages will look like any other"
                )
    if shop.escalation[0].after_s > 0:
        yield (
            f"the first [[escalation]] step comes {shop.escalation[0].after_s:g} s after an "
            "alarm: nobody is told before; after_s = 0 tells somebody at once"
        )
    if all(step.repeat_s is None for step in shop.escalation):
        yield (
            "no [[escalation]] step has repeat_s: a message that is not heard is not sent again; "
            "add repeat_s = 900"
        )


def _about_night(shop: Shop) -> Iterator[str]:
    if shop.night is not None and Priority.HIGH not in shop.night.wake_for:
        yield (
            '[night] wake_for leaves "high" out: no alarm about fish at risk will sound at night'
        )
    for rule, priority in shop.priorities.items():
        if USUAL_PRIORITY[rule] is Priority.HIGH and priority is not Priority.HIGH:
            yield (
                f'[priorities] makes {rule} "{priority}": fish may be at risk '
                "without anybody being woken"
            )


def _about_heartbeat(shop: Shop) -> Iterator[str]:
    if shop.contacts and not shop.self_watch.heartbeat_url:
        yield (
            "[watch] has no heartbeat_url: where this machine, its power or its network is gone, "
            "nobody is told; add an address that something elsewhere waits to be called at"
        )


def _about_broker(shop: Shop) -> Iterator[str]:
    local = any(host in shop.broker.url for host in ("//127.", "//localhost:", "//[::1]:"))
    if shop.broker.password and not is_encrypted(shop.broker.url) and not local:
        yield (
            "[broker] sends its password unencrypted over the network; use mqtts:// (or wss://) "
            "with ca_file"
        )


def _about_pages(shop: Shop) -> Iterator[str]:
    if shop.web is None:
        return
    if not shop.web.url:
        yield (
            "[web] has no url: messages hold no link to acknowledge with; add the address under "
            "which a phone reaches this machine"
        )
    elif shop.web.url.startswith("http://"):
        yield (
            "[web] url is not encrypted: whoever listens on the way could acknowledge an alarm; "
            "use https://"
        )
