"""Filling tanks in words: which are done, which is next, what the bed gave and what is in tanks."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.batches.models import Batch, BatchTank
from regenplant.batches.selectors.page import BatchPage
from regenplant.core.process.lifecycle import BatchState, VisitState
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.web.drawing.limit_bar import LimitBar, limit_bar
from regenplant.web.presenters.batch_acts import why_not
from regenplant.web.presenters.words import both, counted, sentence_case

FILLED_SHARE = 0.95
"""How much of a tank's gross volume may be resin; the service refuses more."""


@dataclass(frozen=True, slots=True)
class FillRow:
    """One tank in the list."""

    serial: str
    customer: str
    came_with: str
    state: str
    word: str
    is_open: bool
    is_here: bool


@dataclass(frozen=True, slots=True)
class OpenTank:
    """The tank that is worked on."""

    serial: str
    size: str
    customer: str
    came_with: str
    most_m3: float
    is_shell_sound: bool | None
    version: int


@dataclass(frozen=True, slots=True)
class FillingView:
    sentence: str
    basis: str
    """How a volume is counted."""
    rows: tuple[FillRow, ...]
    note: str
    tank: OpenTank | None
    bar: LimitBar
    finish_why: str
    may_finish: bool
    is_passed: bool


def filling_view(page: BatchPage, serial: str, system: str) -> FillingView:
    """The page; ``serial`` asks for one tank, else the first open one is worked on."""
    links = [link for link in page.tanks if link.is_current]
    is_passed = page.batch.state == BatchState.PASSED
    open_links = [link for link in links if _is_open(link)] if is_passed else []
    asked = next((link for link in open_links if link.visit.tank.serial == serial.upper()), None)
    here = asked or (open_links[0] if open_links else None)
    offer = page.offer("fill")
    filled_m3 = sum(link.filled_m3 or 0.0 for link in links)
    return FillingView(
        basis=basis_of(page.batch),
        sentence=_sentence(page, links, len(open_links), system),
        rows=tuple(_row(link, here, system) for link in links),
        note=f"{len(links) - len(open_links)} of {len(links)} done",
        tank=_open_tank(here, system) if here else None,
        bar=limit_bar(
            caption=f"In tanks, of {both(page.batch.resin_volume_m3, 'resin_volume', system)} loaded",
            value=filled_m3,
            kind="resin_volume",
            target=page.batch.resin_volume_m3,
            scale_low=0.0,
            scale_high=1.25 * page.batch.resin_volume_m3,
            verdict=f"{sum(1 for link in links if link.is_filled)} filled",
            system=system,
        ),
        finish_why=why_not(offer),
        may_finish=offer is not None and offer.is_open,
        is_passed=is_passed,
    )


def _is_open(link: BatchTank) -> bool:
    return not link.is_filled and not link.set_aside_reason


def _sentence(page: BatchPage, links: list[BatchTank], still_open: int, system: str) -> str:
    batch = page.batch
    if batch.state != BatchState.PASSED:
        return f"{batch.number} is {batch.get_state_display()}; tanks are filled from a batch that passed QC."
    if not links:
        return f"{batch.number} has no tank to fill."
    if not still_open:
        return f"All {len(links)} tanks are filled or set aside. Finish, and the batch waits for its release."
    left = sentence_case(counted(still_open, "tank"))
    return f"{left} still to fill from {batch.vessel.code}. Each shell is looked at first; volumes are counted {basis_of(batch)}."


def basis_of(batch: Batch) -> str:
    """ "settled, regenerated form"; carbon has no form."""
    is_carbon = ResinFamily(batch.resin_type.family).is_exchanged
    return "settled" if is_carbon else "settled, in the regenerated form"


def _row(link: BatchTank, here: BatchTank | None, system: str) -> FillRow:
    visit = link.visit
    if link.is_withdrawn:
        state, word = "withdrawn", f"Withdrawn: {link.withdrawn_reason}"
    elif link.is_filled:
        state, word = (
            "filled",
            f"Filled with {units.format_quantity(link.filled_m3, 'resin_volume', system)}",
        )
    elif link.set_aside_reason:
        state, word = "skipped", f"Set aside: {link.set_aside_reason}"
    elif visit.is_shell_sound is False:
        state, word = "failed", "Shell not sound"
    elif visit.state == VisitState.EMPTIED:
        state, word = "emptied", "Shell sound, to fill" if visit.is_shell_sound else "Shell to look at"
    else:
        state, word = visit.state, sentence_case(visit.state)
    return FillRow(
        serial=visit.tank.serial,
        customer=visit.customer.name,
        came_with=units.format_quantity(link.resin_volume_m3, "resin_volume", system),
        state=state,
        word=word,
        is_open=_is_open(link),
        is_here=here is not None and here.pk == link.pk,
    )


def _open_tank(link: BatchTank, system: str) -> OpenTank:
    visit = link.visit
    return OpenTank(
        serial=visit.tank.serial,
        size=visit.tank.size.code,
        customer=visit.customer.name,
        came_with=both(link.resin_volume_m3, "resin_volume", system),
        most_m3=FILLED_SHARE * visit.tank.size.gross_m3,
        is_shell_sound=visit.is_shell_sound,
        version=visit.version,
    )


def filled_sentence(serial: str, volume_m3: float, system: str) -> str:
    """The receipt of a filled tank."""
    return f"Written: {serial} is filled with {units.twin(volume_m3, 'resin_volume', 'us' if system == 'us' else 'metric')}."
