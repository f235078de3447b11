"""What is written about resin in the store. Every volume goes with the ionic form it was counted in."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.core.process.resin_lots import forms_with_volume
from regenplant.resins.bodies import family_of, stored_by_lot
from regenplant.resins.models import CLASSES, FORMS, ResinLot, ResinType
from regenplant.resins.services import Counted, Piece, Taken
from regenplant.units import twin
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field

PIECES = 3
"""Lots on one page; more are made by doing it again."""


def form_field(resin_type: ResinType | None) -> forms.ChoiceField:
    """In which form the volumes were counted: those between which the swelling of the type is on record."""
    known = (
        [form.value for form in forms_with_volume(family_of(resin_type))]
        if resin_type
        else [value for value, _ in FORMS]
    )
    choices = [(value, label) for value, label in FORMS if value in known]
    first = [] if len(choices) == 1 else [("", "Choose a form")]
    return forms.ChoiceField(
        label="Counted in", choices=[*first, *choices], help_text="All volumes on this page, settled."
    )


class StoredLotField(forms.ModelChoiceField):
    """A lot that has resin in the store, with how much."""

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(ResinLot.objects.none(), *args, **kwargs)
        self.stored: dict[int, float] = {}

    def label_from_instance(self, lot: Any) -> str:
        waits = ", waits for conditioning" if lot.needs_conditioning else ""
        owner = f", dedicated to {lot.dedicated_to}" if lot.dedicated_to else ""
        return f"{lot.code} · {lot.resin_type.code}, class {lot.segregation_class}{owner}, {twin(self.stored.get(lot.pk, 0.0), 'resin_volume')} in the store{waits}"


def offer_stored(
    field: forms.Field, resin_type: ResinType | None = None, *, but: ResinLot | None = None
) -> None:
    """Let a field choose among the lots that stand in the store, of one resin type or of all."""
    assert isinstance(field, StoredLotField)
    lots = ResinLot.objects.filter(is_scrapped=False, movements__isnull=False)
    if resin_type is not None:
        lots = lots.filter(resin_type=resin_type)
    field.stored = stored_by_lot(lots.values_list("pk", flat=True).distinct())
    chosen = ResinLot.objects.filter(pk__in=field.stored).select_related("resin_type")
    field.queryset = (chosen.exclude(pk=but.pk) if but else chosen).order_by("code")


class InStoreForm(HouseForm):
    """An act on a lot in the store."""

    ROWS: tuple[tuple[str, ...], ...] = ()
    """Fields that stand beside each other; none: the page lets them flow."""

    def __init__(self, *args: Any, lot: ResinLot | None = None, **kwargs: Any):
        self.lot = lot
        super().__init__(*args, **kwargs)
        self.fields["form"] = form_field(lot.resin_type if lot else None)
        for field in self.fields.values():
            if isinstance(field, StoredLotField) and lot is not None:
                offer_stored(field, lot.resin_type, but=lot)
        self.order_fields([name for name in self.field_order or () if name])

    @property
    def rows(self) -> list[list[forms.BoundField]]:
        """The fields by ``ROWS``."""
        return [[self[name] for name in row] for row in self.ROWS]

    def counted(self, name: str) -> Counted:
        return Counted(self.needed_quantity(name), self.cleaned_data["form"])


def _reason(help_text: str) -> forms.CharField:
    return words_field(300, rows=2, label="Reason", help_text=f"At least 10 characters. {help_text}")


class MixForm(InStoreForm):
    """Resin of this lot and of up to three others, mixed into a new one."""

    ROWS = (
        ("code", "segregation_class"),
        ("form", "volume"),
        ("lot_1", "volume_1"),
        ("lot_2", "volume_2"),
        ("lot_3", "volume_3"),
        ("mixture", "reason"),
    )
    field_order = ["version", *(name for row in ROWS for name in row)]
    code = words_field(24, label="Code of the new lot")
    segregation_class = forms.ChoiceField(
        label="Class of the new lot",
        choices=CLASSES,
        help_text="That of all of them. Class C may go down to D, and never comes back.",
    )
    form = forms.ChoiceField(label="Counted in", choices=FORMS)
    volume = QuantityField("resin_volume", label="Taken of this lot")
    lot_1 = StoredLotField(label="With lot", empty_label="Choose a lot")
    volume_1 = QuantityField("resin_volume", label="Taken of it")
    lot_2 = StoredLotField(label="And lot", required=False, empty_label="no other")
    volume_2 = QuantityField("resin_volume", label="Taken of it", required=False)
    lot_3 = StoredLotField(label="And lot", required=False, empty_label="no other")
    volume_3 = QuantityField("resin_volume", label="Taken of it", required=False)
    mixture = QuantityField(
        "resin_volume", label="The mixture, counted", help_text="Settled. What it differs is written down as a difference by count."
    )  # fmt: skip
    reason = _reason("It stays with the new lot.")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for number in (2, 3):
            lot, volume = data.get(f"lot_{number}"), data.get(f"volume_{number}")
            if lot is not None and volume is None and not self.errors.get(f"volume_{number}"):
                self.add_error(
                    f"volume_{number}", f"Write how much of {lot.code} was taken, or choose no lot."
                )
            if lot is None and volume is not None and not self.errors.get(f"lot_{number}"):
                self.add_error(
                    f"lot_{number}", "Choose the lot this volume was taken of, or write no volume."
                )
        return data

    def arguments(self) -> dict[str, Any]:
        assert self.lot is not None
        others = [
            Taken(self.cleaned_data[f"lot_{number}"].pk, self.counted(f"volume_{number}"))
            for number in range(1, PIECES + 1)
            if self.cleaned_data.get(f"lot_{number}")
        ]
        taken = [Taken(self.lot.pk, self.counted("volume")), *others]
        return {
            "code": self.text("code"),
            "segregation_class": self.cleaned_data["segregation_class"],
            "taken": taken,
            "resin_lot_ids": [one.resin_lot_id for one in taken],
            "counted": self.counted("mixture"),
            "reason": self.text("reason"),
            "version": self.shown_version,
        }


class TopUpForm(InStoreForm):
    """All that stands of this lot, topped up with conditioned resin."""

    field_order = ["version", "code", "with_lot", "form", "added", "whole", "reason"]
    code = words_field(
        24,
        label="Code of the topped-up lot",
        help_text="It becomes a lot of its own; its origins stay known.",
    )
    with_lot = StoredLotField(label="Topped up with", empty_label="Choose a lot")
    form = forms.ChoiceField(label="Counted in", choices=FORMS)
    added = QuantityField("resin_volume", label="Added of it")
    whole = QuantityField("resin_volume", label="All of it afterwards, counted")
    reason = _reason("What had been lost, and how.")

    def arguments(self) -> dict[str, Any]:
        assert self.lot is not None
        return {
            "code": self.text("code"),
            "resin_lot_id": self.lot.pk,
            "with_lot_id": self.cleaned_data["with_lot"].pk,
            "added": self.counted("added"),
            "counted": self.counted("whole"),
            "reason": self.text("reason"),
            "version": self.shown_version,
        }


class SplitForm(InStoreForm):
    """Parts of this lot that become lots of their own."""

    ROWS = (
        ("code_1", "volume_1"),
        ("code_2", "volume_2"),
        ("code_3", "volume_3"),
        ("form", "reason"),
    )
    field_order = ["version", *(name for row in ROWS for name in row)]
    form = forms.ChoiceField(label="Counted in", choices=FORMS)
    code_1 = words_field(24, label="Code of a part")
    volume_1 = QuantityField("resin_volume", label="Its volume")
    code_2 = words_field(24, label="Code of another part", required=False)
    volume_2 = QuantityField("resin_volume", label="Its volume", required=False)
    code_3 = words_field(24, label="Code of a third part", required=False)
    volume_3 = QuantityField("resin_volume", label="Its volume", required=False)
    reason = _reason("The rest stays under the code it has.")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for number in (2, 3):
            code, volume = data.get(f"code_{number}"), data.get(f"volume_{number}")
            if code and volume is None and not self.errors.get(f"volume_{number}"):
                self.add_error(f"volume_{number}", "Write the volume of this part, or no code.")
            if volume is not None and not code and not self.errors.get(f"code_{number}"):
                self.add_error(f"code_{number}", "Give this part a code, or write no volume.")
        return data

    def arguments(self) -> dict[str, Any]:
        assert self.lot is not None
        pieces = [
            Piece(self.text(f"code_{number}"), self.counted(f"volume_{number}"))
            for number in range(1, PIECES + 1)
            if self.text(f"code_{number}")
        ]
        return {
            "resin_lot_id": self.lot.pk,
            "pieces": pieces,
            "reason": self.text("reason"),
            "version": self.shown_version,
        }


class CountForm(InStoreForm):
    """What of this lot was counted in the store."""

    field_order = ["version", "volume", "form", "reason"]
    volume = QuantityField("resin_volume", label="Counted", help_text="Settled. 0 says that nothing is left.")
    form = forms.ChoiceField(label="Counted in", choices=FORMS)
    reason = _reason("Why it was counted, and where a difference went.")

    def arguments(self) -> dict[str, Any]:
        assert self.lot is not None
        return {
            "resin_lot_id": self.lot.pk,
            "counted": self.counted("volume"),
            "reason": self.text("reason"),
            "version": self.shown_version,
        }


class ScrapStoredForm(InStoreForm):
    """Resin of this lot in the store that is scrapped."""

    field_order = ["version", "volume", "form", "reason"]
    volume = QuantityField(
        "resin_volume",
        label="Scrapped",
        required=False,
        help_text="Settled. Empty: all that stands in the store.",
    )
    form = forms.ChoiceField(label="Counted in", choices=FORMS)
    reason = _reason(
        "Scrapped resin never comes back. How spent resin is disposed of, local rules and its safety data sheet say."
    )

    def arguments(self) -> dict[str, Any]:
        assert self.lot is not None
        has_volume = self.quantity("volume") is not None
        return {
            "resin_lot_id": self.lot.pk,
            "counted": self.counted("volume") if has_volume else None,
            "reason": self.text("reason"),
            "version": self.shown_version,
        }


class ConditionedForm(HouseForm):
    """How new resin was conditioned."""

    how = words_field(
        300, rows=2, label="How it was conditioned",
        help_text="Backwash, doses and rinse, and in which vessel; or by whose certificate. At least 10 characters.",
    )  # fmt: skip


class BedTopUpForm(HouseForm):
    """Resin from the store into the bed of a running batch."""

    lot = StoredLotField(label="Topped up with", empty_label="Choose a lot")
    form = forms.ChoiceField(label="Counted in", choices=FORMS)
    added = QuantityField("resin_volume", label="Added")
    bed = QuantityField(
        "resin_volume", label="The bed afterwards, counted", help_text="Settled. What is missing was lost."
    )
    reason = _reason("What had been lost, and how.")

    def __init__(self, *args: Any, resin_type: ResinType | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["form"] = form_field(resin_type)
        self.order_fields(["version", "lot", "form", "added", "bed", "reason"])
        if resin_type is not None:
            offer_stored(self.fields["lot"], resin_type)

    def arguments(self) -> dict[str, Any]:
        form = self.cleaned_data["form"]
        return {
            "resin_lot_id": self.cleaned_data["lot"].pk,
            "added": Counted(self.needed_quantity("added"), form),
            "bed": Counted(self.needed_quantity("bed"), form),
            "reason": self.text("reason"),
            "version": self.shown_version,
        }


class KeepRestForm(HouseForm):
    """What is left of a batch after its tanks were filled."""

    volume = QuantityField(
        "resin_volume", label="Left in the vessel", help_text="Settled, as it goes into the store."
    )
    form = forms.ChoiceField(label="Counted in", choices=FORMS)

    def __init__(self, *args: Any, resin_type: ResinType | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["form"] = form_field(resin_type)

    def arguments(self) -> dict[str, Any]:
        return {
            "rest": Counted(self.needed_quantity("volume"), self.cleaned_data["form"]),
            "version": self.shown_version,
        }
