"""What a person writes down when carbon is exchanged: what came out and whose waste it is, what went in."""

from __future__ import annotations

from regenplant.core.process.entry_parts import (
    BAND_FRAC,
    StepCase,
    banded,
    confirm,
    residual_sanitizer,
    text,
)
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import StepKind


def empty_entries(case: StepCase) -> tuple[EntrySpec, ...]:
    """Volume out, the container, and who decided what waste it is."""
    return (
        confirm("gear_on", "Gear on", is_before=True, help="What the caution lists."),
        confirm("tanks_vented", "Tanks vented and open in moving air", is_before=True),
        confirm("tanks_checked", "Every tank on the list scanned and emptied"),
        banded("carbon_out", "Carbon taken out", "resin_volume", case.figures["emptied_m3"].value, BAND_FRAC, help="Settled, drained."),
        text("container_label", "Label of the container that holds the spent carbon"),
        text(
            "waste_decided_by",
            "Who decided what waste the spent carbon is",
            help="Spent carbon may be a hazardous waste by what it took up; name the person and the paper.",
        ),
        confirm("waste_set_aside", "Spent carbon set aside as decided, not with the trash"),
    )  # fmt: skip


def fill_entries(case: StepCase) -> tuple[EntrySpec, ...]:
    """The new carbon, its lot and volume; the sanitizer gone before it."""
    before = [confirm("shells_sound", "Every shell looked into, clean and sound", is_before=True)]
    if case.has(StepKind.SANITIZE):
        before.append(residual_sanitizer(case, is_before=True))
    return (
        *before,
        text("carbon_lot", "Lot of the new carbon"),
        banded("carbon_in", "Carbon filled in", "resin_volume", case.figures["filled_m3"].value, BAND_FRAC),
        confirm(
            "carbon_wetted",
            "Carbon wetted through, no air pockets",
            help="It takes hours to wet; fill slowly from below.",
        ),
    )
