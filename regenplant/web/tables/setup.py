"""Listings of the set-up."""

from __future__ import annotations

from typing import Any

import django_tables2 as tables
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from regenplant.core.process.vocabulary import Chemical, ResinFamily, WaterKind
from regenplant.people.models import Person
from regenplant.plant.models import MeterFeed, Skid, Vessel, WaterSupply
from regenplant.resins.models import ResinLot, ResinType
from regenplant.web.presenters.bed import made_for
from regenplant.web.tables.columns import (
    CodeColumn,
    DayColumn,
    HouseColumn,
    LocalTimeColumn,
    NumberColumn,
    PersonColumn,
    QuantityColumn,
)
from regenplant.web.templatetags.parts import mark

EXPORTS = ("csv", "xlsx")


class FamilyColumn(HouseColumn):
    """One resin family, or several, by the trade's abbreviation."""

    def render(self, record: Any, bound_column: Any) -> str:
        # The table hands over the label of a choice; the record holds its key.
        found = bound_column.accessor.resolve(record)
        values = found if isinstance(found, list) else [found]
        return ", ".join(ResinFamily(item).abbreviation for item in values)


class ListColumn(HouseColumn):
    """A short list of codes."""

    def render(self, value: Any) -> str:
        return ", ".join(str(item) for item in value)


class MadeForColumn(FamilyColumn):
    """What a vessel is made for; a mixed bed of which it takes the anion leg only says so."""

    def render(self, record: Any, bound_column: Any) -> str:
        return made_for(record)


class VesselTable(tables.Table):
    caption, noun, nouns, exports = "", "vessel", "vessels", EXPORTS

    code = CodeColumn(verbose_name="Code", linkify=("setup-vessel", {"code": tables.A("code")}))
    name = HouseColumn(verbose_name="Name", wide_only=True)
    families = MadeForColumn(verbose_name="Made for", orderable=False, wide_only=True)
    segregation_classes = ListColumn(verbose_name="Classes", orderable=False)
    bed_volume_min_m3 = QuantityColumn("resin_volume", verbose_name="Smallest bed")
    bed_volume_max_m3 = QuantityColumn("resin_volume", verbose_name="Largest bed")
    state = HouseColumn(verbose_name="State", accessor="lock_out_reason", orderable=False, empty_values=())

    class Meta:
        model = Vessel
        fields = ()
        empty_text = "No vessel is set up yet. A supervisor adds the first one."

    def render_state(self, record: Vessel) -> SafeString | str:
        if record.is_locked_out:
            return mark("locked")
        return "in use" if record.is_active else "out of use"

    def value_state(self, record: Vessel) -> str:
        return "locked out" if record.is_locked_out else "in use" if record.is_active else "out of use"


class SkidTable(tables.Table):
    caption, noun, nouns = "A skid dilutes one chemical.", "skid", "skids"

    code = CodeColumn(verbose_name="Code", linkify=("setup-skid", {"code": tables.A("code")}))
    name = HouseColumn(verbose_name="Name", wide_only=True)
    chemical = HouseColumn(verbose_name="For")
    flow_min_m3_per_s = QuantityColumn("flow", verbose_name="Smallest flow")
    flow_max_m3_per_s = QuantityColumn("flow", verbose_name="Largest flow")
    heater_max_temperature_kelvin = QuantityColumn("temperature", verbose_name="Heater to")
    lock_out_reason = HouseColumn(verbose_name="State", orderable=False, empty_values=())

    class Meta:
        model = Skid
        fields = ()
        empty_text = "No skid is set up yet."
        order_by_field = "skids"

    def render_chemical(self, value: str) -> str:
        return Chemical(value).label

    def render_lock_out_reason(self, record: Skid) -> SafeString | str:
        return mark("locked") if record.lock_out_reason else "in use" if record.is_active else "out of use"


class WaterTable(tables.Table):
    caption, noun, nouns = "As last measured.", "water", "waters"

    kind = CodeColumn(verbose_name="Water", linkify=("setup-water", {"kind": tables.A("kind")}))
    temperature_kelvin = QuantityColumn("temperature", verbose_name="Temperature")
    hardness_kg_per_m3 = QuantityColumn("hardness", verbose_name="Hardness")
    max_flow_m3_per_s = QuantityColumn("flow", verbose_name="Largest flow")
    available_m3 = QuantityColumn("liquid_volume", verbose_name="Stored", wide_only=True)
    measured_at = LocalTimeColumn(verbose_name="Measured", wide_only=True)

    class Meta:
        model = WaterSupply
        fields = ()
        empty_text = "No water is written yet. Press one above to write what is measured."
        order_by_field = "waters"

    def render_kind(self, value: str) -> str:
        return WaterKind(value).label.capitalize()


class MeterFeedTable(tables.Table):
    caption, noun, nouns, exports = "", "meter feed", "meter feeds", EXPORTS

    code = CodeColumn(verbose_name="Code", linkify=("setup-meter-feed", {"code": tables.A("code")}))
    name = HouseColumn(verbose_name="Name", wide_only=True)
    instrument = CodeColumn(verbose_name="Cell")
    vessel = CodeColumn(verbose_name="Vessel")
    account = HouseColumn(verbose_name="Account", accessor="account__username", wide_only=True)
    topic = HouseColumn(verbose_name="Topic", wide_only=True)
    state = HouseColumn(verbose_name="State", accessor="is_active", orderable=False, empty_values=())

    class Meta:
        model = MeterFeed
        fields = ()
        empty_text = "No meter feed is registered. Readings are typed or pasted until one is."

    def render_state(self, record: MeterFeed) -> str:
        return self.value_state(record)

    def value_state(self, record: MeterFeed) -> str:
        if not record.is_active:
            return "closed"
        ways = [*(["HTTP"] if record.token_digest else []), *(["MQTT"] if record.topic else [])]
        return f"open: {', '.join(ways)}" if ways else "open, no way to send"


class ResinTypeTable(tables.Table):
    caption, noun, nouns, exports = "", "resin type", "resin types", EXPORTS

    code = CodeColumn(verbose_name="Code", linkify=("setup-resin", {"code": tables.A("code")}))
    description = HouseColumn(verbose_name="Description", wide_only=True)
    family = FamilyColumn(verbose_name="Family")
    grade = HouseColumn(verbose_name="Grade")
    total_capacity_eq_per_m3 = QuantityColumn("capacity", verbose_name="Total")
    operating_capacity_eq_per_m3 = QuantityColumn("capacity", verbose_name="Operating")
    max_temperature_kelvin = QuantityColumn("temperature", verbose_name="Highest")

    class Meta:
        model = ResinType
        fields = ()
        empty_text = "No resin type is set up yet. A supervisor adds the first one."


class ResinLotTable(tables.Table):
    caption, noun, nouns, exports = "", "lot", "lots", EXPORTS

    code = CodeColumn(verbose_name="Lot", linkify=("setup-lot", {"code": tables.A("code")}))
    resin_type = CodeColumn(verbose_name="Resin", accessor="resin_type__code")
    segregation_class = HouseColumn(verbose_name="Class")
    volume_m3 = QuantityColumn("resin_volume", verbose_name="Settled")
    volume_form = HouseColumn(verbose_name="Form", wide_only=True)
    stored_m3 = QuantityColumn("resin_volume", verbose_name="In the store", wide_only=True)
    cycles = NumberColumn(verbose_name="Cycles", wide_only=True)
    factor_in_force = QuantityColumn("fraction", verbose_name="Capacity left", wide_only=True)
    made_at = DayColumn(verbose_name="Since", wide_only=True)
    is_scrapped = HouseColumn(verbose_name="State", wide_only=True)

    class Meta:
        model = ResinLot
        fields = ()
        empty_text = "No resin lot fits. Lots appear when resin is received or a batch passes."

    def render_segregation_class(self, record: ResinLot) -> str:
        return record.segregation_class

    def value_segregation_class(self, record: ResinLot) -> str:
        return str(record.get_segregation_class_display())

    def render_volume_form(self, record: ResinLot) -> str:
        return record.volume_form

    def value_volume_form(self, record: ResinLot) -> str:
        return str(record.get_volume_form_display())

    def render_is_scrapped(self, value: bool) -> SafeString | str:
        return mark("scrapped") if value else "here"

    def value_is_scrapped(self, value: bool) -> str:
        return "scrapped" if value else "here"


class PersonTable(tables.Table):
    caption, noun, nouns, exports = "", "person", "people", EXPORTS
    full_name = PersonColumn(verbose_name="Name")
    initials = HouseColumn(verbose_name="Initials", wide_only=True)
    username = CodeColumn(verbose_name="Signs in as")
    roles = HouseColumn(verbose_name="Roles", accessor="groups", orderable=False)
    is_active = HouseColumn(verbose_name="Account")
    act = HouseColumn(verbose_name="Page", accessor="pk", orderable=False, exclude_from_export=True)

    class Meta:
        model = Person
        fields = ()

    def render_roles(self, record: Person) -> str:
        if record.is_device:
            return "device, sends readings only"
        if record.is_shared:
            return "shared account, looks only"
        return ", ".join(group.name for group in record.groups.all())

    def value_roles(self, record: Person) -> str:
        if record.is_device:
            return "device"
        return ", ".join(group.name for group in record.groups.all())

    def render_is_active(self, record: Person, value: bool) -> str:
        return "closed" if not value else "may send" if record.is_device else "may sign in"

    def render_act(self, record: Person) -> SafeString:
        url = reverse("setup-person", kwargs={"username": record.username})
        return format_html('<a href="{}" aria-label="Open {}">Open</a>', url, record.full_name)
