"""What a certificate of quality says. Frozen data; its canonical text is what the digest on the paper covers.

Only what was measured, by which method and instrument, and what was signed. What nobody knows is left out, or said not to be written
down; nothing is inferred.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True)
class Measured:
    """One measured value against its limit. Values are SI of ``kind``; ``low`` and ``high`` are None where no limit stands."""

    name: str
    kind: str
    value: float
    as_typed: str
    basis: str
    """What the value refers to: "at 25 °C, ..."; "" where it needs no word."""
    low: float | None
    high: float | None
    limit_words: str
    """Of a limit that is no number, such as a table by temperature; "" else."""
    method: str
    instrument: str
    calibration: str
    """The state of the instrument on that day, in words; "" without an instrument."""
    at: str
    tank_serial: str = ""
    """The tank it was measured on; "" for the batch."""


@dataclass(frozen=True, slots=True)
class DrawnPoint:
    """One reading of the rinse: seconds since it began, SI value, bed volumes, mark ("yes", "informs", "check")."""

    elapsed_s: float
    value: float
    rinsed_bv: float
    counts: str
    is_by_hand: bool = True
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class CertifiedRinse:
    """The rinse-down: its end, and the readings that were drawn."""

    kind: str
    limit: float | None
    is_at_least: bool
    basis: str
    rinsed_bv: float
    held_s: float
    held_readings: int
    hold_s: float
    held_from_s: float | None
    points: tuple[DrawnPoint, ...]
    count: int
    """Readings that stand; ``points`` may be fewer."""


@dataclass(frozen=True, slots=True)
class JudgedBy:
    """One of the specifications whose strictest limits a batch met, and its digest."""

    specification: str
    digest: str


@dataclass(frozen=True, slots=True)
class CertifiedBatch:
    """One released batch on the certificate."""

    number: str
    resin: str
    family: str
    treatment: str
    lot: str
    specification: str
    specification_name: str
    specification_digest: str
    judged: str
    released: str
    release_digest: str
    measured: tuple[Measured, ...]
    rinse: CertifiedRinse | None
    grades: tuple[str, ...] = ()
    """Names of published grades of which every test was done and met; none where none can be claimed."""
    ADDED_LATER: ClassVar[tuple[str, ...]] = ("strictest_of",)
    strictest_of: tuple[JudgedBy, ...] = ()
    """All that applied, where they were several; none where ``specification`` says all."""

    @property
    def judged_by(self) -> tuple[JudgedBy, ...]:
        """Every specification that applied."""
        return self.strictest_of or (JudgedBy(self.specification, self.specification_digest),)


@dataclass(frozen=True, slots=True)
class CertifiedTankLine:
    serial: str
    visit: str
    size: str
    resin_volume_m3: float
    batch: str
    filled: str


@dataclass(frozen=True, slots=True)
class CertificateContent:
    plant: str
    zone: str
    number: str
    scope: str
    customer: str
    site: str
    tanks: tuple[CertifiedTankLine, ...]
    batches: tuple[CertifiedBatch, ...]
    issued: str
    issued_by: str
    replaces: str
    """Number of the certificate that this one was issued in place of; "" for none."""
