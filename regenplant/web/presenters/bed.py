"""A bed under way, in words and as a ruler: what the floor and the batch page both say about it."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils import timezone

from regenplant import units
from regenplant.batches.legs import vessel_codes
from regenplant.batches.models import Batch
from regenplant.batches.selectors.progress import Progress, StepLine
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.vocabulary import Leg, ResinFamily
from regenplant.core.process.wording import short_time
from regenplant.plant.models import Vessel
from regenplant.web.drawing.step_ruler import RulerStep

_SHORT = {
    ResinFamily.SAC_HYDROGEN: "Strong-acid cation\u00a0H",
    ResinFamily.SAC_SODIUM: "Softening resin",
    ResinFamily.WAC_HYDROGEN: "Weak-acid cation\u00a0H",
    ResinFamily.SBA_TYPE_1: "Strong-base anion\u00a01",
    ResinFamily.SBA_TYPE_2: "Strong-base anion\u00a02",
    ResinFamily.SBA_ACRYLIC: "Strong-base anion, acrylic",
    ResinFamily.WBA: "Weak-base anion",
    ResinFamily.MIXED_BED: "Mixed bed",
    ResinFamily.MIXED_BED_POLISHING: "Polishing mixed bed",
    ResinFamily.CARBON: "Activated carbon",
}
_NUMBERS = (
    "no",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


def spelled(number: int) -> str:
    """Small numbers as words: "four", "13"."""
    return _NUMBERS[number] if 0 <= number < len(_NUMBERS) else str(number)


def lower_first(text: str) -> str:
    """The first letter small, for the middle of a sentence."""
    return text[:1].lower() + text[1:]


def family_short(family: str) -> str:
    """The floor's short name of a resin family, form included where it is not clear by itself."""
    return _SHORT[ResinFamily(family)]


def made_for(vessel: Vessel) -> str:
    """What a vessel may take, by the trade's abbreviations; of a mixed bed it says where that is the anion leg only."""
    names = (
        f"{family.abbreviation} (anion leg)"
        if vessel.takes_anion_leg_only and family.is_mixed
        else family.abbreviation
        for family in map(ResinFamily, vessel.families)
    )
    return ", ".join(names) or "none"


def hours_and_minutes(seconds: float) -> str:
    """A duration as 0:18 or 1:17; half minutes round up, as everywhere."""
    minutes = int(abs(seconds) / 60 + 0.5)
    return f"{minutes // 60}:{minutes % 60:02d}"


def planned_time(seconds: float) -> str:
    """A planned or measured time: 0:18 or 1:17, and to the second where it is short: "40 s"."""
    return short_time(seconds) or hours_and_minutes(seconds)


def moment_words(moment: datetime, now: datetime) -> str:
    """The shortest that is clear: "14:05" today, "Mon 09:10" within a week, else "2026-03-02 09:10"."""
    local, here = timezone.localtime(moment), timezone.localtime(now)
    if local.date() == here.date():
        return f"{local:%H:%M}"
    if abs(local - here) < timedelta(days=6):
        return f"{local:%a %H:%M}".replace(" ", units.NO_BREAK_SPACE)
    return f"{local:%Y-%m-%d %H:%M}".replace(" ", units.NO_BREAK_SPACE)


# --- the ruler ------------------------------------------------------------------------------------------------------
def ruler_of(batch: Batch, progress: Progress) -> tuple[RulerStep, ...]:
    """The steps as the ruler draws them. A batch held between two steps is held at the end of the last one."""
    held_at = held_steps(progress) if batch.state == BatchState.HELD else ()
    return tuple(_ruler_step(line, held_at) for line in progress.steps)


def _ruler_step(line: StepLine, held_at: tuple[StepLine, ...]) -> RulerStep:
    lane = "" if line.leg == Leg.WHOLE else line.leg
    is_held = line.number in [held.number for held in held_at]
    state = "held" if is_held else "late" if line.is_late else line.state
    return RulerStep(line.name, line.planned_s, state, line.fraction_done, lane)


def held_steps(progress: Progress) -> tuple[StepLine, ...]:
    """The steps that run; where none does, the last one that ended, of each leg that is not joined yet."""
    running = tuple(line for line in progress.steps if line.state == StepState.RUNNING)
    if running:
        return running
    ended = [line for line in progress.steps if line.state in (StepState.DONE, StepState.SKIPPED)]
    last = {line.leg: line for line in ended}
    newest_whole = last.get(Leg.WHOLE)
    legs = [
        last[leg]
        for leg in (Leg.CATION, Leg.ANION)
        if leg in last and (newest_whole is None or last[leg].number > newest_whole.number)
    ]
    return tuple(legs) or ((newest_whole,) if newest_whole else ())


# --- words ----------------------------------------------------------------------------------------------------------


def steps_of_all(progress: Progress) -> str:
    """ "step 4 of 7"; "steps 7 and 11 of 16" while two legs run side by side; "" where no step is open."""
    numbers = [str(line.number) for line in progress.at_work]
    if len(numbers) < 2:
        return f"step {numbers[0]} of {len(progress.steps)}" if numbers else ""
    return f"steps {' and '.join(numbers)} of {len(progress.steps)}"


def leg_words(leg: str) -> str:
    """ "cation leg", "" for the whole bed."""
    return "" if leg == Leg.WHOLE else Leg(leg).label


def name_in_leg(name: str, leg: str) -> str:
    """ "Caustic injection, anion leg": the name of a step with its leg, said once."""
    words = leg_words(leg)
    return name if not words or name.endswith(words) else f"{name}, {words}"


def name_without_leg(name: str, leg: str) -> str:
    """ "Displacement rinse" of "Displacement rinse, anion leg", for a place that names the leg already."""
    words = leg_words(leg)
    return name.removesuffix(f", {words}") if words else name


def vessels_words(batch: Batch) -> str:
    """ "C1", or "M1 and M2" for a mixed bed whose legs run apart."""
    return " and ".join(vessel_codes(batch))


def then_what(following: StepLine | None) -> str:
    """What comes after the current step: "then displacement rinse", "then QC"."""
    return f"then {lower_first(following.name)}" if following else "then QC"


def held_words(progress: Progress) -> str:
    """ "Held after backwash", "Held in acid injection", "Held"."""
    lines = held_steps(progress)
    if not lines:
        return "Held"
    where = "in" if lines[0].state == StepState.RUNNING else "after"
    return f"Held {where} {' and '.join(dict.fromkeys(lower_first(line.name) for line in lines))}"
