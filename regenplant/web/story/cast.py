"""Setting the stage: people, customers, equipment, resins, recipes and first deliveries, from ``fixtures/demo/plant.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from regenplant import units
from regenplant.audit.by import By
from regenplant.chemicals import services as chemicals
from regenplant.chemicals.services.data_sheets import DataSheetContent
from regenplant.core.process.default_recipes import default_recipes, default_specifications, main_recipe
from regenplant.core.process.intake import MAX_FILL_FRAC
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, ResinFamily
from regenplant.people.approvals import approval_of
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.people.services import add_first_administrator, add_person
from regenplant.people.signing import SignaturePermit
from regenplant.plant import services as plant
from regenplant.plant.models import Instrument, MeterFeed, Vessel
from regenplant.plant.services.feed import FeedSettings
from regenplant.plant.services.profile import ProfileSettings
from regenplant.plant.services.supplies import SkidSettings, WasteTankSettings, WaterSettings
from regenplant.plant.services.vessels import VesselSettings
from regenplant.recipes import services as recipes
from regenplant.recipes.models import Product, RecipeVersion, SpecificationVersion
from regenplant.resins import services as resins
from regenplant.resins.models import ResinType
from regenplant.resins.services import ResinTypeSettings
from regenplant.tanks import services as tanks
from regenplant.tanks.models import Customer, Tank
from regenplant.waste import services as waste
from regenplant.web.story.password import PASSWORD

DATA = Path(__file__).resolve().parents[3] / "fixtures" / "demo" / "plant.toml"
FIRST_ADMINISTRATOR = "node"
YEAR = timedelta(days=365.25)
"""By whom a database is known to hold the story and not a plant's own records."""
LOT_WORDS = {"hcl": "HCl", "h2so4": "H2SO4", "naoh": "NaOH", "nacl": "NaCl", "naocl": "NaOCl"}
"""How a lot code of a chemical begins."""


@dataclass
class Stage:
    """Everybody and everything the story needs by name."""

    now: datetime
    data: dict[str, Any]
    people: dict[str, Person] = field(default_factory=dict)
    customers: dict[str, Customer] = field(default_factory=dict)
    types: dict[str, ResinType] = field(default_factory=dict)
    vessels: dict[str, Vessel] = field(default_factory=dict)
    instruments: dict[str, Instrument] = field(default_factory=dict)
    recipe: dict[str, RecipeVersion] = field(default_factory=dict)
    """By code of the recipe, and the main one of a family by the family."""
    specification: dict[str, SpecificationVersion] = field(default_factory=dict)
    """By family; the lower product by "lower", and a customer's by its code."""
    products: dict[str, Product] = field(default_factory=dict)
    feeds: dict[str, MeterFeed] = field(default_factory=dict)
    """By the vessel at whose outlet the meter sits."""
    bulk_tanks: dict[str, int] = field(default_factory=dict)
    tanks: dict[tuple[str, str], list[Tank]] = field(default_factory=dict)
    """By (resin type code, class)."""
    deliveries: dict[str, int] = field(default_factory=dict)
    newest: datetime | None = None
    """Of the moments at which somebody acted."""

    def by(self, name: str, at: datetime) -> By:
        return By(user=self.people[name], at=self.onward(at), terminal="story")

    def by_meter(self, feed: MeterFeed, at: datetime) -> By:
        return By(user=feed.account, at=self.onward(at), terminal=f"{feed.code}, story")

    def onward(self, at: datetime) -> datetime:
        """This moment, which no act before it is later than: the record is written in the order of time. Raises: ValueError."""
        if self.newest is not None and at < self.newest:
            raise ValueError(
                f"The story goes back from {self.newest} to {at}; yield the moment before acting at it."
            )
        self.newest = at
        return at

    def permit(self, name: str, meaning: str, at: datetime) -> SignaturePermit:
        return SignaturePermit(self.people[name].pk, meaning, at)


def set_the_stage(now: datetime, start: datetime) -> Stage:
    """Everything that stands before the first tank comes in, as of ``start``."""
    stage = Stage(now, tomllib.loads(DATA.read_text("utf-8")))
    _people(stage, start)
    _plant(stage, start)
    _resins(stage, start)
    _recipes(stage, start)
    _customers(stage, start)
    _chemicals(stage, start)
    return stage


def _people(stage: Stage, at: datetime) -> None:
    outcome = add_first_administrator(
        by=By(None, at, "story"),
        username=FIRST_ADMINISTRATOR,
        full_name="A. Node",
        initials="AN",
        password=PASSWORD,
    )
    stage.people[FIRST_ADMINISTRATOR] = outcome.result
    for person in stage.data["people"]:
        outcome = add_person(
            by=stage.by(FIRST_ADMINISTRATOR, at),
            username=person["username"],
            full_name=person["full_name"],
            initials=person["initials"],
            roles=[Role(role) for role in person["roles"]],
            password=PASSWORD,
            is_own_password=True,
        )
        stage.people[person["username"]] = Person.objects.get(pk=outcome.result.pk)


def _flow(l_per_min: float) -> float:
    return units.convert(l_per_min, "L/min", "m^3/s")


def _kelvin(celsius: float | None) -> float | None:
    return None if celsius is None else units.convert(celsius, "degC", "kelvin")


def _plant(stage: Stage, at: datetime) -> None:
    by, data = stage.by("osk", at), stage.data
    settings = ProfileSettings(**data["plant"], permit_expires_on=date(at.year + 2, 6, 30))
    plant.save_profile(by=by, profile=settings)
    for v in data["vessels"]:
        outcome = plant.save_vessel(
            by=by,
            vessel=VesselSettings(
                code=v["code"],
                name=v["name"],
                internal_diameter_m=v["diameter_m"],
                straight_height_m=v["height_m"],
                bed_volume_min_m3=v["min_l"] / 1000,
                bed_volume_max_m3=v["max_l"] / 1000,
                families=tuple(v["families"]),
                segregation_classes=tuple(v["classes"]),
                chemicals=tuple(v.get("chemicals", ())),
                takes_anion_leg_only=v.get("takes_anion_leg_only", False),
                lining="rubber",
                side_outlet_height_m=v.get("side_outlet_m"),
                air_max_m3_per_s=units.convert(v["air_m3_h"], "m^3/hour", "m^3/s")
                if "air_m3_h" in v
                else None,
            ),
        )
        stage.vessels[v["code"]] = outcome.result
    for s in data["skids"]:
        plant.save_skid(
            by=by,
            skid=SkidSettings(
                s["code"],
                s["name"],
                s["chemical"],
                _flow(s["flow_min_l_min"]),
                _flow(s["flow_max_l_min"]),
                _kelvin(s.get("heater_max_c")),
            ),
        )
    for w in data["waters"]:
        temperature = _kelvin(w["temperature_c"]) or 0.0
        plant.save_water_supply(
            by=by,
            water=WaterSettings(
                w["kind"], temperature, _flow(w["max_flow_l_min"]), w["hardness_mg_l"] / 1000
            ),
        )
    plant.save_feed_analysis(by=by, feed=_feed(data["feed"]))
    for t in data["waste_tanks"]:
        tank = plant.save_waste_tank(
            by=by,
            tank=WasteTankSettings(t["code"], t["name"], t["capacity_l"] / 1000, t["reserve_l"] / 1000),
        )
        waste.set_waste_level(by=by, waste_tank_id=tank.result.pk, level_m3=t["level_l"] / 1000)
    plant.record_determination(
        by=by,
        decided_on=at.date(),
        document="Letter of the Office of Invented Waters, file D-17 (invented)",
        reviewer="S. Quill, safety lead",
        accepts_metal=False,
        scope="No metal-bearing resin of others is treated here until the office has answered.",
    )
    plant.record_eyewash_test(by=by, tested_on=at.date())


def _feed(figures: dict[str, Any]) -> FeedSettings:
    """meq/L and mmol/L are the same numbers per cubic metre."""
    return FeedSettings(
        basis=figures["basis"],
        **{
            f"{name.removesuffix('_meq_l')}_eq_per_m3": float(value)
            for name, value in figures.items()
            if name.endswith("_meq_l")
        },
        **{
            f"{name.removesuffix('_mmol_l')}_mol_per_m3": float(value)
            for name, value in figures.items()
            if name.endswith("_mmol_l")
        },
    )


def _resins(stage: Stage, at: datetime) -> None:
    for r in stage.data["resin_types"]:
        outcome = resins.add_resin_type(
            by=stage.by("osk", at),
            resin_type=ResinTypeSettings(
                code=r["code"],
                description=r["description"],
                family=r["family"],
                grade=r.get("grade", "working"),
                total_capacity_eq_per_m3=r["total_capacity_eq_per_l"] * 1000,
                operating_capacity_eq_per_m3=r["operating_capacity_eq_per_l"] * 1000,
                bead_diameter_m=r["bead_diameter_mm"] / 1000,
                bead_density_kg_per_m3=r["bead_density"],
                swelling_frac=r["swelling_frac"],
                max_temperature_kelvin=_kelvin(r["max_temperature_c"]) or 0.0,
                bead_diameter_spread_frac=r.get("bead_diameter_spread_frac", 0.15),
                cation_type_id=stage.types[r["cation_type"]].pk if "cation_type" in r else None,
                anion_type_id=stage.types[r["anion_type"]].pk if "anion_type" in r else None,
                cation_share_frac=r.get("cation_share_frac"),
                data_source="invented for the demonstration, in the usual ranges of the trade",
            ),
        )
        stage.types[r["code"]] = outcome.result


def _grade(family: ResinFamily) -> str:
    return "polishing" if family is ResinFamily.MIXED_BED_POLISHING else "working"


def _recipes(stage: Stage, at: datetime) -> None:
    maker, approver = stage.by("osk", at), stage.by("vale", at)
    for definition in default_recipes():
        added = recipes.add_recipe(
            by=maker,
            code=definition.code,
            name=definition.name,
            family=definition.family.value,
            grade=_grade(definition.family),
            definition=definition,
            reason="first version for the demonstration",
        )
        recipes.approve_recipe_version(
            by=approver,
            version_id=added.result.pk,
            permit=stage.permit("vale", approval_of(added.result), at),
        )
        version = RecipeVersion.objects.get(pk=added.result.pk)
        stage.recipe[definition.code] = version
        if definition.code == main_recipe(definition.family).code:
            stage.recipe[definition.family.value] = version
    for specification in default_specifications():
        added = recipes.add_specification(
            by=maker,
            code=specification.code,
            name=specification.name,
            family=str(specification.family),
            grade=_grade(ResinFamily(specification.family)),
            definition=specification,
            reason="first version for the demonstration",
        )
        recipes.approve_specification_version(
            by=approver,
            version_id=added.result.pk,
            permit=stage.permit("vale", approval_of(added.result), at),
        )
        stage.specification[ResinFamily(specification.family).value] = SpecificationVersion.objects.get(
            pk=added.result.pk
        )


def _customers(stage: Stage, at: datetime) -> None:
    by = stage.by("wend", at)
    for c in stage.data["customers"]:
        customer = tanks.add_customer(
            by=by, code=c["code"], name=c["name"], declared_service=c["service"]
        ).result
        tanks.add_site(by=by, customer_id=customer.pk, name=c["site"])
        stage.customers[c["code"]] = customer
    sizes = {}
    for s in stage.data["sizes"]:
        sizes[s["code"]] = tanks.add_tank_size(
            by=by,
            code=s["code"],
            diameter_m=units.convert(s["diameter_in"], "inch", "m"),
            height_m=units.convert(s["height_in"], "inch", "m"),
            nominal_resin_m3=s["nominal_l"] / 1000,
        ).result
    for fleet in stage.data["fleets"]:
        _fleet(stage, at, fleet, sizes[fleet["size"]])


def _fleet(stage: Stage, at: datetime, fleet: dict[str, Any], size: Any) -> None:
    """One new resin lot, and the tanks that were first filled with it."""
    resin_type = stage.types[fleet["resin_type"]]
    form = EXHAUSTED_FORM[ResinFamily(resin_type.family)].value
    each_m3 = _that_has_room(size, resin_type)
    lot = resins.receive_new_lot(
        by=stage.by("osk", at),
        code=f"N-{fleet['resin_type']}-{fleet['segregation_class']}",
        resin_type_id=resin_type.pk,
        segregation_class=fleet["segregation_class"],
        volume_m3=fleet["count"] * each_m3,
        volume_form=form,
        origin="delivered new, invented",
        delivered_on=(at - fleet["years_old"] * YEAR).date() if "years_old" in fleet else None,
    ).result
    dedicated = stage.customers[fleet["dedicated_to"]].pk if "dedicated_to" in fleet else None
    made = [
        tanks.add_tank(
            by=stage.by("wend", at),
            size_id=size.pk,
            resin_type_id=resin_type.pk,
            segregation_class=fleet["segregation_class"],
            dedicated_to_id=dedicated,
            resin_volume_m3=each_m3,
            resin_lot_id=lot.pk,
        ).result
        for _ in range(fleet["count"])
    ]
    stage.tanks[fleet["resin_type"], fleet["segregation_class"]] = made


def _that_has_room(size: Any, resin_type: Any) -> float:
    """The usual volume of a tank of this size, or less where its regenerated form would not fit in [m^3, exhausted form]."""
    most = 0.99 * MAX_FILL_FRAC * size.gross_m3 / (1.0 + max(0.0, resin_type.swelling_frac))
    return round(min(float(size.nominal_resin_m3), most), 3)


def _chemicals(stage: Stage, at: datetime) -> None:
    for c in stage.data["chemicals"]:
        sheet = chemicals.add_data_sheet(
            by=stage.by("osk", at),
            sheet=DataSheetContent(
                chemical=c["chemical"],
                supplier=c["supplier"],
                revised_on=date(at.year - 1, 3, 1),
                strength_text=c["strength_text"],
                signal_word=c["signal_word"],
                hazard_codes=tuple(c["hazard_codes"]),
                precaution_codes=tuple(c["precaution_codes"]),
                pictograms=tuple(c["pictograms"]),
                un_number=c["un_number"],
                packing_group=c["packing_group"],
            ),
        ).result
        place = chemicals.add_place(
            by=stage.by("osk", at),
            code=c["bulk_tank"],
            name=c["bulk_name"],
            kind="bulk_tank",
            chemical=c["chemical"],
            capacity_m3=c["capacity_l"] / 1000,
            low_stock_grams_100=c["low_kg"] * 1000,
        ).result
        stage.bulk_tanks[c["chemical"]] = place.pk
        c["sheet_id"] = sheet.pk
        deliver(stage, at, c)


def deliver(stage: Stage, at: datetime, chemical: dict[str, Any]) -> None:
    """A delivery, its plant check by density, and the lot put in use."""
    number = stage.deliveries.get(chemical["chemical"], 0) + 1
    stage.deliveries[chemical["chemical"]] = number
    lot = chemicals.receive_delivery(
        by=stage.by("tarn", at),
        code=f"{LOT_WORDS[chemical['chemical']]}-{at:%y%m}-{number}",
        chemical=chemical["chemical"],
        certificate_strength_frac=chemical["certificate_strength_frac"],
        place_id=stage.bulk_tanks[chemical["chemical"]],
        grams_100=chemical["delivery_kg_100"] * 1000,
        supplier_lot=f"invented {number}",
        data_sheet_id=chemical["sheet_id"],
        is_packaged=True,
    ).result
    check(stage, at, lot.pk, chemical)
    chemicals.put_lot_in_use(by=stage.by("brae", at), lot_id=lot.pk)


def check(stage: Stage, at: datetime, lot_id: int, chemical: dict[str, Any]) -> None:
    """The plant's own strength check at 20 °C: by hydrometer, or titrated where the density does not tell the strength."""
    density = chemical["density_20c"]
    is_titrated = chemical.get("is_titrated", False)
    chemicals.check_strength(
        by=stage.by("brae", at),
        lot_id=lot_id,
        temperature_kelvin=293.15,
        value_as_typed=f"{chemical['certificate_strength_frac'] * 100:g}"
        if is_titrated
        else f"{density:.0f}",
        unit_as_typed="%" if is_titrated else "kg/m3",
        density_kg_per_m3=density,
        strength_frac=chemical["certificate_strength_frac"] if is_titrated else None,
    )
