"""Forms of the instrument register: settings, a calibration with its points, out of service, a look at the impact."""

from __future__ import annotations

from datetime import datetime, time
from typing import Any

from django import forms
from django.utils import timezone

from regenplant.audit.reasons import REASON_CATEGORIES
from regenplant.plant.calibrations import CALIBRATED_AS, INTERVAL_DAYS
from regenplant.plant.models import COMPENSATIONS, Calibration, Instrument, OutOfService
from regenplant.plant.services import CalibrationEvidence, InstrumentSettings, PointAsTyped
from regenplant.units import UnitSystem
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, day_field, moment_field, words_field

POINTS = 4
"""Points the page offers; a cell is checked at two or three."""
OPEN_POINTS = 2
"""How many of them stand open; the others are folded away."""
COMPENSATION_WORDS = {
    "none": "none: it shows the raw value",
    "neutral": "as neutral salt in pure water",
    "acid": "as acid (after a cation bed)",
    "base": "as caustic (after an anion bed)",
    "flat_2": "a flat 2 % per kelvin",
}


class InstrumentForm(HouseForm):
    code = words_field(16, label="Code", help_text="As on its label. It never changes.")
    name = words_field(80, label="Name")
    kind = forms.ChoiceField(label="Kind", choices=[("", "Choose a kind"), *Instrument.Kind.choices])
    uncertainty_frac = QuantityField("fraction", label="Stated uncertainty of a reading", initial=0.01)
    cell_constant_per_cm = QuantityField(
        "ratio", label="Cell constant in 1/cm", required=False, help_text="Only for a conductivity cell."
    )
    compensation = forms.ChoiceField(
        label="Temperature compensation of the meter",
        required=False,
        choices=[
            ("", "no conductivity cell"),
            *((name, COMPENSATION_WORDS.get(name, name)) for name in COMPENSATIONS),
        ],
        help_text="As set in the meter’s menu. Another one, or another cell constant, asks for a new calibration.",
    )
    interval_days = forms.IntegerField(
        label="Days from one calibration to the next",
        required=False,
        min_value=1,
        help_text="Empty: the proposal of its kind, "
        + ", ".join(f"{Instrument.Kind(kind).label} {days}" for kind, days in INTERVAL_DAYS.items())
        + ".",
    )
    is_active = forms.BooleanField(label="In use", required=False, initial=True)

    @classmethod
    def initial_of(cls, instrument: Instrument) -> dict[str, Any]:
        names = (name for name in cls.base_fields if name != "version")
        return {name: getattr(instrument, name) for name in names} | {"version": instrument.version}

    def settings(self) -> InstrumentSettings:
        data = self.cleaned_data
        return InstrumentSettings(
            code=self.text("code"),
            name=self.text("name"),
            kind=data["kind"],
            cell_constant_per_cm=self.quantity("cell_constant_per_cm"),
            compensation=data["compensation"],
            uncertainty_frac=self.needed_quantity("uncertainty_frac"),
            is_active=data["is_active"],
            interval_days=data["interval_days"],
        )


class CalibrationForm(HouseForm):
    """One calibration. ``kind`` is the instrument's; ``asks_why`` for the correction of one that is written."""

    calibrated_on = day_field(label="Calibrated on")
    done_time = forms.TimeField(
        label="At what time it was finished",
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        error_messages={"invalid": "This is no time of day. Write it as 14:05."},
    )
    due_on = day_field(label="Next one due on", required=False)
    laboratory = words_field(
        120, label="By an outside laboratory", required=False, help_text="Its name. Empty: you did it."
    )
    reference_kind = forms.ChoiceField(
        label="Compared with", required=False, choices=[("", "not written"), *Calibration.Reference.choices]
    )
    reference = words_field(
        120, label="Which one", required=False, help_text="As on its label: 84 µS/cm at 25 °C."
    )
    certificate = words_field(60, label="Its certificate or lot number", required=False)
    reference_expires_on = day_field(label="It is good until", required=False)
    without_points = forms.BooleanField(
        label="No points: the laboratory’s certificate gives none",
        required=False,
        help_text="Only by an outside laboratory, with the number of its certificate.",
    )
    note = words_field(200, label="Note", required=False)

    def __init__(
        self, *args: Any, kind: str = Instrument.Kind.CONDUCTIVITY, asks_why: bool = False, **kwargs: Any
    ):
        self.kind, self.asks_why = kind, asks_why
        self.unit_system: UnitSystem = "us" if kwargs.get("system") == "us" else "metric"
        super().__init__(*args, **kwargs)

    def extra_fields(self) -> dict[str, forms.Field]:
        kind, tolerance_kind, proposal = CALIBRATED_AS[self.kind]
        found: dict[str, forms.Field] = {}
        for number in range(1, POINTS + 1):
            found |= {
                f"reference_{number}": QuantityField(kind, label="Reference", required=False),
                f"found_{number}": QuantityField(kind, label="As found", required=False),
                f"left_{number}": QuantityField(kind, label="As left", required=False),
                f"tolerance_{number}": QuantityField(
                    tolerance_kind or kind, label="Tolerance", required=False, initial=proposal
                ),
            }
        if self.asks_why:
            found |= {
                "category": forms.ChoiceField(
                    label="What kind of reason", choices=[("", "Choose one"), *REASON_CATEGORIES.items()]
                ),
                "reason": words_field(
                    300, rows=2, label="What was wrong", help_text="At least ten characters."
                ),
            }
        return found

    def head_fields(self) -> list[forms.BoundField]:
        """What stands above the points."""
        names = [name for name in type(self).base_fields if name not in ("version", "note")]
        return [self[name] for name in names]

    def point_fields(self) -> list[tuple[int, list[forms.BoundField]]]:
        names = ("reference", "found", "left", "tolerance")
        return [(number, [self[f"{name}_{number}"] for name in names]) for number in range(1, POINTS + 1)]

    def first_points(self) -> list[tuple[int, list[forms.BoundField]]]:
        """The points that stand open on the page."""
        return self.point_fields()[:OPEN_POINTS]

    def more_points(self) -> list[tuple[int, list[forms.BoundField]]]:
        return self.point_fields()[OPEN_POINTS:]

    def shows_more_points(self) -> bool:
        """Whether something is written in the points that are folded away, or refused there."""
        return any(
            bound.errors or (bound.value() and not bound.name.startswith("tolerance_"))
            for _, fields in self.more_points()
            for bound in fields
        )

    def last_fields(self) -> list[forms.BoundField]:
        return [self["note"], *([self["category"], self["reason"]] if self.asks_why else [])]

    def _typed(self, name: str) -> str:
        return str(self.data.get(self.add_prefix(name), "")).strip()

    def evidence(self) -> CalibrationEvidence:
        """What was typed, for the service; rows of points of which nothing was read are left out."""
        points = []
        for number in range(1, POINTS + 1):
            reference, found, left = (
                self._typed(f"{name}_{number}") for name in ("reference", "found", "left")
            )
            if reference or found or left:
                points.append(PointAsTyped(reference, found, left, self._typed(f"tolerance_{number}")))
        data = self.cleaned_data
        return CalibrationEvidence(
            done_at=self._done_at(data["calibrated_on"], data.get("done_time")),
            laboratory=self.text("laboratory"),
            reference_kind=self.text("reference_kind"),
            reference=self.text("reference"),
            certificate=self.text("certificate"),
            reference_expires_on=data.get("reference_expires_on"),
            points=tuple(points),
            is_without_points=data["without_points"],
            system=self.unit_system,
        )

    @staticmethod
    def _done_at(day: Any, clock: time | None) -> datetime | None:
        if clock is None:
            return None
        return timezone.make_aware(datetime.combine(day, clock))

    def arguments(self) -> dict[str, Any]:
        """For the service, without what names the instrument or the calibration."""
        found = {
            "calibrated_on": self.cleaned_data["calibrated_on"],
            "due_on": self.cleaned_data["due_on"],
            "note": self.text("note"),
            "version": self.shown_version,
            "evidence": self.evidence(),
        }
        if self.asks_why:
            found |= {"category": self.cleaned_data["category"], "reason": self.text("reason")}
        return found


class TakeOutForm(HouseForm):
    cause = forms.ChoiceField(
        label="Why",
        choices=[
            ("", "Choose one"),
            *(
                (value, label)
                for value, label in OutOfService.Cause.choices
                if value not in ("changed", "left_outside")
            ),
        ],
    )
    from_at = moment_field(
        label="Since when", required=False, help_text="Empty: now. Readings from then on do not count."
    )
    reason = words_field(300, rows=2, label="What happened", help_text="At least ten characters.")


class LookForm(HouseForm):
    seen_digest = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)
    words = words_field(
        400,
        rows=4,
        label="What was found, and what follows",
        help_text="Which batches were looked at, who was told, which were measured again. At least ten characters.",
    )
