"""What a tank tag says, as frozen data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.plan import Caution
from regenplant.documents.issue import Issue


class TagState(StrEnum):
    """What the tag says about the tank."""

    CHARGED = "charged"
    EXCHANGED = "exchanged"
    """Carbon: filled anew, never regenerated."""
    NOT_RELEASED = "not_released"
    HELD = "held"
    REFUSED = "refused"

    @property
    def may_go_out(self) -> bool:
        """The tank is released and may be used."""
        return self in (TagState.CHARGED, TagState.EXCHANGED)


@dataclass(frozen=True, slots=True)
class TagReading:
    """A value measured before the release, with its basis ("at 25 °C, end of the rinse")."""

    name: str
    value: float
    kind: str
    basis: str


@dataclass(frozen=True, slots=True)
class TankTagContent:
    """Everything that a tag says."""

    plant: str
    state: TagState
    state_words: str
    serial: str
    visit_number: str
    size: str
    resin_family: str
    resin_abbreviation: str
    resin_type: str
    segregation_class: str
    class_label: str
    dedicated_to: str
    neck_band: str
    batch_number: str
    lot_code: str
    resin_volume_m3: float | None
    resin_form: str
    released_on: str
    readings: tuple[TagReading, ...]
    handling: tuple[str, ...]
    cautions: tuple[Caution, ...]
    call: str
    issue: Issue
    is_carbon: bool = False
