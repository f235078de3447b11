"""What laboratories find in samples of resin: written down once, corrected by a newer row with a reason."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.reasons import Reason, reason_of
from regenplant.audit.records import one_of, within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.resin_ageing import LEAST_SD, MOST_SD
from regenplant.core.process.resin_tests import Property
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.models import ResinFigure, ResinSample
from regenplant.quality.services._resins import resin_of
from regenplant.resins.models import ResinLot, ResinType

FIRST_SAMPLE = 1001
LEAST_RATIO, MOST_RATIO = 0.02, 1.25
"""A capacity outside these shares of new is a slip of unit or form; this program's own bounds."""


@dataclass(frozen=True, slots=True)
class FigureAsTyped:
    """One figure of the report; ``new_text`` is the same figure of new resin, ``sd_text`` the uncertainty the laboratory states."""

    property: str
    value_text: str
    method: str
    new_text: str = ""
    sd_text: str = ""


@dataclass(frozen=True, slots=True)
class SampleAsTyped:
    """Where a sample came from. ``resin``: of a mixed bed "cation" or "anion", else ""."""

    taken_at: datetime
    taken_by: str
    taken_how: str
    laboratory: str
    report: str = ""
    resin: str = ""


@use_case("resin_sample.recorded", permission="resin.test")
def record_resin_sample(
    *,
    by: By,
    lot_id: int,
    sample: SampleAsTyped,
    figures: Sequence[FigureAsTyped],
    system: units.UnitSystem = "metric",
) -> Outcome:
    """Write down a sample of a lot with every figure the laboratory gave.

    Raises: RecordRefused, UnitNotUnderstood, OutOfRange; nothing is written then.
    """
    lot = (
        ResinLot.objects.select_related("resin_type__cation_type", "resin_type__anion_type")
        .filter(pk=lot_id)
        .first()
    )
    if lot is None:
        raise RecordRefused("This resin lot is not known here.", code="unknown")
    resin = resin_of(lot, sample.resin)
    if sample.taken_at > by.at:
        raise RecordRefused(
            "The sample would be taken in the future. Write when it was taken.",
            field="taken_at",
            code="future",
        )
    if sample.taken_at < lot.made_at:
        raise RecordRefused(
            f"The sample would be older than lot {lot.code}, made {lot.made_at:%Y-%m-%d %H:%M} UTC. Choose the lot it was taken from.",
            field="taken_at",
            code="before_the_lot",
        )
    if not figures:
        raise RecordRefused(
            "No figure is written. Write at least one of the report.", field="figures", code="no_figure"
        )
    report = words_of(sample.report, "The report’s number", field="report", most=80)
    _refuse_twice(lot, sample, report)
    row = ResinSample.objects.create(
        number=next_number(ResinSample, "number", "LT", FIRST_SAMPLE),
        lot=lot,
        resin=sample.resin,
        taken_at=sample.taken_at,
        taken_by=words_of(sample.taken_by, "Who took it", field="taken_by", most=80, least=2),
        taken_how=words_of(
            sample.taken_how, "Where and how it was taken", field="taken_how", most=200, least=3
        ),
        laboratory=words_of(sample.laboratory, "The laboratory", field="laboratory", most=120, least=2),
        report=report,
        entered_at=by.at,
        entered_by=by.user,
    )
    made = [_figure(by, row, resin, typed, system) for typed in figures]
    return Outcome(
        subject=("resin_lot", str(lot.pk), lot.code),
        after={one.property: _shown(one) for one in made},
        facts={
            "sample": row.number,
            "laboratory": row.laboratory,
            "shown": "; ".join(f"{Property(one.property).label} {_shown(one)}" for one in made),
        },
        related=(("resin_sample", row.number),),
        result=row,
    )


@use_case("resin_figure.corrected", permission="resin.test")
def correct_resin_figure(
    *,
    by: By,
    figure_id: int,
    figure: FigureAsTyped,
    category: str,
    reason: str,
    system: units.UnitSystem = "metric",
) -> Outcome:
    """Correct one figure by a new one with a reason; the old one stays readable.

    Raises: RecordRefused, UnitNotUnderstood, OutOfRange.
    """
    old = (
        ResinFigure.objects.select_related(
            "sample__lot__resin_type__cation_type", "sample__lot__resin_type__anion_type"
        )
        .filter(pk=figure_id)
        .first()
    )
    if old is None:
        raise RecordRefused("This figure is not known here.", code="unknown")
    if hasattr(old, "replaced_by"):
        raise RecordRefused(
            "This figure was already corrected. Correct the newest one.", code="already_corrected"
        )
    if figure.property != old.property:
        raise RecordRefused(
            f"This corrects {Property(old.property).label}; another figure is written down with its own sample.",
            code="other_property",
        )
    why = reason_of(category, reason)
    lot = old.sample.lot
    row = _figure(by, old.sample, resin_of(lot, old.sample.resin), figure, system, replaces=old, reason=why)
    return Outcome(
        subject=("resin_lot", str(lot.pk), lot.code),
        before={"value": _shown(old)},
        after={"value": _shown(row)},
        facts={
            "sample": old.sample.number,
            "name": Property(row.property).label,
            "reason_category": why.category,
        },
        reason=why.sentence,
        related=(("resin_sample", old.sample.number),),
        result=row,
    )


def _refuse_twice(lot: ResinLot, sample: SampleAsTyped, report: str) -> None:
    same = ResinSample.objects.filter(
        lot=lot,
        resin=sample.resin,
        taken_at=sample.taken_at,
        laboratory=sample.laboratory.strip(),
        report=report,
    ).first()
    if same is not None:
        raise RecordRefused(
            f"This sample is written down already, as {same.number}. Correct a figure of it instead.",
            code="already_written",
        )


def _figure(
    by: By,
    sample: ResinSample,
    resin: ResinType,
    typed: FigureAsTyped,
    system: units.UnitSystem,
    *,
    replaces: ResinFigure | None = None,
    reason: Reason | None = None,
) -> ResinFigure:
    one_of(typed.property, [one.value for one in Property], "The figure", field="property")
    about = Property(typed.property)
    value = _understood(typed.value_text, about, about.label, about.value, system)
    new_value, new_as_typed = _new(typed, about, resin, system)
    if about.is_capacity:
        _refuse_slip(about, value.value, new_value)
    sd_frac = None
    if typed.sd_text.strip():
        sd_frac = within(
            units.understand(typed.sd_text, "fraction", system=system).value, LEAST_SD, MOST_SD,
            "The uncertainty of the method", "fraction", field=f"{about.value}_sd",
        )  # fmt: skip
    return ResinFigure.objects.create(
        sample=sample,
        property=about.value,
        value_as_typed=value.value_as_typed,
        unit_as_typed=value.unit_as_typed,
        value=value.value,
        new_as_typed=new_as_typed,
        new_value=new_value,
        method=words_of(
            typed.method,
            f"The method of {about.label.lower()}",
            field=f"{about.value}_method",
            most=120,
            least=3,
        ),
        sd_frac=sd_frac,
        entered_at=by.at,
        entered_by=by.user,
        replaces=replaces,
        reason_category=reason.category if reason else "",
        reason=reason.words if reason else "",
    )


def _understood(
    text: str, about: Property, what: str, field: str, system: units.UnitSystem
) -> units.Understood:
    found = units.understand(text, about.kind, system=system)
    within(found.value, about.low, about.high, what, about.kind, field=field)
    return found


def _new(
    typed: FigureAsTyped, about: Property, resin: ResinType, system: units.UnitSystem
) -> tuple[float | None, str]:
    """The figure of new resin: as typed; for total capacity, and salt splitting of strong-acid resin, the data sheet's where nothing is."""
    if not about.wants_new:
        return None, ""
    if typed.new_text.strip():
        found = _understood(
            typed.new_text, about, f"{about.label} of new resin", f"{about.value}_new", system
        )
        return found.value, f"{found.value_as_typed} {found.unit_as_typed}".strip()[:40]
    if about is Property.TOTAL_CAPACITY or (
        about is Property.SALT_SPLITTING and ResinFamily(resin.family).is_cation
    ):
        return resin.total_capacity_eq_per_m3, ""
    if about is Property.SALT_SPLITTING:
        raise RecordRefused(
            "Write the salt-splitting capacity of new resin too, from its data sheet: without it the figure says nothing of ageing.",
            field=f"{about.value}_new",
            code="no_new",
        )
    return None, ""


def _refuse_slip(about: Property, value: float, new: float | None) -> None:
    if new is None or LEAST_RATIO <= value / new <= MOST_RATIO:
        return
    raise OutOfRange(
        f"{about.label} would be {value / new:.0%} of new ({units.twin(value, about.kind)} of {units.twin(new, about.kind)}); "
        f"possible is {LEAST_RATIO:.0%} to {MOST_RATIO:.0%}. Look at the unit, and whether it is per volume of settled resin.",
        field=about.value,
        seen=value,
        allowed_low=LEAST_RATIO * new,
        allowed_high=MOST_RATIO * new,
    )


def _shown(row: ResinFigure) -> str:
    return f"{row.value_as_typed} {row.unit_as_typed}".strip()


say("resin_sample.recorded", "Resin lot {subject}: sample {sample} of {laboratory} was written down, {shown}")
say(
    "resin_figure.corrected",
    "Resin lot {subject}: {name} of sample {sample} was corrected from {before_value} to {value}",
)
