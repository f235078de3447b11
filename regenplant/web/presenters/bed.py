"""A bed under way, in words and as a ruler: what the floor and the batch page both say about it."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.utils import timezone

from regenplant import units
from regenplant.batches.models import Batch
from regenplant.batches.selectors.progress import Progress, StepLine
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.web.drawing.step_ruler import RulerStep

_SHORT = {
    ResinFamily.SAC_HYDROGEN: "Strong-acid cation\u00a0H",
    ResinFamily.SAC_SODIUM: "Softening resin",
    ResinFamily.SBA_TYPE_1: "Strong-base anion\u00a01",
    ResinFamily.SBA_TYPE_2: "Strong-base anion\u00a02",
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


def hours_and_minutes(seconds: float) -> str:
    """A duration as 0:18 or 1:17; half minutes round up, as everywhere."""
    minutes = int(abs(seconds) / 60 + 0.5)
    return f"{minutes // 60}:{minutes % 60:02d}"


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
    held_at = held_step(progress) if batch.state == BatchState.HELD else None
    return tuple(_ruler_step(line, held_at) for line in progress.steps)


def _ruler_step(line: StepLine, held_at: StepLine | None) -> RulerStep:
    if held_at is not None and line.number == held_at.number:
        return RulerStep(line.name, line.planned_s, "held", line.fraction_done)
    state = "late" if line.is_late else line.state
    return RulerStep(line.name, line.planned_s, state, line.fraction_done)


def held_step(progress: Progress) -> StepLine | None:
    """The step that runs, else the last one that ended; None where nothing began."""
    running = next((line for line in progress.steps if line.state == StepState.RUNNING), None)
    ended = [line for line in progress.steps if line.state in (StepState.DONE, StepState.SKIPPED)]
    return running or (ended[-1] if ended else None)


# --- words ----------------------------------------------------------------------------------------------------------
def step_of_all(line: StepLine, progress: Progress) -> str:
    """ "step 4 of 7"."""
    return f"step {line.number} of {len(progress.steps)}"


def then_what(following: StepLine | None) -> str:
    """What comes after the current step: "then displacement rinse", "then QC"."""
    return f"then {lower_first(following.name)}" if following else "then QC"


def held_words(progress: Progress) -> str:
    """ "Held after backwash", "Held in acid injection", "Held"."""
    line = held_step(progress)
    if line is None:
        return "Held"
    where = "in" if line.state == StepState.RUNNING else "after"
    return f"Held {where} {lower_first(line.name)}"
