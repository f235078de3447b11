"""Forms of chemicals: deliveries, strength checks, counts, tanks, data sheets."""

from __future__ import annotations

import re
from typing import Any

from django import forms

from regenplant.chemicals.models import ChemicalLot, DataSheet, Place
from regenplant.chemicals.quantities import REFERENCE_KELVIN, Basis, mass_as_100
from regenplant.chemicals.selectors import strength_of_sample
from regenplant.chemicals.services import DataSheetContent
from regenplant.chemicals.services.data_sheets import PICTOGRAM_CODES
from regenplant.chemicals.services.ledger import MOST_REASON
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.errors import DomainError
from regenplant.core.process.vocabulary import Chemical
from regenplant.documents.pictograms import NAMES as PICTOGRAM_NAMES
from regenplant.people.models import Person
from regenplant.web.acting import attach
from regenplant.web.areas.chemicals.count_forms import replaces_in as replaces_in
from regenplant.web.areas.chemicals.count_forms import replacing_fields
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, day_field, words_field
from regenplant.web.why import TEN, category_field, told

CHEMICAL_CHOICES = [(chemical.value, chemical.label) for chemical in Chemical]
_ONE_QUANTITY = "Write one of the three: volume of product, mass of product, or mass as 100 %."


class AmountForm(HouseForm):
    """A quantity of a chemical in one of three ways; ``amount`` is the mass as 100 % with its working."""

    quantity_volume = QuantityField(
        "liquid_volume", label="Volume of product", required=False, help_text="As delivered, at 20 °C."
    )
    quantity_product = QuantityField(
        "mass", label="or mass of product", required=False, help_text="As on the weigh ticket."
    )
    quantity_pure = QuantityField(
        "mass", label="or mass as 100 %", required=False, help_text="Of pure substance."
    )

    NAMES = (
        ("quantity_volume", Basis.PRODUCT_VOLUME),
        ("quantity_product", Basis.PRODUCT_MASS),
        ("quantity_pure", Basis.PURE_MASS),
    )

    def amount(
        self, chemical: str, strength_frac: float, temperature_kelvin: float = REFERENCE_KELVIN
    ) -> Estimate | None:
        """The one quantity written, as 100 %; None with the reason put on the form."""
        given = [(name, basis) for name, basis in self.NAMES if self.quantity(name) is not None]
        if len(given) != 1:
            self.add_error(None, forms.ValidationError(_ONE_QUANTITY, code="one_quantity"))
            return None
        name, basis = given[0]
        try:
            return mass_as_100(chemical, basis, self.needed_quantity(name), strength_frac, temperature_kelvin)
        except DomainError as refusal:
            self.add_error(name, forms.ValidationError(refusal.message, code=refusal.code))
            return None


class TankChoice(forms.ModelChoiceField):
    def label_from_instance(self, place: Any) -> str:
        return f"{place.code} · {place.name} · {Chemical(place.chemical).label}"


class SheetChoice(forms.ModelChoiceField):
    def label_from_instance(self, sheet: Any) -> str:
        return f"{Chemical(sheet.chemical).label} · {sheet.supplier} · {sheet.revised_on}"


class ReceiveForm(AmountForm):
    """A delivery in closed packages, emptied into a tank."""

    code = words_field(24, label="Lot", help_text="The plant’s own number for it, for example A-118.")
    chemical = forms.ChoiceField(
        label="Chemical on the papers", choices=[("", "Choose a chemical"), *CHEMICAL_CHOICES]
    )
    place = TankChoice(
        Place.objects.filter(kind=Place.Kind.BULK_TANK),
        label="Tank it goes into",
        empty_label="Choose a tank",
    )
    certificate_strength_frac = QuantityField(
        "strength", label="Strength on the certificate", help_text="By weight."
    )
    supplier_lot = words_field(60, label="Supplier’s lot", required=False)
    data_sheet = SheetChoice(
        DataSheet.objects.filter(is_in_force=True),
        label="Data sheet that came with it",
        required=False,
        empty_label="none chosen",
    )
    expires_on = day_field(
        label="Supplier’s expiry date", required=False, help_text="As on the papers; empty if they give none."
    )
    is_packaged = forms.BooleanField(
        label="It came in closed packages: bags, drums or totes",
        required=False,
        help_text="What comes by hose is unloaded through the lock.",
    )
    second_person = forms.ModelChoiceField(
        Person.objects.filter(is_active=True),
        label="Second person at the tank",
        empty_label="Choose a person",
    )
    is_connection_right = forms.BooleanField(
        label="Labels of packages, tank and papers name the same chemical",
        error_messages={
            "required": "Without this nothing is emptied. If they differ: stop, connect nothing, call the supervisor."
        },
    )
    field_order = (
        "code", "chemical", "place", "certificate_strength_frac", "quantity_volume", "quantity_product", "quantity_pure",
        "supplier_lot", "expires_on", "data_sheet", "is_packaged", "second_person", "is_connection_right",
    )  # fmt: skip

    def __init__(self, *args: Any, person: Person, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["second_person"].queryset = Person.objects.filter(is_active=True).exclude(pk=person.pk)  # type: ignore[attr-defined]

    def arguments(self, amount_grams: int) -> dict[str, Any]:
        data = self.cleaned_data
        return {
            "code": self.text("code"),
            "chemical": data["chemical"],
            "certificate_strength_frac": self.needed_quantity("certificate_strength_frac"),
            "place_id": data["place"].pk,
            "grams_100": amount_grams,
            "supplier_lot": self.text("supplier_lot"),
            "data_sheet_id": data["data_sheet"].pk if data["data_sheet"] else None,
            "connection_checked_by_id": data["second_person"].pk,
            "is_packaged": data["is_packaged"],
            "expires_on": data["expires_on"],
        }


class LotSheetForm(HouseForm):
    """The data sheet that came with a lot."""

    data_sheet = SheetChoice(
        DataSheet.objects.none(), label="Data sheet that came with it", empty_label="Choose a data sheet"
    )
    reason = words_field(300, rows=2, label="Why another one", required=False)

    def __init__(self, *args: Any, lot: ChemicalLot, **kwargs: Any):
        super().__init__(*args, **kwargs)
        sheets = DataSheet.objects.filter(is_in_force=True, chemical=lot.chemical)
        self.fields["data_sheet"].queryset = sheets  # type: ignore[attr-defined]
        if lot.data_sheet_id is None:
            del self.fields["reason"]

    def arguments(self) -> dict[str, Any]:
        reason = self.text("reason") if "reason" in self.fields else ""
        return {"data_sheet_id": self.cleaned_data["data_sheet"].pk, "reason": reason}


class ExpiryForm(HouseForm):
    """The supplier's expiry date of a lot, written anew."""

    expires_on = day_field(
        label="Supplier’s expiry date", required=False, help_text="Empty: the papers give none."
    )
    reason = words_field(300, rows=2, label="Why it is written anew", help_text=TEN)

    def arguments(self) -> dict[str, Any]:
        return {"expires_on": self.cleaned_data["expires_on"], "reason": self.text("reason")}


class StrengthForm(HouseForm):
    """A strength check: a density, degrees Baumé, or a titrated strength, and the temperature of the sample.

    Beside a titrated strength a density may stand too: some chemicals have none in the tables.
    """

    density = QuantityField("density", label="Density", required=False, help_text="Hydrometer in the sample.")
    baume = forms.FloatField(
        label="or degrees Baumé", required=False, min_value=0, max_value=70, help_text="Hydrometer of the 60 °F scale, as read.",
        error_messages={"invalid": "This is no number. Write for example 20.1."},
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )  # fmt: skip
    strength_frac = QuantityField(
        "strength", label="or strength by titration", required=False, help_text="By weight."
    )
    temperature_kelvin = QuantityField(
        "temperature", label="Temperature of the sample", help_text="When it was read."
    )

    def measured(self) -> dict[str, Any] | None:
        """What the service takes, None with the reason put on the form when not exactly one value is written."""
        data = self.cleaned_data
        given = [name for name in ("density", "baume", "strength_frac") if data.get(name) is not None]
        is_titrated_with_density = given == ["density", "strength_frac"]
        if len(given) != 1 and not is_titrated_with_density:
            sentence = "Write one of the three: a density, degrees Baumé, or a titrated strength, the last with or without a density."
            self.add_error(None, forms.ValidationError(sentence, code="one_method"))
            return None
        found: dict[str, Any] = {"temperature_kelvin": self.needed_quantity("temperature_kelvin")}
        if given[0] == "baume":
            return {
                **found,
                "baume_degrees": data["baume"],
                "value_as_typed": f"{data['baume']:g}",
                "unit_as_typed": "°Bé",
            }
        if is_titrated_with_density:
            found["density_kg_per_m3"] = self.needed_quantity("density")
        understood = data[given[-1]]
        key = "density_kg_per_m3" if given[-1] == "density" else "strength_frac"
        return {
            **found,
            key: understood.value,
            "value_as_typed": understood.value_as_typed,
            "unit_as_typed": understood.unit_as_typed,
        }

    def estimate(self, lot: ChemicalLot, measured: dict[str, Any]) -> Estimate | None:
        """The strength with its working; None for a titration, or when the core refuses (the reason is on the form)."""
        if "strength_frac" in measured:
            return None
        try:
            return strength_of_sample(
                lot.chemical,
                density_kg_per_m3=measured.get("density_kg_per_m3"),
                baume_degrees=measured.get("baume_degrees"),
                temperature_kelvin=measured["temperature_kelvin"],
            )
        except DomainError as refusal:
            attach(self, refusal)
            return None


class CountForm(AmountForm):
    """What was found in a tank. ``replaces`` is the number of a count that this one takes the place of."""

    reason = words_field(200, label="How it was counted", help_text="Scale, full packages; and who looked.")

    def __init__(self, *args: Any, replaces: str = "", **kwargs: Any):
        self.replaces = replaces
        super().__init__(*args, **kwargs)

    def extra_fields(self) -> dict[str, forms.Field]:
        return replacing_fields() if self.replaces else {}

    def replacing(self) -> dict[str, str]:
        """What the service takes of the count it replaces; nothing where it replaces none."""
        if not self.replaces:
            return {}
        return {
            "replaces": self.replaces,
            "reason_category": self.cleaned_data["category"],
            "replace_reason": self.text("replace_reason"),
        }


class PlaceForm(HouseForm):
    code = words_field(20, label="Code", help_text="As painted on the tank. It never changes.")
    name = words_field(80, label="Name")
    chemical = forms.ChoiceField(
        label="For", choices=[("", "Choose a chemical"), *CHEMICAL_CHOICES], help_text="For good."
    )
    capacity_m3 = QuantityField("liquid_volume", label="Capacity", required=False)
    low_stock = QuantityField("mass", label="Low mark", help_text="As 100 %. Under it somebody orders.")

    def grams(self) -> int:
        return round(self.needed_quantity("low_stock") * 1000)


class SheetForm(HouseForm):
    """One revision of a supplier's safety data sheet, copied from its section 2 and 14."""

    chemical = forms.ChoiceField(label="Chemical", choices=[("", "Choose a chemical"), *CHEMICAL_CHOICES])
    supplier = words_field(80, label="Supplier")
    revised_on = day_field(label="Date of revision")
    strength_text = words_field(
        40, label="Strength on the sheet", help_text="As printed, for example 30 to 33 %."
    )
    signal_word = forms.ChoiceField(
        label="Signal word",
        required=False,
        choices=[("", "none"), ("Danger", "Danger"), ("Warning", "Warning")],
    )
    hazard_codes = words_field(
        200, label="Hazard codes", required=False, help_text="For example H290 H314 H335."
    )
    precaution_codes = words_field(
        400, rows=2, label="Precaution codes", required=False, help_text="For example P280 P305+P351+P338."
    )
    pictograms = forms.MultipleChoiceField(
        label="Pictograms",
        required=False,
        choices=[(code, f"{code} {PICTOGRAM_NAMES[code]}") for code in PICTOGRAM_CODES],
        widget=forms.CheckboxSelectMultiple,
    )
    un_number = words_field(10, label="UN number", required=False)
    packing_group = words_field(4, label="Packing group", required=False)
    protective_equipment = words_field(
        300, rows=2, label="What to wear", required=False, help_text="From section 8, with commas between."
    )
    hazard_notes = words_field(
        400, rows=3, label="Notes on hazards", required=False,
        help_text="From sections 4, 6, 7 and 10: first aid, spills, what it reacts with. They stand on its labels.",
    )  # fmt: skip

    def content(self) -> DataSheetContent:
        data = self.cleaned_data
        return DataSheetContent(
            chemical=data["chemical"],
            supplier=self.text("supplier"),
            revised_on=data["revised_on"],
            strength_text=self.text("strength_text"),
            signal_word=data["signal_word"],
            hazard_codes=_codes(self.text("hazard_codes")),
            precaution_codes=_codes(self.text("precaution_codes")),
            pictograms=tuple(data["pictograms"]),
            un_number=self.text("un_number"),
            packing_group=self.text("packing_group"),
            protective_equipment=self.text("protective_equipment"),
            hazard_notes=self.text("hazard_notes"),
        )


def _codes(text: str) -> tuple[str, ...]:
    """Codes with spaces or commas between them; a plus inside a code may stand with spaces around it."""
    joined = re.sub(r"\s*\+\s*", "+", text)
    return tuple(dict.fromkeys(part for part in re.split(r"[\s,;]+", joined) if part))


class ReasonForm(HouseForm):
    reason = words_field(200, rows=2, label="Reason", help_text="What was wrong, in a few words.")


class TakeBackForm(HouseForm):
    """Why a movement is taken back."""

    category = category_field()
    reason = words_field(
        MOST_REASON, rows=2, label="What was wrong", help_text=TEN, validators=[told("what was wrong")]
    )


class EmptyForm(HouseForm):
    """Nothing to write; the button is the act."""
