"""Sulfuric acid in steps: strength, flow, dose and the gypsum index of each against what warns and what stops."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.core.process.plan import BatchPlan, PlannedStep, PlanRequest
from regenplant.core.process.vocabulary import Chemical, StepKind
from regenplant.documents.batch_sheet_setting import Setting, margin_word, section
from regenplant.documents.faces import BODY, SMALL, STRONG, Span
from regenplant.documents.flow import Block, Item, paragraph
from regenplant.documents.parts import Column, cell, marked, table_head, table_row, two_lines
from regenplant.documents.texts import clock_time, limit_number, other, own

NEVER_PAUSE = (
    "Sulfuric acid never pauses and never soaks in the bed: gypsum forms while it stands. If the feed stops, start the "
    "displacement water at once."
)


def acid_steps(plan: BatchPlan) -> tuple[PlannedStep, ...]:
    """The sulfuric acid injections in order."""
    return tuple(
        step
        for step in plan.steps
        if step.kind is StepKind.INJECT and step.chemical is Chemical.SULFURIC_ACID
    )


def gypsum_limits(request: PlanRequest) -> tuple[float, float]:
    """What warns and what stops: the recipe's own, else the plant's."""
    own_limits, plant = request.recipe.limits, request.limits
    return (
        own_limits.get("gypsum_index_warn", plant.gypsum_index_warn),
        own_limits.get("gypsum_index_stop", plant.gypsum_index_stop),
    )


def items(setting: Setting) -> list[Item]:
    """The table that stands before the first injection."""
    plan, width = setting.content.plan, setting.width
    steps = acid_steps(plan)
    fixed = (62.0, 62.0, 66.0, 62.0, 52.0, 92.0)
    heads = ("Strength, at bed", "Flow", "Dose as 100 %", "Fed, time", "Calcium share", "Gypsum index")
    columns = (Column("Step", width - sum(fixed)), *(Column(h, w) for h, w in zip(heads, fixed, strict=True)))
    title = "Sulfuric acid in steps" if len(steps) > 1 else "Sulfuric acid"
    warn, stop = (limit_number(limit, "index", setting.system) for limit in gypsum_limits(plan.request))
    words = (
        f"The gypsum index is the logarithm of saturation in the spent acid: above {warn} warns, above {stop} stops, below 0 "
        "nothing can drop out."
    )
    return [
        section(title, width, margin_word("Acid", "step by step" if len(steps) > 1 else "")),
        Item(paragraph(words, BODY, width), keep=True),
        Item(table_head(columns), keep=True, gap=3),
        *(Item(_row(step, columns, setting), keep=True) for step in steps),
        Item(marked("stop", (Span(NEVER_PAUSE, STRONG),), width, side=11), gap=4),
    ]


def _row(step: PlannedStep, columns: Sequence[Column], setting: Setting) -> Block:
    system, figures = setting.system, step.figures

    def pair(key: str, column: Column, second: str | None = None) -> Block:
        if key not in figures:
            return cell("–", column)
        e = figures[key]
        return two_lines(
            own(e.value, e.kind, e.unit, system),
            other(e.value, e.kind, system) if second is None else second,
            column,
        )

    warmth = figures["temperature_kelvin"]
    dose = figures["dose_kg_per_m3"]
    return table_row(
        (
            two_lines(f"{step.number} · {step.name}", "", columns[0]),
            pair("strength_frac", columns[1], own(warmth.value, warmth.kind, warmth.unit, system)),
            pair("flow_m3_per_s", columns[2]),
            pair("chemical_kg_100", columns[3], own(dose.value, dose.kind, dose.unit, system)),
            pair("volume_m3", columns[4], clock_time(figures["duration_s"].value)),
            pair("calcium_frac", columns[5], ""),
            _index(step, columns[6], setting),
        ),
        columns,
        pad=2.5,
    )


def _index(step: PlannedStep, column: Column, setting: Setting) -> Block:
    """The index with its verdict in words."""
    found = step.figures.get("gypsum_index")
    if found is None:
        return two_lines("–", "no calcium counted", column)
    verdict = next(
        (c for c in setting.content.plan.checks if c.code == "gypsum" and c.step_number == step.number), None
    )
    warn, stop = (
        limit_number(limit, "index", setting.system) for limit in gypsum_limits(setting.content.plan.request)
    )
    word = "below both limits"
    if verdict is not None and not verdict.is_met:
        word = f"stops: above {stop}" if verdict.blocks else f"warns: above {warn}"
    return two_lines(
        own(found.value, found.kind, found.unit, setting.system), word, column, second_style=SMALL
    )
