"""Sulfuric acid on a resin that holds calcium: how much calcium leaves with each step, and whether gypsum may drop.

Nobody knows beforehand in which step the calcium leaves, so every step is judged on the side of caution: the first acid
is taken as wholly exchanged as long as the resin holds more than it brings, every later step as exchanged like the
regeneration as a whole. Of what is exchanged, calcium has the share it has on the resin.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from regenplant.core.engineering import scaling
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange
from regenplant.core.process.plan import FeedData
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.plan_regenerants import regenerating_steps
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, ResinFamily

ASSUMED_CALCIUM_FRAC = 0.5
"""Share of calcium on a cation resin where no feed is known: half, as hard tap water leaves it (common practice)."""
ASSUMED_WEAK_ACID_CALCIUM_FRAC = 1.0
"""The same on a weak-acid cation, which takes up little else than hardness: all of it, on the side of caution."""
ASSUMED_CALCIUM = "No feed analysis is known: half of what the resin holds is taken as calcium. Write down the feed, gypsum depends on it."
ASSUMED_WEAK_ACID_CALCIUM = "No feed analysis is known: all that the weak-acid resin holds is taken as calcium. Write down the feed, gypsum depends on it."
LEAST_CALCIUM_FRAC = 1e-4
"""Below this share no gypsum index is given."""
LEAST_ACID_LEFT_FRAC = 0.002
"""A trace of acid always slips through; without any, the equilibrium jumps to neutral and may not be found."""


def gypsum_figures(
    basis: PlanBasis, bed: Bed, step: RecipeStep, number: int, figures: Mapping[str, Estimate]
) -> dict[str, Estimate]:
    """Acid exchanged, calcium in it, and the saturation of gypsum for one step of sulfuric acid."""
    exchanged = _exchanged(basis, bed, step, number, figures["applied_eq"])
    on_resin = calcium_on_resin(bed.resin.family, basis.request.feed)
    calcium = Estimate(
        symbol="y_Ca",
        name="calcium in the spent acid of this step, share of its equivalents",
        value=on_resin.value * exchanged.value,
        unit="dimensionless",
        kind="fraction",
        formula="f_Ca · x",
        inputs=(on_resin.as_input(), exchanged.as_input()),
        method="calcium leaves with its share in all that is exchanged",
        source="charge_balance",
        valid="no step is better than the average; the order in which ions leave is not modeled",
        warnings=on_resin.warnings,
    )
    found = {"exchanged_frac": exchanged, "calcium_frac": calcium}
    if calcium.value < LEAST_CALCIUM_FRAC:
        return found
    try:
        found["gypsum_index"] = _gypsum(basis, bed, step, exchanged, calcium, figures)
    except OutOfRange as refusal:
        unknown = f"No gypsum index for this acid: {refusal.message}"
        found["calcium_frac"] = replace(calcium, warnings=(*calcium.warnings, unknown))
    return found


def calcium_on_resin(family: ResinFamily, feed: FeedData | None) -> Estimate:
    """Share of calcium in the equivalents a cation resin holds, from the feed or assumed."""
    hardness = feed.calcium_eq_per_m3 + feed.magnesium_eq_per_m3 if feed is not None else 0.0
    weak = family is ResinFamily.WAC_HYDROGEN
    if feed is None or feed.cations_eq_per_m3 <= 0.0:
        assumed = ASSUMED_WEAK_ACID_CALCIUM_FRAC if weak else ASSUMED_CALCIUM_FRAC
        return Estimate(
            "f_Ca", "share of calcium on the resin, assumed", assumed, "dimensionless", "fraction",
            "set point where no feed is known", (), "assumed", "trade_practice",
            warnings=(ASSUMED_WEAK_ACID_CALCIUM if weak else ASSUMED_CALCIUM,), uncertainty_frac=0.5,
        )  # fmt: skip
    only_hardness = weak and hardness > 0.0
    whole = hardness if only_hardness else feed.cations_eq_per_m3
    words = "hardness in the feed" if only_hardness else "all cations in the feed"
    return Estimate(
        symbol="f_Ca",
        name="share of calcium on the resin, from the feed",
        value=feed.calcium_eq_per_m3 / whole,
        unit="dimensionless",
        kind="fraction",
        formula="c_Ca / c_f",
        inputs=(
            Input("c_Ca", "calcium in the feed", feed.calcium_eq_per_m3, "eq/m^3", "normality"),
            Input("c_f", words, whole, "eq/m^3", "normality"),
        ),
        method="a resin run to its end holds ions as the feed brought them",
        source="charge_balance",
        valid="the top of the bed holds more calcium, the bottom less",
        uncertainty_frac=0.1,
    )


def _exchanged(basis: PlanBasis, bed: Bed, step: RecipeStep, number: int, applied: Estimate) -> Estimate:
    """Share of the acid of this step that is exchanged."""
    regenerating = regenerating_steps(basis.request.recipe, step.leg)
    is_first = number == regenerating[0][0]
    weight = substance(Chemical.SULFURIC_ACID.value).equivalent_weight_kg_per_eq
    doses = sum(entry.settings["dose_kg_per_m3"].target for _, entry in regenerating)
    brought = applied if is_first else replace(applied, symbol="n_Σ", name="equivalents of all acid steps",
                                               value=doses * bed.volume_m3 / weight)  # fmt: skip
    is_all = bed.load.value >= brought.value
    words = "this first acid" if is_first else "the acid of all steps"
    return Estimate(
        symbol="x",
        name="share of the acid of this step that is exchanged, at most",
        value=1.0 if is_all else bed.load.value / brought.value,
        unit="dimensionless",
        kind="fraction",
        formula="1" if is_all else f"{bed.load.symbol} / {brought.symbol}",
        inputs=() if is_all else (bed.load.as_input(), brought.as_input()),
        method=f"the resin holds more than {words} brings: all of it is exchanged"
        if is_all
        else f"load over {words}",
        source="charge_balance",
        valid="on the side of caution: the shares of the steps together exceed the load",
    )


def _gypsum(
    basis: PlanBasis,
    bed: Bed,
    step: RecipeStep,
    exchanged: Estimate,
    calcium: Estimate,
    figures: Mapping[str, Estimate],
) -> Estimate:
    """Saturation index of gypsum in the spent acid; magnesium and sodium of the load bind part of the sulfate."""
    rest = max(min(exchanged.value, 1.0 - LEAST_ACID_LEFT_FRAC) - calcium.value, 0.0)
    feed = basis.request.feed
    others = feed.magnesium_eq_per_m3 + feed.sodium_eq_per_m3 if feed is not None else 0.0
    magnesium = rest * feed.magnesium_eq_per_m3 / others if feed is not None and others > 0.0 else 0.0
    found = scaling.gypsum_saturation(
        step.settings["strength_frac"].target,
        min(calcium.value, 1.0 - LEAST_ACID_LEFT_FRAC),
        figures["temperature_kelvin"].value,
        magnesium_frac=magnesium,
        sodium_frac=rest - magnesium,
    )
    return replace(found, warnings=tuple(dict.fromkeys((*found.warnings, *calcium.warnings))))
