"""A made certificate: invented plant, customer and values."""

from __future__ import annotations

import math

from regenplant.documents.certificate.content import (
    CertificateContent,
    CertifiedBatch,
    CertifiedRinse,
    CertifiedTankLine,
    DrawnPoint,
    Measured,
)


def content(count: int = 1) -> CertificateContent:
    """``count`` tanks of one batch, or of two where there are more than ten."""
    numbers = ("B-10409", "B-10411") if count > 10 else ("B-10409",)
    return CertificateContent(
        plant="Alder Quay",
        zone="America/Denver",
        number="CQ-10417",
        scope="tank" if count == 1 else "delivery",
        customer="Glasswing Optics",
        site="Hall 2",
        tanks=tuple(
            CertifiedTankLine(f"T-{20400 + n}", f"V-{30400 + n}", "14 x 47", 0.102, numbers[n % len(numbers)], "2026-03-11 13:20-06:00")
            for n in range(count)
        ),
        batches=tuple(batch(number) for number in numbers),
        issued="2026-03-11 14:05-06:00",
        issued_by="J. Fenn",
        replaces="",
    )  # fmt: skip


def batch(number: str) -> CertifiedBatch:
    return CertifiedBatch(
        number=number,
        resin="MB-P",
        family="Mixed bed, polishing",
        treatment="Regenerated",
        lot="L-10409",
        specification="Q-MB-10 version 4",
        specification_name="Mixed bed, polishing grade",
        specification_digest="ab" * 32,
        judged="2026-03-11 12:40-06:00 by L. Brae",
        released="2026-03-11 13:55-06:00 by J. Fenn",
        release_digest="ef" * 32,
        measured=(
            Measured(
                "resistivity at 25 °C, end of the rinse", "resistivity", 12.5e4, "12.5 MΩ·cm at 25 °C",
                "compensated by the meter for neutral salt", 10e4, None, "", "conductivity cell, read during the rinse-down", "CELL-3",
                "in calibration on that day: calibrated 2026-01-05, due 2026-07-05", "2026-03-11 11:58-06:00",
            ),
            Measured(
                "silica", "concentration", 1.2e-5, "0.012 mg/L", "", None, 5e-5, "", "molybdate blue", "KIT-S",
                "in calibration on that day", "2026-03-11 12:20-06:00",
            ),
        ),
        rinse=CertifiedRinse(
            kind="resistivity", limit=10e4, is_at_least=True, basis="at 25 °C", rinsed_bv=12.4, held_s=960.0, held_readings=5,
            hold_s=900.0, held_from_s=1800.0,
            points=tuple(
                DrawnPoint(60.0 * m, 1e4 / (0.078 + 55.0 * math.exp(-m / 4.4)), m * 0.27, "check" if m == 13 else "yes")
                for m in range(3, 47)
            ),
            count=44,
        ),
        grades=("Grade 1 (invented)",),
    )  # fmt: skip
