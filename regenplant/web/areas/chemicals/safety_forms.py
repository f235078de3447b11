"""Forms of storage, spills and reporting thresholds."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms

from regenplant.chemicals.models import Place, Spill, SpillNote, StorageArea
from regenplant.chemicals.quantities import REFERENCE_KELVIN, Basis
from regenplant.chemicals.selectors import stock_data
from regenplant.chemicals.services import Amount
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.thresholds import Counted, ThresholdKind
from regenplant.web.areas.chemicals.forms import CHEMICAL_CHOICES, AmountForm, TankChoice
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, moment_field, words_field
from regenplant.web.why import TEN, told


# --- storage ----------------------------------------------------------------------------------------------------------
class AreaForm(HouseForm):
    """A storage area."""

    code = words_field(
        20, label="Code", help_text="As painted at the bund, for example BUND-1. It never changes."
    )
    name = words_field(80, label="Name")
    room = words_field(
        60,
        label="Room",
        help_text="Areas of one room share its air. Outdoors counts as a room: name which yard.",
    )
    location = words_field(
        160, label="How it is found", required=False, help_text="For somebody who does not know the plant."
    )
    bund_m3 = QuantityField(
        "liquid_volume", label="The bund holds", required=False, help_text="Empty where there is no bund."
    )
    reason = words_field(
        300, rows=2, label="What keeps apart what stands there", required=False,
        help_text="Asked for only where something must not meet.",
    )  # fmt: skip

    def arguments(self) -> dict[str, Any]:
        return {
            "name": self.text("name"),
            "room": self.text("room"),
            "location": self.text("location"),
            "bund_m3": self.quantity("bund_m3"),
        }


class AreaChoice(forms.ModelChoiceField):
    def label_from_instance(self, area: Any) -> str:
        return f"{area.code} · {area.name} · {area.room}"


class StandsForm(HouseForm):
    """In which area a tank stands."""

    area = AreaChoice(
        StorageArea.objects.all(), label="Storage area", required=False, empty_label="in none of these"
    )
    reason = words_field(
        300, rows=2, label="What keeps apart what stands there", required=False,
        help_text="Asked for only where something must not meet.",
    )  # fmt: skip

    def arguments(self) -> dict[str, Any]:
        area = self.cleaned_data["area"]
        return {"area_id": area.pk if area else None, "reason": self.text("reason")}


# --- spills -----------------------------------------------------------------------------------------------------------
class SpilledForm(AmountForm):
    """How much of a chemical was spilled: a quantity in one of three ways, its strength and temperature."""

    strength_frac = QuantityField(
        "strength",
        label="Strength",
        required=False,
        help_text="By weight. Empty: what the plant found last in its tank.",
    )
    temperature_kelvin = QuantityField(
        "temperature", label="Its temperature", required=False, help_text="Of a volume. Empty: 20 °C."
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["quantity_volume"].help_text = "A first guess is enough; a better figure may follow."
        self.fields["quantity_product"].help_text = "As it is in the tank or drum."
        self.fields["quantity_pure"].help_text = "Of pure substance, where somebody worked it out."

    def strength_at(self, chemical: str, now: datetime) -> float | None:
        """The strength typed, else the plant's; None with the reason put on the form."""
        typed = self.quantity("strength_frac")
        if typed is not None:
            return typed
        stock = stock_data(now).get(chemical)
        if stock is None:
            self.add_error(
                "strength_frac",
                forms.ValidationError(
                    "No lot of it is in use, so the plant knows no strength. Write the one on its label.",
                    code="no_strength",
                ),
            )
            return None
        return stock.strength_frac

    @property
    def temperature(self) -> float:
        """Of the product [K]; 20 °C where none is written."""
        found = self.quantity("temperature_kelvin")
        return REFERENCE_KELVIN if found is None else found

    def mass(self, chemical: str, strength_frac: float) -> Estimate | None:
        return self.amount(chemical, strength_frac, self.temperature)

    def typed(self, strength_frac: float) -> Amount:
        """What the service takes; ask only after ``mass`` gave one."""
        name, basis = next(
            (name, basis) for name, basis in self.NAMES if self.cleaned_data.get(name) is not None
        )
        understood = self.cleaned_data[name]
        return Amount(
            Basis(basis), understood.value, strength_frac, understood.value_as_typed, understood.unit_as_typed,
            self.temperature,
        )  # fmt: skip


class SpillForm(SpilledForm):
    """A spill, as it is found."""

    chemical = forms.ChoiceField(
        label="What was spilled", choices=[("", "Choose a chemical"), *CHEMICAL_CHOICES]
    )
    location = words_field(160, label="Where", help_text="For example: bund 1, at the fill connection.")
    happened_at = moment_field(label="Found at")
    reached = forms.ChoiceField(label="Where it went", choices=[("", "Choose one"), *Spill.Reached.choices])
    place = TankChoice(
        Place.objects.filter(kind=Place.Kind.BULK_TANK),
        label="Out of which tank",
        required=False,
        empty_label="out of none: hose, line, drum",
        help_text="Its mass then leaves the tank in the ledger.",
    )
    what_happened = words_field(
        600, rows=3, label="What happened", help_text=TEN, validators=[told("what happened")]
    )
    field_order = (
        "chemical", "quantity_volume", "quantity_product", "quantity_pure", "strength_frac", "temperature_kelvin", "location",
        "happened_at", "reached", "place", "what_happened",
    )  # fmt: skip

    def arguments(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {
            "chemical": data["chemical"],
            "location": self.text("location"),
            "reached": data["reached"],
            "what_happened": self.text("what_happened"),
            "happened_at": data["happened_at"],
            "place_id": data["place"].pk if data["place"] else None,
        }


class SpillAgainForm(SpilledForm):
    """A better figure of a spill."""

    reason = words_field(
        300, rows=2, label="How it is known now", help_text=TEN, validators=[told("how it is known now")]
    )


class SpillNoteForm(HouseForm):
    """What was done about a spill, who was told, what was decided."""

    kind = forms.ChoiceField(label="What you write", choices=[("", "Choose one"), *SpillNote.Kind.choices])
    happened_at = moment_field(label="When it was")
    words = words_field(
        600, rows=3, label="In words", help_text=f"Names, telephone, what was said. {TEN}", validators=[told("what was done")]
    )  # fmt: skip

    def arguments(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {"kind": data["kind"], "words": self.text("words"), "happened_at": data["happened_at"]}


class SpillCloseForm(HouseForm):
    """How a spill ended."""

    words = words_field(
        600, rows=3, label="How it ended", help_text=f"Cleaned up how, what caused it, what changes. {TEN}",
        validators=[told("how it ended")],
    )  # fmt: skip


# --- thresholds -------------------------------------------------------------------------------------------------------
class ThresholdForm(HouseForm):
    """The plant's own reporting threshold."""

    chemical = forms.ChoiceField(label="Chemical", choices=[("", "Choose a chemical"), *CHEMICAL_CHOICES])
    kind = forms.ChoiceField(
        label="Which threshold",
        choices=[("", "Choose one"), *((kind.value, kind.label) for kind in ThresholdKind)],
    )
    limit_kg = QuantityField(
        "mass",
        label="The plant’s figure",
        required=False,
        help_text="Empty: take the plant’s own figure back.",
    )
    counted = forms.ChoiceField(label="It counts", choices=[(item.value, item.label) for item in Counted])
    paper = words_field(
        200, rows=2, label="What it stands on", help_text=f"Permit, letter or rule, and who confirmed it when. {TEN}",
        validators=[told("what it stands on")],
    )  # fmt: skip

    def arguments(self) -> dict[str, Any]:
        data = self.cleaned_data
        understood = data.get("limit_kg")
        return {
            "chemical": data["chemical"],
            "kind": data["kind"],
            "limit_kg": self.quantity("limit_kg"),
            "counted": data["counted"],
            "value_as_typed": understood.text if understood else "",
            "paper": self.text("paper"),
        }
