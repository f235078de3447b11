"""Acts on the lock of a delivery (CS-01): nothing is unloaded before papers, sample, room and fill connection agree.

    open_unloading       order line, product and UN number on the papers, lot, certificate, room: against the tank
    check_sample         density and temperature of a sample, against the certificate
    confirm_connection   a second person scans the code on the fill connection
    unlock               signed; only now the lot exists and its mass stands in the tank

What does not agree stops the delivery for good, as an act that is kept: a near miss. It is no mere refusal, so that nobody
can try once more until it fits. A supervisor answers it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import code_of, one_of, refuse_known, within, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.expected import meant_by
from regenplant.chemicals.models import ChemicalLot, Place, Unloading
from regenplant.chemicals.room import no_room
from regenplant.chemicals.selectors import strength_of_sample, unlocked_content
from regenplant.chemicals.services._moves import end_unloading
from regenplant.chemicals.services._receiving import (
    data_sheet_for,
    refuse_expired,
    refuse_ill_stored,
)
from regenplant.chemicals.services.expecting import settle_expected
from regenplant.chemicals.services.lots import (
    COLDEST_KELVIN,
    HOTTEST_KELVIN,
    receive_delivery,
)
from regenplant.chemicals.un_numbers import normal_un, un_words
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.process.weighing import LEAST_TOLERANCE_FRAC, MOST_TOLERANCE_FRAC, USUAL_TOLERANCE_FRAC
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import profile

State = Unloading.State
UNLOCK_MEANING = "papers, sample and fill connection agree; unlocked for unloading"
ALARM = "Stop. Connect nothing. Keep away from the hose. Call the supervisor."


@dataclass(frozen=True, slots=True)
class Papers:
    """What the papers of a delivery say, and the tank it is meant for. Every one of these is needed."""

    order_line: str
    chemical: str
    un_number: str
    lot_code: str
    supplier_lot: str
    certificate_strength_frac: float
    grams_100: int
    place_id: int
    data_sheet_id: int | None = None
    expires_on: date | None = None
    """The supplier's expiry date, where the papers give one."""


def _subject(row: Unloading) -> tuple[str, str, str]:
    return ("unloading", row.number, row.number)


def _open(unloading_id: int) -> Unloading:
    row = (
        Unloading.objects.select_for_update()
        .select_related("place", "opened_by")
        .filter(pk=unloading_id)
        .first()
    )
    if row is None:
        raise RecordRefused("This delivery is not known here.", code="unknown")
    if row.state == State.STOPPED:
        raise RecordRefused(
            f"{row.number} was stopped: {row.alarm} It is never unlocked. {ALARM}", code="stopped"
        )
    if row.state != State.OPEN:
        raise StaleRecord(f"{row.number} is unlocked already.", code="unlocked")
    return row


# --- the connection ---------------------------------------------------------------------------------------------------
@use_case("place.connection_set", permission="plant.edit")
def set_fill_connection(
    *,
    by: By,
    place_id: int,
    connection_code: str,
    un_number: str,
    ullage_margin_m3: float,
    receipt_tolerance_frac: float = 0.02,
    weigh_tolerance_frac: float = USUAL_TOLERANCE_FRAC,
    version: int | None = None,
) -> Outcome:
    """Give a bulk tank its coded fill connection: from now on it takes deliveries through the lock only.

    ``connection_code`` is the code fixed to the connection, ``un_number`` what stands there. Raises: RecordRefused, OutOfRange,
    StaleRecord.
    """
    place = Place.objects.select_for_update().filter(pk=place_id).first()
    if place is None or place.kind != Place.Kind.BULK_TANK:
        raise RecordRefused(
            "Only a bulk tank has a fill connection; choose one.", field="place", code="not_a_tank"
        )
    code = code_of(connection_code, "The code of the connection", longest=24)
    other = Place.objects.filter(connection_code=code).exclude(pk=place.pk).first()
    if other is not None:
        raise RecordRefused(
            f"{code} is the fill connection of {other.code}. Two connections never bear the same code.",
            field="connection_code",
            code="known",
        )
    most = place.capacity_m3 if place.capacity_m3 is not None else 500.0
    within(ullage_margin_m3, 0.0, most, "The room that stays free", "liquid_volume", field="ullage_margin_m3")
    within(
        receipt_tolerance_frac,
        0.001,
        0.1,
        "The tolerance of the sample",
        "strength",
        field="receipt_tolerance_frac",
    )
    within(
        weigh_tolerance_frac,
        LEAST_TOLERANCE_FRAC,
        MOST_TOLERANCE_FRAC,
        "The tolerance of the weigh ticket",
        "fraction",
        field="weigh_tolerance_frac",
    )
    values = {
        "connection_code": code,
        "un_number": normal_un(words_of(un_number, "The UN number", field="un_number", most=10, least=4)),
        "ullage_margin_m3": ullage_margin_m3,
        "receipt_tolerance_frac": receipt_tolerance_frac,
        "weigh_tolerance_frac": weigh_tolerance_frac,
    }
    before, after = write_changed(place, values, version=version, label=f"Place {place.code}")
    return Outcome(subject=("place", str(place.pk), place.code), before=before, after=after, result=place)


# --- papers -----------------------------------------------------------------------------------------------------------
@use_case("unloading.opened", permission="chemical.receive")
def open_unloading(*, by: By, papers: Papers) -> Outcome:
    """Hold the papers against the tank. ``result`` is the delivery: locked, or stopped when they do not agree, or when the tank has no
    room for it with its margin.

    Raises: RecordRefused for what is missing.
    """
    place = Place.objects.filter(pk=papers.place_id).first()
    if place is None or place.kind != Place.Kind.BULK_TANK:
        raise RecordRefused("A delivery goes into a bulk tank; choose one.", field="place", code="not_a_tank")
    _refuse_uncoded(place)
    values = _papers(papers)
    refuse_expired(papers.expires_on, by.at)
    alarm = _alarm_of_papers(papers, values["un_number"], place)
    if not alarm:
        refuse_ill_stored(place)
        alarm = no_room(papers.chemical, place, papers.certificate_strength_frac, papers.grams_100)
    row = Unloading.objects.create(
        number=next_number(Unloading, "number", "U", 10001),
        place=place,
        opened_by=by.user,
        opened_at=by.at,
        **values,
    )
    outcome = Outcome(
        subject=_subject(row),
        after={"chemical": row.chemical, "un_number": row.un_number, "grams_100": row.grams_100},
        facts={
            "order_line": row.order_line,
            "lot": row.lot_code,
            "name": Chemical(row.chemical).label.lower(),
            "tank": place.code,
        },
        related=(("place", str(place.pk)),),
        result=row,
    )
    if alarm:
        _stop(by, row, alarm)
    return outcome


def _refuse_uncoded(place: Place) -> None:
    if not place.connection_code:
        raise RecordRefused(
            f"The fill connection of {place.code} has no code, so a second person cannot scan it and the lock stays shut. A supervisor "
            f"gives it one under Chemicals, Tanks, {place.code}, “Fill connection”.",
            field="place",
            code="no_connection",
        )


def _papers(papers: Papers) -> dict[str, Any]:
    one_of(papers.chemical, [item.value for item in Chemical], "The chemical", field="chemical")
    lot_code = code_of(papers.lot_code, "The lot’s code")
    refuse_known(ChemicalLot, lot_code, "Chemical lot")
    within(
        papers.certificate_strength_frac, 0.001, 1.0, "The strength on the certificate", "strength",
        field="certificate_strength_frac",
    )  # fmt: skip
    if papers.grams_100 <= 0:
        raise RecordRefused(
            "A delivery of nothing cannot be. Read the quantity from the papers.", field="quantity"
        )
    return {
        "order_line": words_of(papers.order_line, "The order line", field="order_line", most=60, least=2),
        "chemical": papers.chemical,
        "un_number": normal_un(
            words_of(papers.un_number, "The UN number", field="un_number", most=10, least=4)
        ),
        "lot_code": lot_code,
        "supplier_lot": words_of(
            papers.supplier_lot, "The supplier’s lot", field="supplier_lot", most=60, least=1
        ),
        "data_sheet": data_sheet_for(papers.chemical, papers.data_sheet_id),
        "certificate_strength_frac": papers.certificate_strength_frac,
        "grams_100": papers.grams_100,
        "expires_on": papers.expires_on,
    }


def _alarm_of_papers(papers: Papers, un_number: str, place: Place) -> str:
    if papers.chemical != place.chemical:
        return (
            f"The papers name {Chemical(papers.chemical).label.lower()}; {place.code} is for "
            f"{Chemical(place.chemical).label.lower()}."
        )
    if un_number != place.un_number:
        return (
            f"The papers say {un_words(un_number)}; at the fill connection of {place.code} stands "
            f"{un_words(place.un_number)}."
        )
    return ""


# --- sample -----------------------------------------------------------------------------------------------------------
@use_case("unloading.sampled", permission="chemical.check")
def check_sample(
    *,
    by: By,
    unloading_id: int,
    density_kg_per_m3: float,
    temperature_kelvin: float,
    value_as_typed: str,
    unit_as_typed: str,
    strength_frac: float | None = None,
) -> Outcome:
    """Density and temperature of a sample of the delivery; ``result`` is the delivery, stopped when outside the tolerance.

    The strength follows from the density; ``strength_frac`` is a titration, for a chemical whose density no table knows. It
    is no strength check of the lot: that is done in the tank, on what the delivery and the rest became. Raises: OutOfRange,
    RecordRefused.
    """
    row = _open(unloading_id)
    within(
        temperature_kelvin, COLDEST_KELVIN, HOTTEST_KELVIN, "The temperature of the sample", "temperature",
        field="temperature_kelvin",
    )  # fmt: skip
    within(density_kg_per_m3, 850.0, 2000.0, "The density", "density", field="density_kg_per_m3")
    found = strength_frac
    if found is None:
        found = strength_of_sample(
            row.chemical, density_kg_per_m3=density_kg_per_m3, temperature_kelvin=temperature_kelvin
        ).value
    within(
        found, 0.001, 1.0, "The strength", "strength", field="strength_frac", why="Less than that is water."
    )
    values = {
        "value_as_typed": words_of(value_as_typed, "The value", field="value", most=40, least=1),
        "unit_as_typed": words_of(unit_as_typed, "The unit", field="value", most=40),
        "density_kg_per_m3": density_kg_per_m3,
        "temperature_kelvin": temperature_kelvin,
        "sample_strength_frac": found,
        "sampled_by": by.user,
        "sampled_at": by.at,
    }
    if row.sampled_by_id is not None:
        raise StaleRecord(f"{row.number} was sampled already.", code="sampled")
    Unloading.objects.filter(pk=row.pk).update(**values)
    row.refresh_from_db()
    shown = units.format_quantity(found, "strength")
    certificate = units.format_quantity(row.certificate_strength_frac, "strength")
    outcome = Outcome(
        subject=_subject(row),
        after={"sample_strength_frac": found},
        facts={
            "shown": shown,
            "certificate": certificate,
            "typed": f"{value_as_typed} {unit_as_typed}".strip(),
        },
        result=row,
    )
    if abs(found - row.certificate_strength_frac) > row.place.receipt_tolerance_frac:
        tolerance = units.format_quantity(row.place.receipt_tolerance_frac, "strength")
        _stop(
            by,
            row,
            f"The sample has {shown}, the certificate says {certificate}; allowed is a difference of {tolerance}.",
        )
    return outcome


# --- connection -------------------------------------------------------------------------------------------------------
@use_case("unloading.connection_scanned", permission="chemical.receive")
def confirm_connection(*, by: By, unloading_id: int, scanned: str) -> Outcome:
    """A second person scans the code on the fill connection. ``result`` is the delivery, stopped when it is another's code.

    Raises: NotAllowed for the person who opened the delivery; RecordRefused.
    """
    row = _open(unloading_id)
    if row.opened_by_id == by.user.pk:
        raise NotAllowed(
            f"You opened {row.number}. A second person goes to the fill connection and scans its code.",
            code="own_work",
        )
    if row.confirmed_by_id is not None:
        raise StaleRecord(f"The connection of {row.number} was scanned already.", code="confirmed")
    code = words_of(scanned, "The scanned code", field="scanned", most=24, least=1).upper()
    is_right = code == row.place.connection_code
    if is_right:
        Unloading.objects.filter(pk=row.pk).update(confirmed_by=by.user, confirmed_at=by.at)
        row.refresh_from_db()
    outcome = Outcome(
        subject=_subject(row),
        after={"confirmed": is_right},
        facts={"scanned": code, "tank": row.place.code},
        related=(("place", str(row.place_id)),),
        result=row,
    )
    if not is_right:
        _stop(by, row, _alarm_of_scan(code, row.place))
    return outcome


def _alarm_of_scan(code: str, place: Place) -> str:
    other = Place.objects.filter(connection_code=code).first()
    if other is None:
        return f"{code} is no fill connection of this plant; {place.code} has {place.connection_code}."
    return (
        f"{code} is the fill connection of {other.code}, for {Chemical(other.chemical).label.lower()}; this delivery is "
        f"{Chemical(place.chemical).label.lower()} for {place.code}."
    )


# --- stop and unlock --------------------------------------------------------------------------------------------------
def _stop(by: By, row: Unloading, alarm: str) -> None:
    stop_unloading(by=by, unloading_id=row.pk, alarm=alarm)
    row.refresh_from_db()


@use_case("unloading.stopped", permission="")
def stop_unloading(*, by: By, unloading_id: int, alarm: str) -> Outcome:
    """Stop a delivery for good and keep it as a near miss. Anybody signed in may: a stop asks for no right.

    Raises: RecordRefused, StaleRecord when it is unlocked already.
    """
    row = _open(unloading_id)
    words = words_of(alarm, "What does not agree", field="alarm", most=300, least=10)
    end_unloading(row, State.STOPPED, alarm=words, stopped_by=by.user, stopped_at=by.at)
    return Outcome(
        subject=_subject(row),
        before={"state": State.OPEN.value},
        after={"state": State.STOPPED.value},
        facts={"near_miss": True, "alarm": words, "tank": row.place.code},
        related=(("place", str(row.place_id)),),
        result=row,
    )


@use_case("unloading.stop_answered", permission="chemical.correct")
def answer_stop(*, by: By, unloading_id: int, answer: str) -> Outcome:
    """Say what was found and done about a near miss. The delivery stays stopped. Raises: RecordRefused, StaleRecord."""
    row = Unloading.objects.select_for_update().filter(pk=unloading_id, state=State.STOPPED).first()
    if row is None:
        raise RecordRefused("This delivery was not stopped.", code="not_stopped")
    words = words_of(answer, "The answer", field="answer", most=300, least=10)
    hit = Unloading.objects.filter(pk=row.pk, answered_by__isnull=True).update(
        answered_by=by.user, answered_at=by.at, answer=words
    )
    if hit != 1:
        raise StaleRecord(f"The stop of {row.number} is answered already.", code="answered")
    row.refresh_from_db()
    return Outcome(subject=_subject(row), after={"answer": words}, reason=words, result=row)


@use_case("unloading.unlocked", permission="chemical.receive")
def unlock(*, by: By, unloading_id: int, permit: SignaturePermit) -> Outcome:
    """Sign the lock open, by who opened it, after every check: the lot is written and its mass stands in the tank.

    ``result`` is the delivery with its ``lot``. Raises: RecordRefused naming what is missing, NotAllowed, SignatureRefused.
    """
    row = _open(unloading_id)
    _refuse_uncoded(row.place)
    missing = [
        words
        for done, words in (
            (row.sampled_by_id, "the density and temperature of a sample"),
            (row.confirmed_by_id, "the scan of the fill connection by a second person"),
        )
        if done is None
    ]
    if missing:
        raise RecordRefused(
            f"{row.number} stays locked: {' and '.join(missing)} is missing. Connect nothing until then.",
            code="locked",
        )
    if row.opened_by_id != by.user.pk:
        raise NotAllowed(
            f"{row.opened_by.full_name} opened {row.number} and unlocks it.", code="not_the_opener"
        )
    signature = bind(
        permit, by=by, meaning=UNLOCK_MEANING, record_kind="unloading", record_key=row.number, record_version=row.version,
        content=unlocked_content(row), zone=profile().time_zone,
    )  # fmt: skip
    Unloading.objects.filter(pk=row.pk).update(signature=signature)
    lot = receive_delivery(
        by=by,
        code=row.lot_code,
        chemical=row.chemical,
        certificate_strength_frac=row.certificate_strength_frac,
        place_id=row.place_id,
        grams_100=row.grams_100,
        supplier_lot=row.supplier_lot,
        data_sheet_id=row.data_sheet_id,
        connection_checked_by_id=row.confirmed_by_id,
        unloading_id=row.pk,
        expires_on=row.expires_on,
    ).result
    end_unloading(row, State.UNLOCKED, lot=lot)
    ordered = meant_by(row.place_id, row.order_line)
    if ordered is not None:
        settle_expected(by=by, number=ordered.number, lot_id=lot.pk)
    return Outcome(
        subject=_subject(row),
        before={"state": State.OPEN.value},
        after={"state": State.UNLOCKED.value},
        facts={"tank": row.place.code, "lot": lot.code},
        signature={"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name},
        related=(("chemical_lot", str(lot.pk)), ("place", str(row.place_id))),
        result=row,
    )


say("place.connection_set", "The fill connection of {subject} was set")
say(
    "unloading.opened",
    "Delivery {subject} of {name} was opened for {tank}: order line {order_line}, lot {lot}",
)
say("unloading.sampled", "Delivery {subject} was sampled: {shown} from {typed}; certificate {certificate}")
say(
    "unloading.connection_scanned",
    "At delivery {subject} the fill connection {scanned} was scanned, for {tank}",
)
say("unloading.stopped", "Near miss: delivery {subject} for {tank} was stopped. {alarm}")
say("unloading.stop_answered", "The stop of delivery {subject} was answered: {reason}")
say("unloading.unlocked", "Delivery {subject} was unlocked and unloaded into {tank} as lot {lot}")
