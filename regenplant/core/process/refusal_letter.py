"""The letter to a customer whose tank is refused: what was found, what stands still, what the plant needs to know, what not to do.

Words only. It claims nothing about law: who carries and who treats what is in the tank is for the people who are licensed for it.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Refused:
    """A refused tank, as the letter needs it. Days are written 2026-03-11."""

    plant: str
    customer: str
    serial: str
    size: str
    """Diameter by height in inches, as the trade calls it."""
    resin: str
    came_on: str
    reason: str
    """Why it was refused, in the words of who refused it."""
    findings: tuple[str, ...] = ()
    """What the look-over and the declared service hold against it, as sentences."""
    site: str = ""
    declared_service: str = ""
    stands_at: str = ""
    left_on: str = ""
    """The day it left the plant; "" while it stands here."""
    drain_refusal: str = ""
    """Why what would drain from it may not go to the waste tank, as a sentence (``drains.refusal``); "" where that is no reason."""


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter: what it is about, its paragraphs, the points under them, and the closing paragraphs."""

    subject: str
    opening: tuple[str, ...]
    findings: tuple[str, ...]
    asks: tuple[str, ...]
    closing: tuple[str, ...]


def refusal_letter(tank: Refused) -> Letter:
    """The letter for this tank. The same tank gives the same words."""
    site = f" from your site {tank.site}" if tank.site else ""
    opening = (
        f"Your tank {tank.serial} ({tank.size} in, {tank.resin}){site} reached us on {tank.came_on}. We looked it over and do not "
        "regenerate it.",
        f"Why: {_ended(tank.reason)}",
    )
    service = (
        (f"Its service was declared to us as “{tank.declared_service}”.",) if tank.declared_service else ()
    )
    drains = (
        (
            f"What would drain from it has no way here that a customer’s order alone opens. {_ended(tank.drain_refusal)}",
        )
        if tank.drain_refusal
        else ()
    )
    return Letter(
        subject=f"Tank {tank.serial} is not regenerated",
        opening=opening,
        findings=(*tank.findings, *service, *drains),
        asks=_asks(tank),
        closing=(
            _standing(tank),
            "Until it is known what is in the tank: do not open, drain, rinse, heat or acidify it, and keep it upright and apart. The "
            "safety data sheets of what ran through it say how to handle it.",
            "What is in it may be regulated as waste or in carriage. Ask your authority or somebody licensed for it before it is moved; "
            "whoever carries it must be told what is known, and what is not.",
        ),
    )  # fmt: skip


def _asks(tank: Refused) -> tuple[str, ...]:
    where_to = (
        ()
        if tank.left_on
        else (
            "whether you collect it, or to which treater permitted for it we may hand it; we send it nowhere without your word in writing",
        )
    )
    return (
        "where it was and everything that ran through it since it last left us",
        "which other tanks were in the same service, here or with you, so that they are kept apart too",
        *where_to,
    )


def _standing(tank: Refused) -> str:
    if tank.left_on:
        return f"The tank left us on {tank.left_on}. It was in no batch here since it came."
    spot = f", in bay {tank.stands_at}" if tank.stands_at else ""
    return (
        f"The tank stands apart from all others{spot}. It was in no batch since it came and goes into none."
    )


def _ended(text: str) -> str:
    words = text.strip()
    return words if words.endswith((".", "!", "?")) else f"{words}."
