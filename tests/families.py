"""A plant for every family, and how batches of each are run: built on ``tests.factories``, through the services."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.legs import now_at_work
from regenplant.batches.models import Batch, StepRun
from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.recipes import RecipeDefinition, SetPoint
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.services import FeedSettings, SkidSettings, VesselSettings
from regenplant.quality import services as quality_services
from regenplant.quality.signed_content import RELEASE_MEANING
from regenplant.resins import services as resin_services
from regenplant.resins.models import ResinLot
from regenplant.resins.services import ResinTypeSettings
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import Tank, TankVisit
from tests import factories
from tests.factories import SmallPlant


@dataclass(frozen=True)
class Family:
    """What one way of working needs: resin type, vessel, recipe, class, grade."""

    key: str
    """Resin type key in ``SmallPlant.types`` and of recipe and specification."""
    vessel: str
    recipe: str = ""
    """Recipe code; "" takes the usual one of the family."""
    anion_vessel: str = ""
    segregation_class: str = "D"
    grade: str = "working"


WAYS: dict[str, Family] = {
    "mixed bed": Family("mb", "M1", anion_vessel="M2"),
    "mixed bed together": Family("mb", "M1", recipe="MB-TOGETHER-107"),
    "mixed bed floated": Family("mb", "M1", recipe="MB-FLOAT-110", anion_vessel="M2"),
    "polishing mixed bed": Family("mb_p", "P1", anion_vessel="P2", segregation_class="C", grade="polishing"),
    "sulfuric cation": Family("sac_h", "C1", recipe="H-H2SO4-120"),
    "weak base": Family("wba", "B1"),
    "weak base ammonia": Family("wba", "B1", recipe="FB-NH3-27"),
    "weak acid": Family("wac_h", "W1"),
    "acrylic": Family("sba_a", "A3"),
    "carbon": Family("gac", "G1"),
    "organic cleaning": Family("sba_1", "A1", recipe="CL-ORG-OH1"),
    "sanitizing": Family("sac_na", "S1", recipe="SAN-NA-NAOCL"),
    "conditioning": Family("sac_h", "C1", recipe="CO-H"),
}
"""Ways of working by name."""

_TYPES: tuple[tuple[str, dict[str, Any]], ...] = (
    ("wac_h", {"total": 3900, "working": 1950, "density": 1180, "swelling": -0.12, "most": 393.15}),
    ("sba_a", {"total": 1250, "working": 750, "density": 1080, "swelling": 0.18, "most": 308.15}),
    ("wba", {"total": 1600, "working": 1000, "density": 1040, "swelling": -0.18, "most": 333.15}),
    ("sac_p", {"family": "sac_h", "total": 1900, "working": 900, "density": 1280, "swelling": 0.07, "most": 393.15, "grade": "polishing", "spread": 0.04, "diameter": 0.00070}),
    ("sba_p", {"family": "sba_1", "total": 1300, "working": 500, "density": 1075, "swelling": 0.2, "most": 333.15, "grade": "polishing", "spread": 0.04}),
)  # fmt: skip


def whole_plant(*, now: datetime = factories.START) -> SmallPlant:
    """The small plant with what every other family needs. Vessels: M1 with M2 (mixed bed), P1 with P2 (polishing), W1, A3, B1,
    G1 (carbon)."""
    plant = factories.small_plant(now=now)
    _single_types(plant)
    _mixed_types(plant)
    _equipment(plant)
    for chemical, strength, density in (
        ("h2so4", 0.96, 1835.5),
        ("na2co3", 0.14, 1146.3),
        ("nh3", 0.25, 907.0),
        ("naocl", 0.12, 1200.0),
    ):
        factories.stocked(plant, chemical, strength, density, is_titrated=True)
    save_feed(plant)
    for key in ("wac_h", "sba_a", "wba", "mb", "mb_p", "gac"):
        grade = "polishing" if key == "mb_p" else "working"
        recipe = polishing_recipe() if key == "mb_p" else factories.usual_recipe(key)
        plant.recipe[key] = factories.approved_recipe(plant, recipe, grade=grade)
        plant.specification[key] = factories.approved_specification(
            plant, factories.usual_specification(key), grade=grade
        )
    return plant


def default_recipe(code: str) -> RecipeDefinition:
    return next(one for one in default_recipes() if one.code == code)


def polishing_recipe() -> RecipeDefinition:
    """The default recipe with a cut as wide as these resins need for its limit of stray beads."""
    usual = factories.usual_recipe("mb_p")
    wide = SetPoint(0.12, 0.10, 0.15)
    return replace(
        usual,
        steps=tuple(
            replace(step, settings={**step.settings, "cut_frac": wide}) if step.kind is StepKind.CUT else step
            for step in usual.steps
        ),
    )


def _single_types(plant: SmallPlant) -> None:
    by = plant.by("supervisor")
    for key, given in _TYPES:
        settings = ResinTypeSettings(
            f"T-{key}".upper(), key, given.get("family", key), given["total"], given["working"],
            given.get("diameter", 0.00063), given["density"],
            given["most"], swelling_frac=given["swelling"], grade=given.get("grade", "working"),
            bead_diameter_spread_frac=given.get("spread", 0.15),
        )  # fmt: skip
        plant.types[key] = resin_services.add_resin_type(by=by, resin_type=settings).result
    carbon = ResinTypeSettings(
        "T-GAC", "coconut shell carbon", "gac", 0.0, 0.0, 0.0014, 1480, 393.15, settled_void_frac=0.45
    )
    plant.types["gac"] = resin_services.add_resin_type(by=by, resin_type=carbon).result


def mixed_type(plant: SmallPlant, key: str = "mb", **change: Any) -> ResinTypeSettings:
    """A mixed bed of the plant's resins: the polishing one of polishing resins."""
    is_polishing = key == "mb_p"
    settings = ResinTypeSettings(
        f"T-{key}".upper(), f"mixed bed {key}", key, 1500, 500, 0.00063, 1170, 333.15, swelling_frac=0.1,
        grade="polishing" if is_polishing else "working",
        cation_type_id=plant.types["sac_p" if is_polishing else "sac_h"].pk,
        anion_type_id=plant.types["sba_p" if is_polishing else "sba_1"].pk,
        cation_share_frac=0.4,
    )  # fmt: skip
    return replace(settings, **change)


def _mixed_types(plant: SmallPlant) -> None:
    for key in ("mb", "mb_p"):
        plant.types[key] = resin_services.add_resin_type(
            by=plant.by("supervisor"), resin_type=mixed_type(plant, key)
        ).result


def _equipment(plant: SmallPlant) -> None:
    by = plant.by("supervisor")
    for code, families, least, classes, more in (
        ("M1", ("mb",), 0.20, ("D",), {"side_outlet_height_m": 0.33, "air_max_m3_per_s": 0.02}),
        ("M2", ("sba_1", "mb"), 0.05, ("D",), {}),
        ("P1", ("mb_p",), 0.20, ("C",), {"side_outlet_height_m": 0.33, "air_max_m3_per_s": 0.02}),
        ("P2", ("sba_1", "mb_p"), 0.05, ("C",), {}),
        ("W1", ("wac_h",), 0.20, ("D",), {}),
        ("A3", ("sba_a",), 0.20, ("D",), {}),
        ("B1", ("wba",), 0.20, ("D",), {}),
        ("G1", ("gac",), 0.20, ("D",), {}),
    ):
        vessel = VesselSettings(
            code=code, name=f"Vessel {code}", internal_diameter_m=0.70, straight_height_m=3.2, bed_volume_min_m3=least,
            bed_volume_max_m3=0.45, families=families, segregation_classes=classes, **more,
        )  # fmt: skip
        plant.vessels[code] = plant_services.save_vessel(by=by, vessel=vessel).result
    warm = SkidSettings("BS", "Skid BS", "nacl", 1e-5, 2e-3, 333.15)
    plant_services.save_skid(by=by, skid=warm, version=1)
    for code, chemical in (("HS", "h2so4"), ("KS", "na2co3"), ("MS", "nh3"), ("OS", "naocl")):
        plant_services.save_skid(by=by, skid=SkidSettings(code, f"Skid {code}", chemical, 1e-5, 2e-3, None))


def save_feed(plant: SmallPlant) -> None:
    """A feed analysis of an invented well: a tenth of its cations calcium, charges in balance."""
    feed = FeedSettings(
        calcium_eq_per_m3=0.6, magnesium_eq_per_m3=0.4, sodium_eq_per_m3=5.0, chloride_eq_per_m3=1.5, sulfate_eq_per_m3=1.5,
        nitrate_eq_per_m3=0.2, alkalinity_eq_per_m3=2.8, carbon_dioxide_mol_per_m3=0.3, silica_mol_per_m3=0.15,
        basis="Test laboratory, 2026-02-20",
    )  # fmt: skip
    plant_services.save_feed_analysis(by=plant.by("supervisor"), feed=feed)


# --- tanks and batches ------------------------------------------------------------------------------------------------
def tanks_for(plant: SmallPlant, way: Family, count: int = 3, *, cycles: int = 0) -> list[TankVisit]:
    """Accepted tanks of this way, each with a lot on record."""
    visits = factories.accepted_tanks(plant, way.key, count, segregation_class=way.segregation_class)
    lot = lot_on_record(plant, way, cycles=cycles)
    Tank.objects.filter(pk__in=[visit.tank_id for visit in visits]).update(resin_lot=lot)
    return [TankVisit.objects.get(pk=visit.pk) for visit in visits]


def lot_on_record(plant: SmallPlant, way: Family, *, cycles: int = 0, code: str = "") -> ResinLot:
    return resin_services.receive_new_lot(
        by=plant.by("supervisor"), code=code or f"R-{ResinLot.objects.count() + 1}", resin_type_id=plant.types[way.key].pk,
        segregation_class=way.segregation_class, volume_m3=0.4,
        volume_form=factories.exhausted_form(way.key), origin="delivered for tests", cycles=cycles,
    ).result  # fmt: skip


def spare(plant: SmallPlant, code: str, like: str) -> int:
    """Key of one more vessel like another."""
    other = plant.vessels[like]
    vessel = VesselSettings(
        code=code, name=f"Vessel {code}", internal_diameter_m=other.internal_diameter_m,
        straight_height_m=other.straight_height_m, bed_volume_min_m3=other.bed_volume_min_m3,
        bed_volume_max_m3=other.bed_volume_max_m3, families=tuple(other.families),
        segregation_classes=tuple(other.segregation_classes), side_outlet_height_m=other.side_outlet_height_m,
        air_max_m3_per_s=other.air_max_m3_per_s,
    )  # fmt: skip
    plant.vessels[code] = plant_services.save_vessel(by=plant.by("supervisor"), vessel=vessel).result
    return plant.vessels[code].pk


def recipe_of(plant: SmallPlant, way: Family) -> int:
    """Key of the approved recipe version of this way; made when first asked for."""
    if not way.recipe:
        return plant.recipe[way.key].pk
    if way.recipe not in plant.recipe:
        plant.recipe[way.recipe] = factories.approved_recipe(
            plant, default_recipe(way.recipe), grade=way.grade
        )
    return plant.recipe[way.recipe].pk


def frozen(
    plant: SmallPlant, name: str, visits: list[TankVisit] | None = None, *, cycles: int = 0, **more: Any
) -> Batch:
    """A ready batch of this way."""
    way = WAYS[name]
    anion = plant.vessels[way.anion_vessel].pk if way.anion_vessel else None
    wanted = {
        "vessel_id": plant.vessels[way.vessel].pk,
        "recipe_version_id": recipe_of(plant, way),
        "anion_vessel_id": anion,
        **more,
    }
    chosen = visits if visits is not None else tanks_for(plant, way, cycles=cycles)
    return factories.frozen_batch(plant, way.key, chosen, **wanted)


def start_next(plant: SmallPlant, step: StepRun, *, who: str = "operator") -> StepRun:
    """Start a waiting step with what must stand before it; the first starts the batch."""
    factories.write_required(plant, step, is_before=True, who=who)
    if Batch.objects.get(pk=step.batch_id).state == "ready":
        batch_services.start_batch(by=plant.by(who), batch_id=step.batch_id)
    else:
        batch_services.start_step(by=plant.by(who), step_id=step.pk)
    step.refresh_from_db()
    return step


def work_to(plant: SmallPlant, batch: Batch, kind: StepKind, *, leg: str = "whole") -> StepRun:
    """Work everything that comes before the first step of this kind and leg; it waits then."""
    goal = batch.steps.filter(kind=kind.value, leg=leg).order_by("number")[0]
    for step in batch.steps.filter(number__lt=goal.number).order_by("number"):
        if step.state == "waiting" and (leg == "whole" or step.leg in ("whole", leg)):
            start_next(plant, step)
        if step.state == "running":
            factories.work_off(plant, step)
    goal.refresh_from_db()
    return goal


def step_of(batch: Batch, kind: StepKind, leg: str = "whole") -> StepRun:
    """The first step of this kind in this leg."""
    return batch.steps.filter(kind=kind.value, leg=leg).order_by("number")[0]


def cut_done(plant: SmallPlant, batch: Batch) -> None:
    """Worked up to the end of the cut: both legs wait."""
    cut = start_next(plant, work_to(plant, batch, StepKind.CUT))
    factories.work_off(plant, cut)


def at_work(batch: Batch) -> list[StepRun]:
    """The steps that can be worked on now."""
    return now_at_work(list(batch.steps.order_by("number")))


def to_release(plant: SmallPlant, batch: Batch) -> Batch:
    """From ready (or under way) to released, everybody doing what they should."""
    while steps := at_work(batch):
        step = steps[0]
        if step.state == "waiting":
            start_next(plant, step)
        factories.work_off(plant, step)
    passed(plant, batch)
    factories.sampled(plant, batch)
    fill(plant, batch)
    factories.reviewed(plant, batch)
    quality_services.release_batch(
        by=plant.by("qc 2"),
        batch_id=batch.pk,
        permit=factories.permit(plant, "qc 2", RELEASE_MEANING),
    )
    batch.refresh_from_db()
    return batch


def passed(plant: SmallPlant, batch: Batch) -> Batch:
    """A sample measured inside its limits and the pass signed."""
    batch.refresh_from_db()
    factories.measured_sample(plant, batch)
    quality_services.decide_batch(
        by=plant.by("qc"),
        batch_id=batch.pk,
        verdict="pass",
        permit=factories.permit(plant, "qc", factories.PASS_MEANING),
    )
    batch.refresh_from_db()
    return batch


def fill(plant: SmallPlant, batch: Batch) -> None:
    """Every tank filled with its share, all filled."""
    links = list(batch.tank_links.select_related("visit__tank"))
    for link in links:
        tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        batch_services.fill_tank(
            by=plant.by(), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.8 * link.resin_volume_m3
        )
    batch_services.finish_filling(by=plant.by(), batch_id=batch.pk)
    batch.refresh_from_db()


def chemicals_planned(batch: Batch) -> dict[str, float]:
    """Planned mass as 100 % by chemical [kg], over all its steps."""
    found: dict[str, float] = {}
    for step in plan_of(batch).steps:
        if step.chemical:
            name = step.chemical.value
            found[name] = found.get(name, 0.0) + step.value("chemical_kg_100")
    return found
