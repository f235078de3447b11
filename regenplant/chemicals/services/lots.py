"""Acts on chemical lots: receive a delivery, check its strength at the plant, put it in use."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import code_of, one_of, refuse_known, within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.models import ChemicalLot, Place, StrengthCheck, Unloading
from regenplant.chemicals.selectors import strength_of_sample
from regenplant.chemicals.services._ledger import move, standing_place
from regenplant.chemicals.services._receiving import (
    data_sheet_for,
    refuse_expired,
    refuse_ill_stored,
    refuse_overfull,
)
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import Chemical
from regenplant.people.models import Person
from regenplant.plant.selectors import plant_day, profile

COLDEST_KELVIN, HOTTEST_KELVIN = 263.15, 353.15
"""-10 to 80 °C: a bound against slips of unit in the temperature of a sample."""


def _subject(lot: ChemicalLot) -> tuple[str, str, str]:
    return ("chemical_lot", str(lot.pk), lot.code)


# --- receiving ------------------------------------------------------------------------------------------------------
@use_case("chemical.received", permission="chemical.receive")
def receive_delivery(
    *,
    by: By,
    code: str,
    chemical: str,
    certificate_strength_frac: float,
    place_id: int,
    grams_100: int,
    supplier_lot: str = "",
    data_sheet_id: int | None = None,
    connection_checked_by_id: int | None = None,
    unloading_id: int | None = None,
    is_packaged: bool = False,
    expires_on: date | None = None,
) -> Outcome:
    """A delivery into a bulk tank: the lot with its certificate, and the mass in the ledger. ``result`` is the lot.

    A tank takes a delivery through the lock of its coded fill connection only (``unlock``), which names the ``unloading_id``. One
    without a code takes nothing by hose: only what came in closed packages (``is_packaged``: bags, drums, totes).

    ``expires_on`` is the supplier's expiry date, where the papers give one; the lot may still be used on that day.

    ``connection_checked_by_id`` names the second person who held hose label, fill connection and papers side by side.

    It is not in use until the plant has checked its strength. Raises: RecordRefused for a tank of another chemical, a known
    code, a data sheet of another chemical; OutOfRange for a strength that cannot be or more than the tank takes.
    """
    code = code_of(code, "The lot’s code")
    refuse_known(ChemicalLot, code, "Chemical lot")
    one_of(chemical, [item.value for item in Chemical], "The chemical", field="chemical")
    within(
        certificate_strength_frac,
        0.001,
        1.0,
        "The strength on the certificate",
        "strength",
        field="certificate_strength_frac",
    )
    refuse_expired(expires_on, by.at)
    tank = _tank_for(chemical, place_id)
    _refuse_locked(tank, unloading_id, is_packaged=is_packaged)
    refuse_ill_stored(tank)
    second = _second_person(by, connection_checked_by_id)
    refuse_overfull(chemical, tank, certificate_strength_frac, grams_100)
    lot = ChemicalLot.objects.create(
        code=code,
        chemical=chemical,
        certificate_strength_frac=certificate_strength_frac,
        supplier_lot=words_of(supplier_lot, "The supplier’s lot", field="supplier_lot", most=60),
        data_sheet=data_sheet_for(chemical, data_sheet_id),
        expires_on=expires_on,
        received_at=by.happened_at,
    )
    movement = move(
        by=by,
        chemical=chemical,
        lot=lot,
        from_place=standing_place(Place.Kind.SUPPLIER),
        to_place=tank,
        grams_100=grams_100,
        reference=f"delivery {code}",
    )
    return Outcome(
        subject=_subject(lot),
        after={
            "chemical": chemical,
            "certificate_strength_frac": certificate_strength_frac,
            "grams_100": grams_100,
        },
        facts={
            "shown": units.twin(grams_100 / 1000.0, "mass"),
            "name": Chemical(chemical).label.lower(),
            "certificate": units.format_quantity(certificate_strength_frac, "strength"),
            "tank": tank.code,
            "connection_checked_by": second.full_name if second else "",
            "is_packaged": is_packaged,
            **({"expires_on": expires_on.isoformat()} if expires_on else {}),
        },
        related=(("movement", str(movement.number)), ("place", str(tank.pk))),
        result=lot,
    )


def _tank_for(chemical: str, place_id: int) -> Place:
    tank = Place.objects.filter(pk=place_id).first()
    if tank is None or tank.kind != Place.Kind.BULK_TANK:
        raise RecordRefused("A delivery goes into a bulk tank; choose one.", field="place", code="not_a_tank")
    if tank.chemical != chemical:
        raise RecordRefused(
            f"{tank.code} is for {Chemical(tank.chemical).label}; this delivery is {Chemical(chemical).label}. "
            "Stop. Connect nothing. Call the supervisor.",
            field="place",
            code="wrong_tank",
        )
    return tank


def _refuse_locked(tank: Place, unloading_id: int | None, *, is_packaged: bool) -> None:
    """The lock of CS-01: signed open for this tank, and not used yet. Without a code there is no lock, so no hose either."""
    if not tank.connection_code and is_packaged:
        return
    if not tank.connection_code:
        raise RecordRefused(
            f"The fill connection of {tank.code} has no code, so nobody can scan it: nothing is unloaded there by hose. A supervisor "
            f"gives it one under Chemicals, Tanks, {tank.code}, “Fill connection”. Bags, drums and totes are received as closed packages.",
            field="place",
            code="no_connection",
        )
    signed = Unloading.objects.filter(
        place=tank, state=Unloading.State.OPEN, signature__isnull=False, lot__isnull=True
    )
    if unloading_id is None or not signed.filter(pk=unloading_id).exists():
        raise RecordRefused(
            f"The fill connection of {tank.code} is locked. Nothing is unloaded before papers, sample and scanned connection agree "
            "and the lock is signed open: begin with “Unload a delivery”.",
            field="place",
            code="locked",
        )


def _second_person(by: By, person_id: int | None) -> Person | None:
    """Another person than the one who writes; None when nobody is named."""
    if person_id is None:
        return None
    second = Person.objects.filter(pk=person_id, is_active=True).first()
    if second is None or second.pk == by.user.pk:
        raise RecordRefused(
            "A second person looks at the fill connection. Choose somebody else than yourself.",
            field="second_person",
            code="own_work",
        )
    return second


# --- strength -------------------------------------------------------------------------------------------------------
@use_case("chemical.strength_checked", permission="chemical.check")
def check_strength(
    *,
    by: By,
    lot_id: int,
    temperature_kelvin: float,
    value_as_typed: str,
    unit_as_typed: str,
    density_kg_per_m3: float | None = None,
    strength_frac: float | None = None,
    baume_degrees: float | None = None,
) -> Outcome:
    """The plant's own check of a lot: a density or degrees Baumé read in the sample, or a titrated strength by weight.

    Exactly one of the three is given; beside a titrated strength the density of the sample may stand as well, since for some
    chemicals no table knows it. From a hydrometer the strength follows by the core's density of that solution at the
    temperature of the sample; the method is written. ``result`` is the check.

    Raises: OutOfRange when no solution of this chemical has that density; RecordRefused for a finished lot.
    """
    lot = _lot(lot_id)
    read = density_kg_per_m3 if strength_frac is None else None
    given = [value for value in (read, strength_frac, baume_degrees) if value is not None]
    if len(given) != 1:
        raise RecordRefused(
            "Give one of the three: a density, degrees Baumé, or a titrated strength.",
            field="method",
            code="one_method",
        )
    within(
        temperature_kelvin,
        COLDEST_KELVIN,
        HOTTEST_KELVIN,
        "The temperature of the sample",
        "temperature",
        field="temperature_kelvin",
    )
    density: float | None
    if strength_frac is None:
        estimate = strength_of_sample(
            lot.chemical,
            density_kg_per_m3=density_kg_per_m3,
            baume_degrees=baume_degrees,
            temperature_kelvin=temperature_kelvin,
        )
        found, how = estimate.value, estimate.method
        method = "density" if baume_degrees is None else "baume"
        density = next(item.value for item in estimate.inputs if item.kind == "density")
    else:
        if density_kg_per_m3 is not None:
            within(density_kg_per_m3, 850.0, 2000.0, "The density", "density", field="density_kg_per_m3")
        found, method, how, density = strength_frac, "titration", "titration at the plant", density_kg_per_m3
    within(
        found, 0.001, 1.0, "The strength", "strength", field="strength_frac", why="Less than that is water."
    )
    check = StrengthCheck.objects.create(
        lot=lot,
        method=method,
        value_as_typed=words_of(value_as_typed, "The value", field="value", most=40, least=1),
        unit_as_typed=words_of(unit_as_typed, "The unit", field="value", most=40),
        density_kg_per_m3=density,
        temperature_kelvin=temperature_kelvin,
        strength_frac=found,
        checked_at=by.happened_at,
        checked_by=by.user,
    )
    return Outcome(
        subject=_subject(lot),
        after={"strength_frac": found},
        facts={
            "shown": units.format_quantity(found, "strength"),
            "certificate": units.format_quantity(lot.certificate_strength_frac, "strength"),
            "method": how,
            "typed": f"{value_as_typed} {unit_as_typed}".strip(),
            "temperature": units.format_quantity(temperature_kelvin, "temperature"),
        },
        result=check,
    )


def _lot(lot_id: int) -> ChemicalLot:
    lot = ChemicalLot.objects.select_for_update().filter(pk=lot_id).first()
    if lot is None:
        raise RecordRefused("This chemical lot is not known here.", code="unknown")
    if lot.is_finished:
        raise RecordRefused(f"Lot {lot.code} is finished; another lot took its place.", code="finished")
    return lot


@use_case("chemical.lot_put_in_use", permission="chemical.check")
def put_lot_in_use(*, by: By, lot_id: int) -> Outcome:
    """Draw from this lot from now on; the lot before it is finished. ``result`` is the lot.

    Raises: RecordRefused when the plant never checked its strength, the check is too old, it expired, or it is in use already.
    """
    lot = _lot(lot_id)
    if lot.is_in_use:
        raise RecordRefused(f"Lot {lot.code} is in use already.", code="in_use")
    check = lot.checks.order_by("-checked_at", "-id").first()
    if check is None:
        raise RecordRefused(
            f"Lot {lot.code} was never checked at the plant. A dose uses the plant’s check, never the certificate: check it first.",
            code="never_checked",
        )
    age, most = by.at - check.checked_at, profile().strength_check_max_age_days
    if age >= timedelta(days=most + 1):
        raise RecordRefused(
            f"Strength check of lot {lot.code} is {age.days} days old, at most {most}. Check it before you use it.",
            code="check_too_old",
        )
    if lot.expires_on is not None and lot.expires_on < plant_day(by.at):
        raise RecordRefused(
            f"Lot {lot.code} expired on {lot.expires_on} by its supplier. It is not used; take another lot.",
            code="expired",
        )
    before = list(ChemicalLot.objects.select_for_update().filter(chemical=lot.chemical, is_in_use=True))
    ChemicalLot.objects.filter(pk__in=[old.pk for old in before]).update(is_in_use=False, is_finished=True)
    ChemicalLot.objects.filter(pk=lot.pk).update(is_in_use=True)
    lot.is_in_use = True
    return Outcome(
        subject=_subject(lot),
        before={"lot": before[0].code if before else ""},
        after={"lot": lot.code},
        facts={
            "name": Chemical(lot.chemical).label.lower(),
            "shown": units.format_quantity(check.strength_frac, "strength"),
            "old": before[0].code if before else "none",
        },
        related=tuple(("chemical_lot", str(old.pk)) for old in before),
        result=lot,
    )


def _received(subject: str, stored: dict[str, Any]) -> str:
    facts = {"name": "–", "tank": "–", "shown": "–", "certificate": "–", **stored.get("facts", {})}
    second = facts.get("connection_checked_by")
    what = "packages" if facts.get("is_packaged") else "connection"
    checked = f"; {what} checked by {second}" if second else ""
    return (
        f"Lot {subject} of {facts['name']} was received into {facts['tank']}: {facts['shown']} as 100 %, "
        f"certificate {facts['certificate']}{checked}"
    )


say("chemical.received", _received)
say(
    "chemical.strength_checked",
    "Lot {subject} was checked: {shown} by weight, from {typed} at {temperature} ({method}); certificate {certificate}",
)
say("chemical.lot_put_in_use", "Lot {subject} of {name} is in use, {shown}; before it {old}")
