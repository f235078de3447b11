"""The live state of the plant as a handover tells it: sections of lines in words, the hazards first, and nothing left out.

An empty section stays and says that there is nothing; a reader never has to ask whether it was looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from regenplant import units
from regenplant.batches.frozen import plan_of
from regenplant.batches.legs import next_safe_point, standing_chemicals, vessel_of
from regenplant.batches.models import Deviation
from regenplant.batches.selectors import FloorBoard, floor_board
from regenplant.batches.selectors.floor import BedAtWork
from regenplant.batches.selectors.progress import StepLine
from regenplant.chemicals.selectors import StockLine, stock_board
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.core.process.lifecycle import BatchState, StepState, VisitState
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.people.models import Alert
from regenplant.plant import handed_on
from regenplant.plant.calibrations import Due, due_of, failures_to_look_at
from regenplant.plant.handed_on import LiveLine, LiveSection
from regenplant.plant.limits import content_in_force
from regenplant.plant.models import Instrument, PlantProfile, Skid, Vessel, WasteTank
from regenplant.plant.selectors import plant_day, waste_tank
from regenplant.tanks.models import TankVisit

STRENGTH_SOON_DAYS = 1
"""Days before a strength check runs out at which it is named."""
FULL_FRAC = 0.8
"""From this share of the waste tank on (without its reserve) the level is a line to look at; common practice."""
TO_PEOPLE = (BatchState.AWAITING_QC, BatchState.PASSED, BatchState.FILLED)


@dataclass(frozen=True, slots=True)
class LiveState:
    """The plant at one moment."""

    sections: tuple[LiveSection, ...]

    @property
    def hazards(self) -> tuple[LiveLine, ...]:
        return tuple(line for section in self.sections for line in section.lines if line.is_hazard)

    @property
    def look_first(self) -> str:
        """What the coming person is told who did not look at the hazards yet; "" where there is none."""
        if not self.hazards:
            return ""
        return (
            f"{len(self.hazards)} of the lines name chemical in a bed, a lock or an eyewash. "
            "Look at them on the floor first."
        )

    @property
    def lines(self) -> tuple[LiveLine, ...]:
        return tuple(line for section in self.sections for line in section.lines)

    @property
    def mark(self) -> str:
        """A digest of everything but what changes by the minute: whether two states tell a reader the same."""
        return digest(canonical_text([replace(line, timing="") for line in self.lines]))


def live_state(now: datetime, plant: PlantProfile) -> LiveState:
    """The state at ``now``. A constant number of queries."""
    board, stock = floor_board(now, plant), stock_board(now)
    beds = (*board.beds, *board.to_fill_or_release)
    return LiveState(
        (
            LiveSection(
                "chemical", "Chemical in the bed", tuple(_standing(beds)), "No chemical stands in any bed."
            ),
            LiveSection("locked", "Locked out", tuple(_locked()), "No vessel and no skid is locked out."),
            LiveSection(
                "batches", "At work and held", tuple(_at_work(board)), "No batch is at work or held."
            ),
            LiveSection(
                "waiting",
                "Waits for QC, filling or release",
                tuple(_waiting(beds)),
                "No batch waits for QC, filling or release.",
            ),
            LiveSection("deviations", "Open deviations", tuple(_deviations()), "No deviation is open."),
            LiveSection("tanks", "Tanks on hold", tuple(_held_tanks()), "No tank is on hold."),
            LiveSection("eyewash", "Eyewash", (_eyewash(now, plant),), ""),
            LiveSection("waste", "Waste tank", tuple(_waste()), "No waste tank is set up."),
            LiveSection(
                "strength",
                "Strength checks",
                tuple(_strength(stock)),
                "Every strength check holds beyond tomorrow.",
            ),
            LiveSection("stock", "Stock", tuple(_low(stock)), "No chemical stands under its low mark."),
            LiveSection(
                "instruments",
                "Instruments",
                tuple(_instruments(now)),
                f"No instrument is out, overdue or due within {_soon_days(now):g} days.",
            ),
            *handed_on.sections(now),
            LiveSection("alerts", "Alerts", tuple(_alerts()), "No alert waits."),
        )
    )


# --- beds -------------------------------------------------------------------------------------------------------------
def _standing(beds: tuple[BedAtWork, ...]) -> Iterator[LiveLine]:
    """Every leg in which a chemical stands, with what runs and where it may stop."""
    for bed in beds:
        steps = list(bed.batch.steps.all())
        standing = standing_chemicals(steps, plan_of(bed.batch))
        alone = {one.leg: one for one in bed.left_standing}
        for leg, chemical in standing.items():
            vessel, point = vessel_of(bed.batch, leg).code, next_safe_point(steps, {leg: chemical})
            running = next(
                (step for step in steps if step.state == StepState.RUNNING and step.leg == leg), None
            )
            if leg in alone:
                said = f"Nothing runs. Next: {alone[leg].next_step or 'ask the supervisor'}."
            elif bed.batch.state == BatchState.HELD:
                said = "The batch is held."
            else:
                said = f"{running.name} runs." if running else ""
            stop = f" Next safe point: {point}." if point else ""
            yield LiveLine(
                f"{chemical.label} stands in {vessel}.",
                f"{bed.batch.number}. {said}{stop} Not to be left alone or opened.",
                is_hazard=True,
                needs_person=True,
                kind="batch",
                key=bed.batch.number,
            )


def _at_work(board: FloorBoard) -> Iterator[LiveLine]:
    for bed in board.beds:
        if BatchState(bed.batch.state) in TO_PEOPLE:
            continue
        steps = list(bed.batch.steps.all())
        point = next_safe_point(steps, standing_chemicals(steps, plan_of(bed.batch)))
        hold = next((hold for hold in bed.batch.holds.all() if hold.resumed_at is None), None)
        parts = [
            f"{ResinFamily(bed.batch.resin_type.family).label}, {units.twin(bed.batch.resin_volume_m3, 'resin_volume')}.",
            f"Held: {_ended(hold.reason)}" if hold else "",
            " ".join(
                f"Step {line.number} of {len(steps)}, {line.name}, {line.state}." for line in bed.at_work
            ),
            f"Next safe hold point: {point}." if point else "",
        ]
        yield LiveLine(
            f"{_vessels(bed)}: {bed.batch.number}, {bed.batch.get_state_display()}.",
            " ".join(filter(None, parts)),
            timing="; ".join(_timing(line) for line in bed.at_work if line.started_at),
            needs_person=bed.batch.state in (BatchState.HELD, BatchState.FAILED, BatchState.ABORTED),
            kind="batch",
            key=bed.batch.number,
        )


def _vessels(bed: BedAtWork) -> str:
    codes = [bed.batch.vessel.code, *([bed.batch.anion_vessel.code] if bed.batch.anion_vessel else [])]
    return " and ".join(codes)


def _ended(words: str) -> str:
    """A person's words as a sentence."""
    return words if words.endswith((".", "?", "!")) else f"{words}."


def _timing(line: StepLine) -> str:
    late = ", over its time" if line.is_late else ""
    return f"{line.name}: {line.elapsed_s / 60:.0f} of {line.planned_s / 60:.0f} min planned{late}"


def _waiting(beds: tuple[BedAtWork, ...]) -> Iterator[LiveLine]:
    said = {
        BatchState.AWAITING_QC: "waits for QC",
        BatchState.PASSED: "passed, to be filled",
        BatchState.FILLED: "filled, waits for release",
    }
    for bed in beds:
        word = said.get(BatchState(bed.batch.state))
        if word is None:
            continue
        waited_min = (bed.waited_s or 0.0) / 60
        hours = f"for {waited_min:.0f} min" if waited_min < 120 else f"for {waited_min / 60:.0f} h"
        yield LiveLine(
            f"{bed.batch.number} {word}.",
            f"{ResinFamily(bed.batch.resin_type.family).label}, {bed.tank_count} tanks, {_vessels(bed)}.",
            timing=hours,
            kind="batch",
            key=bed.batch.number,
        )


# --- around the beds ----------------------------------------------------------------------------------------------------
def _locked() -> Iterator[LiveLine]:
    for vessel in Vessel.objects.filter(is_active=True).exclude(lock_out_reason=""):
        words = f"{_ended(vessel.lock_out_reason)} Lock {vessel.lock_out_number}, {vessel.lock_out_by}. Nobody lifts another person’s lock."
        yield LiveLine(
            f"Vessel {vessel.code} is locked out.", words, is_hazard=True, kind="vessel", key=vessel.code
        )
    for skid in Skid.objects.filter(is_active=True).exclude(lock_out_reason=""):
        yield LiveLine(
            f"Skid {skid.code} is locked out.",
            skid.lock_out_reason,
            is_hazard=True,
            kind="skid",
            key=skid.code,
        )


def _deviations() -> Iterator[LiveLine]:
    rows = (
        Deviation.objects.filter(decided_at__isnull=True)
        .select_related("batch", "owner")
        .order_by("opened_at")
    )
    for row in rows:
        owner = f" {row.owner.full_name} looks into it." if row.owner else " Nobody looks into it yet."
        yield LiveLine(
            f"{row.number}, {row.severity}, {row.batch.number}.",
            f"{row.what}{owner}",
            needs_person=True,
            kind="deviation",
            key=row.number,
        )


def _held_tanks() -> Iterator[LiveLine]:
    rows = (
        TankVisit.objects.filter(state__in=[VisitState.HELD, VisitState.WITHDRAWN])
        .select_related("tank", "customer")
        .order_by("received_at")
    )
    for row in rows:
        where = f" Bay {row.bay}." if row.bay else ""
        yield LiveLine(
            f"{row.tank.serial} from {row.customer.name}.",
            f"{row.reason}{where}",
            needs_person=True,
            kind="tank",
            key=row.tank.serial,
        )


def _eyewash(now: datetime, plant: PlantProfile) -> LiveLine:
    tested = plant.eyewash_tested_on
    if tested is None:
        return LiveLine(
            "The eyewash was never tested.",
            "No chemical starts until it is.",
            needs_person=True,
            is_hazard=True,
            kind="emergency",
        )
    due = tested + timedelta(days=plant.eyewash_test_interval_days)
    if due < plant_day(now):
        return LiveLine(
            "The eyewash test is overdue.", f"It was due {due}. No chemical starts until it is written down.", needs_person=True,
            is_hazard=True, kind="emergency",
        )  # fmt: skip
    return LiveLine(
        f"Next eyewash test {due}.", f"Tested {tested}.", needs_person=due == plant_day(now), kind="emergency"
    )


def _waste() -> Iterator[LiveLine]:
    receiving = waste_tank()
    for tank in WasteTank.objects.order_by("code"):
        usable = max(tank.capacity_m3 - tank.reserve_m3, 0.0)
        room = max(usable - tank.level_m3, 0.0)
        yield LiveLine(
            f"{tank.code} holds {units.twin(tank.level_m3, 'liquid_volume')}.",
            f"{'The drains run here. ' if tank == receiving else 'The drains run elsewhere. '}"
            f"Room for {units.twin(room, 'liquid_volume')} more, the reserve of {units.twin(tank.reserve_m3, 'liquid_volume')} kept.",
            needs_person=usable > 0 and tank.level_m3 >= FULL_FRAC * usable,
        )


def _strength(stock: list[StockLine]) -> Iterator[LiveLine]:
    for line in stock:
        if line.lot is None or line.is_check_overdue:
            yield LiveLine(f"{line.chemical.label}.", line.problem, needs_person=True, kind="chemicals")
        elif (
            line.check_age_days is not None
            and line.check_age_days >= line.max_check_age_days - STRENGTH_SOON_DAYS
        ):
            left = line.max_check_age_days - line.check_age_days
            yield LiveLine(
                f"{line.chemical.label}.",
                f"The strength check of lot {line.lot.code} is {line.check_age_days} days old and holds {left} more.",
                kind="chemicals",
            )


def _low(stock: list[StockLine]) -> Iterator[LiveLine]:
    for line in stock:
        for one in line.places:
            if one.is_low:
                yield LiveLine(
                    f"{line.chemical.label} is low in {one.place.code}.",
                    f"{units.twin(one.kg_100, 'mass')} as 100 %, low mark {units.twin(one.place.low_stock_grams_100 / 1000.0, 'mass')}.",
                    needs_person=True,
                    kind="chemicals",
                )


def _instruments(now: datetime) -> Iterator[LiveLine]:
    today, soon = plant_day(now), _soon_days(now)
    for row in failures_to_look_at():
        yield LiveLine(
            f"{row.instrument.code} was found outside its tolerance on {row.done_on}.",
            "What was measured since the calibration before it waits for a look by a supervisor.",
            needs_person=True,
            kind="instrument",
            key=row.instrument.code,
        )
    for one in Instrument.objects.filter(is_active=True):
        due = due_of(one, today, soon)
        if due is Due.IN_TIME:
            continue
        what, words = _standing_of(one, due)
        yield LiveLine(what, words, needs_person=due.needs_person, kind="instrument", key=one.code)


def _soon_days(now: datetime) -> float:
    return content_in_force(now).record.calibration_due_soon_days


def _standing_of(row: Instrument, due: Due) -> tuple[str, str]:
    """What stands of an instrument that is not simply in calibration, and what that means."""
    if due is Due.OUT_OF_SERVICE:
        return f"{row.code} is out of service.", f"{row.name}. Its readings prove nothing."
    if due is Due.NEVER:
        return f"{row.code} was never calibrated.", f"{row.name}. Its readings prove nothing."
    if due is Due.OVERDUE:
        return (
            f"{row.code} is overdue.",
            f"{row.name}, was due {row.calibration_due_on}. Its readings prove nothing.",
        )
    if due is Due.TODAY:
        return f"{row.code} is due today.", f"{row.name}. From tomorrow on its readings prove nothing."
    return f"{row.code} is due {row.calibration_due_on}.", f"{row.name}."


def _alerts() -> Iterator[LiveLine]:
    count = Alert.objects.filter(answered_at__isnull=True).count()
    if count:
        noun = "alert waits" if count == 1 else "alerts wait"
        yield LiveLine(
            f"{count} {noun} for an answer.", "A supervisor answers them.", needs_person=True, kind="alerts"
        )
