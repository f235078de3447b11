"""Chemical drawn, signatures, papers and acts, as a batch record says them. Reads only."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from django.db.models import Q

from regenplant.audit.selectors import events_about, line_of
from regenplant.chemicals.models import Movement, Place
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.strength_change import origin_words, source_words
from regenplant.core.process.vocabulary import Chemical
from regenplant.documents import copied
from regenplant.documents.batch_record.content import (
    RecordAct,
    RecordDraw,
    RecordForm,
    RecordPaper,
    RecordSignature,
    RecordStrength,
)
from regenplant.documents.batch_record.here import Here, unbroken
from regenplant.documents.models import IssuedPaper
from regenplant.keeping.models import PaperForm
from regenplant.people.models import Signature

PAPER_NAMES = {
    "batch_sheet": "batch sheet",
    "batch_tags": "tank tags",
    "tank_tag": "tank tag",
    "batch_record": "batch record",
    "sample_label": "sample label",
}
GRAMS_PER_KG = 1000.0


# --- chemical ---------------------------------------------------------------------------------------------------
def draws_of(here: Here) -> tuple[RecordDraw, ...]:
    """Every movement for this batch: from stock into it, and what took one back."""
    rows = (
        Movement.objects.filter(reference=here.batch.number)
        .select_related("lot", "from_place", "to_place", "moved_by", "corrects")
        .order_by("number")
    )
    return tuple(_draw(here, row) for row in rows)


def _draw(here: Here, row: Movement) -> RecordDraw:
    is_draw = row.to_place.kind == Place.Kind.BATCH
    sign, stock = 1.0 if is_draw else -1.0, here.plan.request.stock.get(row.chemical)
    taken_back = f"takes back movement {row.corrects.number}: {row.reason}" if row.corrects else row.reason
    return RecordDraw(
        number=row.number,
        chemical=Chemical(row.chemical).label,
        lot=row.lot.code if row.lot else "",
        supplier_lot=row.lot.supplier_lot if row.lot else "",
        certificate_strength_frac=row.lot.certificate_strength_frac if row.lot else None,
        checked_strength_frac=stock.strength_frac if stock and stock.check_age_days is not None else None,
        kg_100=sign * row.grams_100 / GRAMS_PER_KG,
        at=here.at(row.moved_at),
        by=unbroken(row.moved_by.full_name),
        words=taken_back,
    )


def strengths_of(here: Here) -> tuple[RecordStrength, ...]:
    """What the doses were worked out with, by the frozen plan: no later check or delivery changes that."""
    stock = here.plan.request.stock
    wanted = dict.fromkeys(step.chemical for step in here.plan.steps if step.chemical is not None)
    return tuple(
        RecordStrength(
            chemical=chemical.label,
            strength_frac=stock[chemical.value].strength_frac,
            stock=source_words(stock[chemical.value]),
            origin=origin_words(stock[chemical.value], lambda text: here.at(datetime.fromisoformat(text))),
        )
        for chemical in wanted
        if chemical.value in stock
    )


def planned_kg_100(plan: BatchPlan) -> tuple[tuple[str, float], ...]:
    """Planned mass as 100 % by chemical [kg], over all steps."""
    found: dict[str, float] = {}
    for step in plan.steps:
        if step.chemical is not None and "chemical_kg_100" in step.figures:
            found[step.chemical.label] = found.get(step.chemical.label, 0.0) + step.value("chemical_kg_100")
    return tuple(found.items())


# --- signatures and papers --------------------------------------------------------------------------------------
def signatures_of(here: Here) -> tuple[RecordSignature, ...]:
    """Every signature on this batch, on one of its deviations, and under the recipe and the specification it went by, as given."""
    keys = [here.batch.number, *here.batch.deviations.values_list("number", flat=True)]
    went_by = [here.batch.recipe_version.signature_id, here.batch.specification_version.signature_id]
    rows = Signature.objects.filter(Q(record_key__in=keys) | Q(pk__in=went_by)).order_by("signed_at", "pk")
    return tuple(
        RecordSignature(
            printed_name=row.printed_name,
            roles=row.roles,
            meaning=row.meaning,
            local=_as_signed(row.signed_at, row.zone_offset_minutes),
            utc=_utc(row.signed_at),
            terminal=row.terminal,
            record=f"{row.record_kind.replace('_', ' ')} {row.record_key}, version {row.record_version}",
            digest=row.digest,
        )
        for row in rows
    )


def _as_signed(at: datetime, offset_minutes: int) -> str:
    """The local time as at signing, whatever zone the plant has now."""
    zone = timezone(timedelta(minutes=offset_minutes))
    return at.astimezone(zone).isoformat(sep=" ", timespec="seconds")


def _utc(at: datetime) -> str:
    return f"{at.astimezone(UTC).strftime('%Y-%m-%d %H:%M:%S')} UTC"


def papers_of(here: Here) -> tuple[RecordPaper, ...]:
    """Papers printed of this batch, and tags of its tanks printed one by one since it was planned."""
    rows = (
        IssuedPaper.objects.filter(copied.papers_of(here.batch))
        .select_related("issued_by")
        .order_by("issued_at", "pk")
    )
    return tuple(
        RecordPaper(
            name=PAPER_NAMES.get(row.kind, row.kind.replace("_", " ")),
            subject=row.subject_key,
            issue=row.issue_number,
            at=here.at(row.issued_at),
            by=unbroken(row.issued_by.full_name),
            sha256=row.sha256,
        )
        for row in rows
    )


def forms_of(here: Here) -> tuple[RecordForm, ...]:
    """Numbered paper forms that were printed for this batch or turned out to be about it."""
    people = ("issued_by", "transcriber", "confirmed_by", "closed_by")
    rows = PaperForm.objects.filter(batch=here.batch).select_related(*people).order_by("number")
    return tuple(
        RecordForm(
            number=row.number,
            kind=row.get_kind_display(),
            issued=f"{here.at(row.issued_at)} · {unbroken(row.issued_by.full_name)}",
            became=_became(here, row),
            scans=row.scans.count(),
        )
        for row in rows
    )


def _became(here: Here, form: PaperForm) -> str:
    """What became of a form, with everybody who had it in hand."""
    told = []
    if form.transcriber and form.taken_up_at:
        verb = "Transcribed" if form.entered_at else "Being transcribed since"
        when = here.at(form.entered_at or form.taken_up_at)
        told.append(f"{verb} {when} by {unbroken(form.transcriber.full_name)}.")
        if form.remarks:
            told.append(f"Remarks: {form.remarks}")
    if form.confirmed_by and form.confirmed_at:
        told.append(f"Confirmed {here.at(form.confirmed_at)} by {unbroken(form.confirmed_by.full_name)}.")
    elif form.state == PaperForm.State.ENTERED:
        told.append("Not yet confirmed by a second person.")
    if form.closed_by and form.closed_at:
        what = f"{form.get_state_display().capitalize()}: {form.closing_reason}"
        told.append(f"{what} Written {here.at(form.closed_at)} by {unbroken(form.closed_by.full_name)}.")
    return " ".join(told) or "Issued; not back yet."


# --- acts -------------------------------------------------------------------------------------------------------
def acts_of(here: Here) -> tuple[RecordAct, ...]:
    """Every act about this batch, its deviations and the chemical drawn for it, in the order of the record."""
    numbers = Movement.objects.filter(reference=here.batch.number).values_list("number", flat=True)
    subjects = [("batch", here.batch.number), *(("movement", str(number)) for number in numbers)]
    subjects += [("deviation", number) for number in here.batch.deviations.values_list("number", flat=True)]
    found = []
    for event in events_about(subjects):
        line = line_of(event)
        found.append(
            RecordAct(
                number=line.number,
                at=here.at(line.at),
                happened=here.at(line.occurred_at) if line.is_late else "",
                who=line.who,
                roles=line.roles,
                terminal=event.terminal,
                sentence=line.sentence,
                reason=line.reason,
            )
        )
    return tuple(found)
