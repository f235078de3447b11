"""Reading recipes and specifications: definitions, usable versions, and how two versions differ."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from difflib import SequenceMatcher

from django.db.models import Prefetch, QuerySet

from regenplant.core.process.canonical import digest, from_plain
from regenplant.core.process.recipes import RECIPE_LIMITS, RecipeDefinition, RecipeStep, SetPoint
from regenplant.core.process.specification import Limit
from regenplant.core.process.specification import Specification as SpecificationDefinition
from regenplant.core.process.vocabulary import Leg, LegArrangement, Purpose
from regenplant.recipes.models import Recipe, RecipeVersion, Specification, SpecificationVersion

SETTING_KINDS: dict[str, tuple[str, str]] = {
    "duration_s": ("duration", "Time"),
    "expansion_frac": ("fraction", "Bed expansion"),
    "dose_kg_per_m3": ("dose", "Dose as 100 %, per resin volume"),
    "strength_frac": ("strength", "Strength at the bed"),
    "flow_bv_per_h": ("flow_bv_per_h", "Flow per bed volume"),
    "temperature_kelvin": ("temperature", "Temperature at the bed"),
    "contact_time_s": ("duration", "Contact time"),
    "volume_bv": ("bed_volumes", "Volume"),
    "cut_frac": ("fraction", "Share of the bed drawn off at the interface"),
    "air_velocity_m_per_s": ("air_velocity", "Standard air through the bed, per area"),
    "water_above_bed_m": ("length", "Water above the bed"),
}
"""Quantity kind and name of every setting of a recipe step."""


def recipe_definition(version: RecipeVersion) -> RecipeDefinition:
    """The content of a version as frozen data."""
    return from_plain(RecipeDefinition, json.loads(version.content))


def specification_definition(version: SpecificationVersion) -> SpecificationDefinition:
    """The content of a version as frozen data."""
    return from_plain(SpecificationDefinition, json.loads(version.content))


def is_intact(version: RecipeVersion | SpecificationVersion) -> bool:
    """Whether the content still fits its digest."""
    return digest(version.content) == version.digest


BESIDES_REGENERATION = (Purpose.CLEANING, Purpose.CONDITIONING)
"""Purposes offered to every grade of a family, each marked by its purpose (``purpose_of``)."""


def purpose_of(version: RecipeVersion) -> Purpose:
    """What a recipe version is for."""
    return recipe_definition(version).purpose


def runs_apart(version: RecipeVersion) -> bool:
    """Whether the anion leg of this recipe runs in a vessel of its own."""
    definition = recipe_definition(version)
    return definition.arrangement is LegArrangement.APART and any(
        step.leg is Leg.ANION for step in definition.steps
    )


def usable_recipe_versions(family: str, grade: str, now: datetime) -> list[RecipeVersion]:
    """Per recipe in use that may be offered for resin of this family and grade: the newest approved version that holds now.

    What regenerates (or exchanges) comes first: recipes of the same grade. Cleaning and conditioning recipes of the family
    follow, whatever the grade they are filed under. A version that names grades is offered to those only.
    """
    found = RecipeVersion.objects.filter(
        recipe__is_active=True,
        recipe__family=family,
        state=RecipeVersion.State.APPROVED,
        effective_from__lte=now,
    ).select_related("recipe", "made_by", "approved_by")
    newest: dict[int, RecipeVersion] = {}
    for version in found.order_by("recipe__code", "-number"):
        newest.setdefault(version.recipe_id, version)
    offered = [
        (
            list(Purpose).index(definition.purpose) if definition.purpose in BESIDES_REGENERATION else -1,
            version,
        )
        for version in newest.values()
        if _is_offered(definition := recipe_definition(version), version.recipe.grade, grade)
    ]
    return [version for _, version in sorted(offered, key=lambda pair: (pair[0], pair[1].recipe.code))]


def _is_offered(definition: RecipeDefinition, filed_under: str, grade: str) -> bool:
    if definition.grades and grade not in definition.grades:
        return False
    return filed_under == grade or definition.purpose in BESIDES_REGENERATION


def usable_specification_versions(family: str, grade: str, now: datetime) -> list[SpecificationVersion]:
    """Per specification in use: the newest approved version that holds now."""
    found = SpecificationVersion.objects.filter(
        specification__is_active=True,
        specification__family=family,
        specification__grade=grade,
        state=SpecificationVersion.State.APPROVED,
        effective_from__lte=now,
    ).select_related("specification", "made_by", "approved_by")
    newest: dict[int, SpecificationVersion] = {}
    for version in found.order_by("specification__code", "-number"):
        newest.setdefault(version.specification_id, version)
    return list(newest.values())


def recipes() -> QuerySet[Recipe]:
    """All recipes with their versions, newest first."""
    versions = RecipeVersion.objects.select_related("made_by", "approved_by").order_by("-number")
    return Recipe.objects.prefetch_related(Prefetch("versions", versions))


def specifications() -> QuerySet[Specification]:
    """All specifications with their versions, newest first."""
    versions = SpecificationVersion.objects.select_related("made_by", "approved_by").order_by("-number")
    return Specification.objects.prefetch_related(Prefetch("versions", versions))


# --- differences ----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs. Set points and limits are SI with a ``kind``; words have no kind.

    ``old`` or ``new`` None: only the other version has it.
    """

    where: str
    what: str
    kind: str
    old: SetPoint | Limit | str | None
    new: SetPoint | Limit | str | None


def recipe_differences(old: RecipeDefinition, new: RecipeDefinition) -> tuple[Difference, ...]:
    """What changed from one version to the other, step by step; steps are matched by kind and name."""
    found = list(
        _words(
            "Recipe",
            (
                ("Name", old.name, new.name),
                ("Notes", old.notes, new.notes),
                ("What it is for", old.purpose.label, new.purpose.label),
                ("How the legs run", old.arrangement.label, new.arrangement.label),
                ("Resin grades", ", ".join(old.grades) or "any", ", ".join(new.grades) or "any"),
            ),
        )
    )
    for key, (name, kind) in RECIPE_LIMITS.items():
        before_limit, after_limit = old.limits.get(key), new.limits.get(key)
        if before_limit != after_limit:
            found.append(Difference("Recipe", name, kind, _point(before_limit), _point(after_limit)))
    before, after = [_step_key(step) for step in old.steps], [_step_key(step) for step in new.steps]
    for tag, i1, i2, j1, j2 in SequenceMatcher(a=before, b=after, autojunk=False).get_opcodes():
        pairs = min(i2 - i1, j2 - j1)
        if tag in ("equal", "replace"):
            for offset in range(pairs):
                found.extend(
                    _step_differences(j1 + offset + 1, old.steps[i1 + offset], new.steps[j1 + offset])
                )
        taken = pairs if tag in ("equal", "replace") else 0
        found.extend(
            Difference(f"Step {i + 1}", step.name, "", step.kind.label, None)
            for i, step in _tail(old, i1 + taken, i2)
        )
        found.extend(
            Difference(f"Step {j + 1}", step.name, "", None, step.kind.label)
            for j, step in _tail(new, j1 + taken, j2)
        )
    return tuple(found)


def _tail(definition: RecipeDefinition, start: int, end: int) -> Iterator[tuple[int, RecipeStep]]:
    yield from ((index, definition.steps[index]) for index in range(start, end))


def _step_key(step: RecipeStep) -> tuple[str, str]:
    return (step.kind.value, step.name)


def _step_differences(number: int, old: RecipeStep, new: RecipeStep) -> Iterator[Difference]:
    where = f"Step {number}, {new.name}"
    yield from _words(
        where,
        (
            ("Name", old.name, new.name),
            ("Kind", old.kind.label, new.kind.label),
            ("Leg", old.leg.label, new.leg.label),
            ("Water", old.water.label if old.water else "none", new.water.label if new.water else "none"),
            (
                "Chemical",
                old.chemical.label if old.chemical else "none",
                new.chemical.label if new.chemical else "none",
            ),
            ("Ends when", old.ends_when, new.ends_when),
            ("Safe to hold after it", _yes(old.is_safe_hold_after), _yes(new.is_safe_hold_after)),
            ("Two people check the connection", _yes(old.asks_second_person), _yes(new.asks_second_person)),
        ),
    )
    for key, (kind, name) in SETTING_KINDS.items():
        before, after = old.settings.get(key), new.settings.get(key)
        if before != after:
            yield Difference(where, name, kind, before, after)


def _yes(claim: bool) -> str:
    return "yes" if claim else "no"


def _words(where: str, rows: tuple[tuple[str, str, str], ...]) -> Iterator[Difference]:
    for what, old, new in rows:
        if old != new:
            yield Difference(where, what, "", old, new)


def specification_differences(
    old: SpecificationDefinition, new: SpecificationDefinition
) -> tuple[Difference, ...]:
    """What changed from one version to the other, limit by limit."""
    found = list(
        _words(
            "Specification",
            (
                ("Name", old.name, new.name),
                ("Notes", old.notes, new.notes),
                ("Trace in the water", str(old.compensation), str(new.compensation)),
                ("Consecutive readings", str(old.consecutive_readings), str(new.consecutive_readings)),
                ("Jump that no water makes", f"{old.jump_factor:g} times", f"{new.jump_factor:g} times"),
            ),
        )
    )
    for what, kind, before, after in (
        ("Hold time", "duration", old.hold_time_s, new.hold_time_s),
        ("Longest gap between readings", "duration", old.longest_gap_s, new.longest_gap_s),
        ("Least rinse", "bed_volumes", old.minimum_rinse_bv, new.minimum_rinse_bv),
        ("Most rinse", "bed_volumes", old.maximum_rinse_bv, new.maximum_rinse_bv),
        ("Uncertainty of the meter", "fraction", old.meter_uncertainty_frac, new.meter_uncertainty_frac),
    ):
        if before != after:
            found.append(Difference("Rinse", what, kind, _point(before), _point(after)))
    olds, news = ({limit.measurement: limit for limit in one.limits} for one in (old, new))
    for key in [*olds, *(key for key in news if key not in olds)]:
        a, b = olds.get(key), news.get(key)
        if a != b:
            named = b or a
            assert named is not None
            found.append(Difference("Limit", named.name, named.kind, a, b))
    return tuple(found)


def _point(value: float | None) -> SetPoint | None:
    return None if value is None else SetPoint(value, value, value)
