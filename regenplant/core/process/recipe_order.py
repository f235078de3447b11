"""The order of a recipe's steps: how it begins and ends, how a mixed bed parts and joins, how carbon is exchanged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from regenplant.core.process.recipe_chemistry import regenerants_of, sanitizer_left
from regenplant.core.process.recipe_paths import (
    FULL_RINSES,
    NumberedStep,
    Offence,
    between,
    first_of,
    numbered,
)
from regenplant.core.process.recipes import CHEMICAL_STEPS, RecipeDefinition
from regenplant.core.process.vocabulary import (
    REGENERATED_FORM,
    Chemical,
    Leg,
    LegArrangement,
    Purpose,
    ResinFamily,
    StepKind,
)
from regenplant.core.process.wording import listed

_ONLY_MIXED = (StepKind.SEPARATE, StepKind.FLOAT, StepKind.CUT, StepKind.JOIN, StepKind.AIR_MIX)
_LIFTING = (StepKind.BACKWASH, StepKind.SEPARATE)
"""Kinds that lift the bed with an upward flow of water."""
_ONLY_EXCHANGE = (StepKind.EMPTY, StepKind.FILL)
_REGENERATING_WORDS = ("regenerat", "reactivat")


def order_offences(definition: RecipeDefinition) -> Iterator[Offence]:
    """Every rule of order that a recipe breaks."""
    steps = numbered(definition)
    yield from _ends(definition, steps)
    yield from _foreign_kinds(definition, steps)
    if definition.family.is_exchanged or definition.purpose is Purpose.EXCHANGE:
        yield from _exchange(definition, steps)
    if definition.family.is_mixed:
        yield from _mixed(definition, steps)
    if definition.family is ResinFamily.MIXED_BED_POLISHING:
        yield from _polishing(definition)


def form_offences(definition: RecipeDefinition, leg: Leg, path: Sequence[NumberedStep]) -> Iterator[Offence]:
    """The last regenerant leaves the resin in the form of its family."""
    if definition.family.is_exchanged:
        return
    wanted = regenerants_of(definition.family, leg)
    own = [entry for entry in path if entry.step.kind in CHEMICAL_STEPS]
    last = own[-1] if own else None
    if last is not None and last.step.chemical in wanted:
        return
    form = f"the {leg.label}" if definition.family.is_mixed else REGENERATED_FORM[definition.family].label
    ends = f"ends on {last.step.chemical.label.lower()}" if last and last.step.chemical else "injects nothing"
    yield Offence(
        "last_regenerant",
        f"The recipe {ends}; {form} takes {listed(entry.label.lower() for entry in wanted)} last.",
        last.number if last else None,
    )


def _ends(definition: RecipeDefinition, steps: Sequence[NumberedStep]) -> Iterator[Offence]:
    if not steps:
        yield Offence("no_steps", "The recipe has no step.")
        return
    begins = StepKind.EMPTY if definition.family.is_exchanged else StepKind.LOAD
    if steps[0].step.kind is not begins:
        yield Offence(
            "first_step", f"The recipe begins with {steps[0].step.name}; it begins with: {begins.label}.", 1
        )
    if steps[-1].step.kind is not StepKind.SAMPLE:
        yield Offence(
            "no_sample",
            f"The recipe ends with {steps[-1].step.name}; it ends with a sample for QC.",
            steps[-1].number,
        )
    last_chemical = max((entry.number for entry in steps if entry.step.kind in CHEMICAL_STEPS), default=0)
    rinses = [entry for entry in steps if entry.step.kind.is_judged_rinse and entry.number > last_chemical]
    if not rinses or rinses[-1].step.leg is not Leg.WHOLE:
        yield Offence(
            "no_final_rinse",
            "No fast or recirculating rinse follows the last chemical. Put one before the sample.",
        )


def _foreign_kinds(definition: RecipeDefinition, steps: Sequence[NumberedStep]) -> Iterator[Offence]:
    for entry in steps:
        kind = entry.step.kind
        if kind in _ONLY_MIXED and not definition.family.is_mixed:
            yield Offence(
                "only_mixed",
                f"{entry.words} belongs to a mixed bed; this recipe is for {definition.family.label}.",
                entry.number,
            )
        if kind in _ONLY_EXCHANGE and not definition.family.is_exchanged:
            yield Offence(
                "only_exchange",
                f"{entry.words} belongs to an exchange of carbon; resin is loaded and regenerated.",
                entry.number,
            )


# --- carbon ---------------------------------------------------------------------------------------------------------
def _exchange(definition: RecipeDefinition, steps: Sequence[NumberedStep]) -> Iterator[Offence]:
    if not definition.family.is_exchanged:
        yield Offence(
            "exchange_of_resin", f"Only carbon is exchanged; {definition.family.label} is regenerated."
        )
        return
    if definition.purpose is not Purpose.EXCHANGE:
        yield Offence(
            "carbon_regenerated",
            f"Carbon is exchanged; a recipe for {definition.purpose.label} is not for it.",
        )
    for words in (definition.name, *(entry.step.name for entry in steps)):
        if any(stem in words.lower() for stem in _REGENERATING_WORDS):
            yield Offence("carbon_wording", f"Carbon is exchanged, never regenerated here: reword {words!r}.")
    for entry in steps:
        if entry.step.kind in (StepKind.INJECT, StepKind.SOAK):
            yield Offence(
                "carbon_regenerated",
                f"{entry.words} treats carbon with a chemical. Carbon is exchanged.",
                entry.number,
            )
    empty, fill = first_of(steps, StepKind.EMPTY), first_of(steps, StepKind.FILL)
    if empty is None or fill is None or fill.number < empty.number:
        yield Offence(
            "exchange_order",
            "An exchange empties the tanks, then fills them with new carbon; both steps stand in it.",
        )
        return
    for entry in steps:
        if entry.step.kind is StepKind.SANITIZE:
            yield from _sanitized_tank(definition, steps, entry, empty, fill)


def _sanitized_tank(
    definition: RecipeDefinition,
    steps: Sequence[NumberedStep],
    entry: NumberedStep,
    empty: NumberedStep,
    fill: NumberedStep,
) -> Iterator[Offence]:
    if not empty.number < entry.number < fill.number:
        yield Offence(
            "sanitizer_on_carbon",
            f"{entry.words} brings an oxidizer onto carbon: it heats, and the carbon eats it. Sanitize the emptied tanks.",
            entry.number,
        )
    elif not between(steps, FULL_RINSES, entry, fill):
        yield Offence(
            "no_rinse_between",
            f"{entry.words} is not rinsed out before new carbon goes in. Put a rinse between.",
            entry.number,
        )
    yield from sanitizer_left(definition, steps, entry)


# --- mixed beds -----------------------------------------------------------------------------------------------------
def _mixed(definition: RecipeDefinition, steps: Sequence[NumberedStep]) -> Iterator[Offence]:
    cut, join = first_of(steps, StepKind.CUT), first_of(steps, StepKind.JOIN)
    if cut is None or join is None:
        yield Offence(
            "mixed_without_cut",
            "A mixed bed parts at an interface cut and joins again; one of the two is missing.",
        )
        return
    yield from _separation(steps, cut)
    yield from _floats(steps, cut)
    for leg in (Leg.CATION, Leg.ANION):
        yield from _leg(leg, [entry for entry in steps if entry.step.leg is leg])
    yield from _after_the_join(steps, join)
    if definition.arrangement is LegArrangement.TOGETHER and "leg_balance_max_frac" not in definition.limits:
        yield Offence(
            "no_balance_limit",
            "Both legs run at once in one vessel and the recipe sets no limit for the balance of acid and caustic. Set one.",
        )


def _separation(steps: Sequence[NumberedStep], cut: NumberedStep) -> Iterator[Offence]:
    separate, floated = first_of(steps, StepKind.SEPARATE), first_of(steps, StepKind.FLOAT)
    if floated is not None and (separate is None or separate.number > cut.number):
        return  # the dense solution parts the resins alone; its own rules follow
    if separate is None or separate.number > cut.number:
        yield Offence(
            "mixed_without_separation", f"{cut.words} cuts a bed that was not separated.", cut.number
        )
        return
    settles = [
        entry
        for entry in steps
        if entry.step.kind is StepKind.SETTLE and separate.number < entry.number < cut.number
    ]
    if not settles:
        yield Offence(
            "mixed_without_settling",
            f"{cut.words} follows the separation without settling. Let the bed settle.",
            cut.number,
        )
    for entry in (separate, *settles):
        if entry.step.is_safe_hold_after:
            yield Offence(
                "hold_while_separated",
                f"{entry.words} is no hold point: the layers blur before the cut.",
                entry.number,
            )


def _floats(steps: Sequence[NumberedStep], cut: NumberedStep) -> Iterator[Offence]:
    """A float separation stands between exhaustion and cut; its solution is gone before the cut, and nothing lifts the bed."""
    for entry in steps:
        if entry.step.kind is not StepKind.FLOAT:
            continue
        if entry.number > cut.number:
            yield Offence(
                "float_after_cut",
                f"{entry.words} parts resins that step {cut.number} has cut already. Put it before the cut.",
                entry.number,
            )
            continue
        yield from _prepared(steps, entry)
        yield from _floated_bed(steps, entry, cut)


def _prepared(steps: Sequence[NumberedStep], entry: NumberedStep) -> Iterator[Offence]:
    """Exhausted by brine first; for caustic the brine is gone, and with it the acid and the hardness it set free."""
    brine = next(
        (
            one
            for one in steps
            if one.number < entry.number
            and one.step.kind is StepKind.INJECT
            and one.step.chemical is Chemical.SODIUM_CHLORIDE
        ),
        None,
    )
    if brine is None:
        yield Offence(
            "float_not_exhausted",
            f"{entry.words} floats resin that was not exhausted: hydrogen-form beads may float, and caustic heats on them. "
            "Exhaust with brine first.",
            entry.number,
        )
        return
    cleared = between(steps, (StepKind.DISPLACE,), brine, entry) and between(steps, FULL_RINSES, brine, entry)
    if entry.step.chemical is Chemical.SODIUM_HYDROXIDE and not cleared:
        yield Offence(
            "float_caustic_on_brine",
            f"{entry.words} brings caustic onto the brine of step {brine.number}, which holds the acid and the hardness it took "
            "off: heat, and chalk and magnesia in the bed. Put a displacement and a full rinse between.",
            entry.number,
        )


def _floated_bed(steps: Sequence[NumberedStep], entry: NumberedStep, cut: NumberedStep) -> Iterator[Offence]:
    between_them = [one for one in steps if entry.number < one.number < cut.number]
    kinds = [one.step.kind for one in between_them]
    if StepKind.DISPLACE not in kinds or not any(kind in FULL_RINSES for kind in kinds):
        yield Offence(
            "float_not_rinsed",
            f"{entry.words} leaves its solution in the bed up to the cut. Put a displacement and a full rinse between.",
            entry.number,
        )
    for one in between_them:
        if one.step.kind in _LIFTING:
            yield Offence(
                "lifted_after_float",
                f"{one.words} lifts the bed after the float separation of step {entry.number}: in water both resins mix again. Put "
                "it before the float.",
                one.number,
            )
    for one in (entry, *between_them):
        if one.step.is_safe_hold_after:
            yield Offence(
                "hold_while_separated",
                f"{one.words} is no hold point: the layers blur before the cut.",
                one.number,
            )


def _leg(leg: Leg, own: Sequence[NumberedStep]) -> Iterator[Offence]:
    injections = [entry for entry in own if entry.step.kind is StepKind.INJECT]
    if not injections:
        yield Offence("leg_without_regenerant", f"The {leg.label} has no injection.")
        return
    rinsed = any(entry.step.kind in FULL_RINSES and entry.number > injections[-1].number for entry in own)
    if not rinsed:
        yield Offence(
            "leg_not_rinsed",
            f"The {leg.label} joins without a rinse after its injection: acid and caustic meet in the mixed bed.",
            injections[-1].number,
        )


def _after_the_join(steps: Sequence[NumberedStep], join: NumberedStep) -> Iterator[Offence]:
    later = [entry for entry in steps if entry.number > join.number]
    for entry in later:
        if entry.step.kind in CHEMICAL_STEPS:
            yield Offence(
                "chemical_after_join", f"{entry.words} brings a chemical to the joined bed.", entry.number
            )
    air = first_of(later, StepKind.AIR_MIX)
    if air is None:
        yield Offence(
            "mixed_without_air_mix",
            "The joined bed is not mixed by air. Put an air mix after the join.",
            join.number,
        )
        return
    if not any(entry.step.kind.is_judged_rinse and entry.number > air.number for entry in later):
        yield Offence(
            "mixed_without_final_rinse", f"{air.words} is not followed by a final rinse.", air.number
        )


def _polishing(definition: RecipeDefinition) -> Iterator[Offence]:
    if not definition.grades:
        yield Offence(
            "polishing_grades",
            "A polishing recipe names the resin grades it may be used for: polishing or virgin resin only.",
        )
    for key, words in (
        ("resin_cycles_max", "how many regenerations the resin may have behind it"),
        ("cross_contamination_max_frac", "how many beads of the other kind it bears"),
    ):
        if key not in definition.limits:
            yield Offence("polishing_limits", f"A polishing recipe says {words}. Set the limit.")
