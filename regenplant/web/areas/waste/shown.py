"""What the pages of the waste say: sentences, rows, the picture of a tank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from regenplant import units
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.routes import destination_of, what_drains
from regenplant.batches.sewer_budget import UNDER_WAY
from regenplant.core.engineering.tank_levels import TankForm, TankShape
from regenplant.core.process.drained_steps import IONS
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.vocabulary import Chemical
from regenplant.drawing.scene import Scene
from regenplant.plant.models import WasteTank
from regenplant.waste.held import TankStanding
from regenplant.waste.models import StepDrain
from regenplant.waste.receiving import stop_for
from regenplant.waste.selectors import Coming
from regenplant.waste.treatment import Treatment
from regenplant.web.drawing.tank_level import LevelMark, tank_level

_TALL_M = 10.0
"""The picture knows volumes only: the tank is drawn as one whose level is its volume."""
_TANK_SHARE = 0.12
"""Of the drawing's width: its words are long, and a phone shows them whole."""

TREAT_CAUTION = Caution(
    code="neutralizing",
    signal=SignalWord.DANGER,
    headline="Strong acid or caustic into waste: heat, spatter, gas.",
    measures=(
        "Through the fixed dosing line into moving waste, slowly. Never by hand from open vessels, never concentrated acid and caustic together.",
        "Never the waste into the stock. Stop when it fumes, foams or gets hot.",
        "Carbonate gives off carbon dioxide with acid, ammonia comes off in alkaline waste: ventilate, nobody in pits.",
        "Metals, oxidizers and wastes of unknown origin never enter this tank.",
    ),
    protective_equipment=("goggles", "face shield", "chemical-resistant gloves", "apron", "boots"),
)
"""Common practice; the SDS of each chemical decides."""


SWITCH_CAUTION = Caution(
    code="switching_drains",
    signal=SignalWord.WARNING,
    headline="Acid or caustic may stand in the drain lines.",
    measures=(
        "Open the way into the new tank before the old one is shut, so that nothing backs up.",
        "Never lead acid waste onto alkaline waste without knowing what stands in the tank: heat, spatter, gas.",
        "Never into a tank that is being proven for the sewer, or whose outlet is open.",
    ),
    protective_equipment=("goggles", "chemical-resistant gloves", "boots"),
)
"""Common practice; the plant's procedure decides."""


def volume(value: float, system: str) -> str:
    return units.twin(value, "liquid_volume", system)


def tank_sentence(stands: TankStanding, coming_m3: float, system: str) -> str:
    tank = stands.tank
    room = tank.planned_most_m3 - stands.volume_m3 - coming_m3
    words = f"By the books {volume(stands.volume_m3, system)} of {volume(tank.capacity_m3, system)}"
    if coming_m3 > 0.0:
        words += f"; batches under way bring {volume(coming_m3, system)} more"
    if room >= 0.0:
        return f"{words}. Room with the reserve kept: {volume(room, system)}."
    return f"{words}. With that the reserve is used by {volume(-room, system)}: treat and discharge first."


def list_sentence(
    standings: Sequence[TankStanding], receiving: WasteTank | None, coming_m3: float, system: str
) -> str:
    """Of the tank to which the drains run."""
    found = next((one for one in standings if receiving is not None and one.tank.pk == receiving.pk), None)
    if found is None:
        return "No waste tank is set up, so nothing can be planned."
    where = f"The drains run to {found.tank.code}. " if len(standings) > 1 else ""
    return where + tank_sentence(found, coming_m3, system)


def switch_rows(
    tank: WasteTank, present: WasteTank | None, draining: Sequence[str], now: datetime, system: str
) -> list[tuple[str, str]]:
    """What somebody looks at before the drains run elsewhere."""
    rows = [
        (f"{one.code} holds", f"{volume(one.level_m3, system)} of {volume(one.capacity_m3, system)}")
        for one in (present, tank)
        if one is not None
    ]
    rows.append(("Drains now", ", ".join(draining) or "nothing"))
    if stop := stop_for(tank, now):
        rows.append(("Not now", stop))
    return rows


def picture(stands: TankStanding, coming_m3: float, system: str) -> Scene:
    """The tank with its level, what is coming on top, and the level up to which waste is planned in."""
    tank = stands.tank
    shape = TankShape(TankForm.TABLE, table=((0.0, 0.0), (_TALL_M, tank.capacity_m3)))

    def at(value_m3: float) -> float:
        return min(value_m3 / tank.capacity_m3, 1.0) * _TALL_M

    def said(value_m3: float) -> str:
        return units.format_quantity(value_m3, "liquid_volume", system)

    marks = [LevelMark(at(stands.volume_m3), f"{said(stands.volume_m3)} now", "ln")]
    if coming_m3 > 0.0:
        later = stands.volume_m3 + coming_m3
        marks.append(LevelMark(at(later), f"{said(later)} with what comes", "fc"))
    most = tank.planned_most_m3
    marks.append(LevelMark(at(most), f"{said(most)} at most", "lim"))
    return tank_level(
        shape, at(stands.volume_m3), marks, f"{tank.code} from the side", tank_share=_TANK_SHARE
    )


def held_rows(stands: TankStanding, needs: Treatment, system: str) -> list[tuple[str, str]]:
    """What stands in the tank, by the books."""
    held = stands.held
    rows = [("Volume", volume(held.volume_m3, system))]
    if held.unknown_m3 >= 0.5e-3:  # half a litre: below it only the noise of sums
        rows.append(("Of unknown composition", volume(held.unknown_m3, system)))
    if held.temperature_kelvin is not None:
        rows.append(("Temperature, mixed, no loss counted", units.twin(held.temperature_kelvin, "temperature", system)))  # fmt: skip
    excess = held.excess_eq
    if not held.is_empty:
        side = "Acid to spare" if excess >= 0.0 else "Alkali to spare"
        rows.append((side, units.twin(abs(excess), "equivalents", system)))
        plan = needs.plan
        if plan is not None:
            rows.append(("pH, predicted", units.format_quantity(plan.stream.ph.value, "ph")))
    if needs.measured is not None and needs.measured.ph is not None:
        rows.append(("pH, measured since", units.format_quantity(needs.measured.ph, "ph")))
    rows += [
        (name.capitalize(), units.twin(held.mass_kg(name), "mass", system))
        for name in IONS
        if held.mass_kg(name) > 0.0005
    ]
    if held.dissolved_kg > 0.0005:
        rows.append(("Dissolved solids, sum of the ions", units.twin(held.dissolved_kg, "mass", system)))
    return rows


def plan_rows(needs: Treatment, system: str) -> list[tuple[str, str]]:
    """The two stages, from stock where there is one."""
    plan = needs.plan
    if plan is None or plan.stages is None:
        return []
    name = Chemical(plan.chemical).label
    rows = []
    for words, kg, stock in (
        ("First stage", plan.stages.first_kg_100, plan.first_stock_m3),
        ("Second stage, at most", plan.stages.second_kg_100, plan.second_stock_m3),
    ):
        said = f"{name}: {units.twin(kg.value, 'mass', system)} as 100 %"
        rows.append((words, f"{said}, {volume(stock.value, system)} of stock" if stock is not None else said))
    rows.append(
        ("pH after the first stage, predicted", units.format_quantity(plan.ph_after_first.value, "ph"))
    )
    rows.append(("Warming by all of it", units.format_quantity(plan.rise_kelvin.value, plan.rise_kelvin.kind, system)))  # fmt: skip
    return rows


def coming_rows(rows: Sequence[Coming], system: str) -> list[tuple[Coming, str]]:
    """What is coming, each with its words."""
    return [
        (
            row,
            f"{volume(row.volume_m3, system)}"
            + (f", about {volume(row.so_far_m3, system)} of it by now" if row.elapsed_frac > 0.0 else ""),
        )
        for row in rows
    ]


@dataclass(frozen=True, slots=True)
class DrainRow:
    """One draining step of a batch."""

    number: int
    name: str
    what: str
    to: str
    word: str
    """How the step stands, where it has drained nothing yet."""
    went: float | None
    """All that went through [m^3]; None before its end."""
    corrections: tuple[str, ...]
    """Why it was put right after it had drained, oldest first."""
    url: str
    """Where another destination is chosen; "" once it has started."""


def drain_rows(batch: Batch) -> list[DrainRow]:
    """The draining steps of a batch, in order."""
    plan = plan_of(batch)
    went: dict[int, float] = {}
    corrections: dict[int, list[str]] = {}
    for drain in StepDrain.objects.filter(batch=batch).order_by("pk"):
        went[drain.step_number] = went.get(drain.step_number, 0.0) + drain.volume_m3
        if drain.corrected_at is not None:
            corrections.setdefault(drain.step_number, []).append(drain.reason)
    rows = []
    for step in batch.steps.order_by("number"):
        drained, to = what_drains(plan, step.number), destination_of(step, batch)
        if drained is None:
            continue
        is_open = step.state == StepState.WAITING and batch.state in UNDER_WAY
        rows.append(
            DrainRow(
                number=step.number,
                name=step.name,
                what=drained.label,
                to=to.label if to is not None else "nowhere",
                word=step.get_state_display(),
                went=went.get(step.number),
                corrections=tuple(corrections.get(step.number, ())),
                url=reverse("waste-route", args=[batch.number, step.number]) if is_open else "",
            )
        )
    return rows
