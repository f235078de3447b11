"""Which chemicals must not meet where they are stored, what they would give off, and how far apart they stand.

A rule that was read in a source refuses. One that stands here from memory never refuses by itself: it asks the person who places a tank
for the reason why it stands there all the same. The suppliers' data sheets (section 7 and 10), local fire code and licensed practice
decide; none of these pairs is a list of everything that reacts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.engineering.sources import HowKnown, source
from regenplant.core.process.vocabulary import Chemical


class Reach(StrEnum):
    """How far apart two chemicals stand."""

    BUND = "bund"
    """Not where a leak of one runs to the other."""
    ROOM = "room"
    """Not in one room: what they give off fills it, and their hoses and pumps are mixed up there."""

    @property
    def label(self) -> str:
        return {"bund": "never in one bund", "room": "never in one room"}[self]


@dataclass(frozen=True, slots=True)
class KeptApart:
    """One rule: what stands on one side, what on the other, what happens, and where that is written."""

    key: str
    first: frozenset[Chemical]
    second: frozenset[Chemical]
    gives: str
    reach: Reach
    source: str
    """Key of ``SOURCES``."""

    @property
    def is_refused(self) -> bool:
        """Whether nobody may store them so: only where the rule was read; else a person gives a reason."""
        return source(self.source).how_known is HowKnown.READ

    def names(self, one: Chemical, other: Chemical) -> bool:
        return (one in self.first and other in self.second) or (one in self.second and other in self.first)


_ACIDS = frozenset({Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID})
_BLEACH = frozenset({Chemical.SODIUM_HYPOCHLORITE})
_PERACID = frozenset({Chemical.PERACETIC_ACID})
_REDUCTANT = frozenset({Chemical.SODIUM_DITHIONITE})
_STRONG_BASES = frozenset({Chemical.SODIUM_HYDROXIDE, Chemical.AMMONIA})

RULES: tuple[KeptApart, ...] = (
    KeptApart("acid_bleach", _ACIDS, _BLEACH, "chlorine gas", Reach.ROOM, "csb_2016"),
    KeptApart("acid_reductant", _ACIDS, _REDUCTANT, "sulfur dioxide gas", Reach.ROOM, "storage_memory"),
    KeptApart(
        "bleach_peracid", _BLEACH, _PERACID, "chlorine gas and oxygen, with heat", Reach.ROOM, "storage_memory"
    ),
    KeptApart(
        "bleach_ammonia", _BLEACH, frozenset({Chemical.AMMONIA}), "toxic chloramine gas", Reach.ROOM, "storage_memory"
    ),
    KeptApart(
        "oxidizer_reductant", _BLEACH | _PERACID, _REDUCTANT, "violent heat, fire", Reach.ROOM, "storage_memory"
    ),
    KeptApart("acid_base", _ACIDS, _STRONG_BASES, "violent heat and spatter", Reach.BUND, "storage_memory"),
    KeptApart(
        "acid_soda", _ACIDS, frozenset({Chemical.SODIUM_CARBONATE}), "foam and carbon dioxide, which takes the air in a pit",
        Reach.BUND, "storage_memory",
    ),
    KeptApart(
        "acids", frozenset({Chemical.SULFURIC_ACID}), frozenset({Chemical.HYDROCHLORIC_ACID}),
        "hydrogen chloride gas, with heat", Reach.BUND, "storage_memory",
    ),
    KeptApart(
        "base_peracid", _STRONG_BASES | {Chemical.SODIUM_CARBONATE}, _PERACID, "breaking down with heat and oxygen", Reach.BUND,
        "storage_memory",
    ),
)  # fmt: skip
"""In the order in which a person is told: gas first."""


def kept_apart(one: Chemical, other: Chemical) -> tuple[KeptApart, ...]:
    """The rules that keep two chemicals apart; none for two of the same, or two that may stand side by side."""
    return tuple(rule for rule in RULES if one is not other and rule.names(one, other))


def never_beside(chemical: Chemical) -> tuple[tuple[Chemical, KeptApart], ...]:
    """Every chemical that must not meet this one, with the first rule that says so."""
    return tuple((other, found[0]) for other in Chemical if (found := kept_apart(chemical, other)))


@dataclass(frozen=True, slots=True)
class Stands:
    """What stands somewhere: a tank, the bund it is in, and the room that the bund is in."""

    label: str
    chemical: Chemical
    bund: str
    room: str


@dataclass(frozen=True, slots=True)
class Meeting:
    """Two tanks that stand nearer to each other than a rule allows."""

    one: Stands
    other: Stands
    rule: KeptApart

    @property
    def is_refused(self) -> bool:
        return self.rule.is_refused

    @property
    def sentence(self) -> str:
        where = f"in bund {self.one.bund}" if self.one.bund == self.other.bund else f"in room {self.one.room}"
        return (
            f"{self.one.chemical.label} in {self.one.label} and {self.other.chemical.label.lower()} in {self.other.label} would stand "
            f"{where} together. They give {self.rule.gives} where they meet: {self.rule.reach.label}."
        )


def meetings_of(one: Stands, others: Iterable[Stands]) -> tuple[Meeting, ...]:
    """Each rule that a tank breaks where it stands, the refused ones first."""
    found = []
    for other in others:
        is_bund = bool(one.bund) and one.bund == other.bund
        is_room = is_bund or (bool(one.room) and one.room.casefold() == other.room.casefold())
        for rule in kept_apart(one.chemical, other.chemical):
            if (rule.reach is Reach.BUND and is_bund) or (rule.reach is Reach.ROOM and is_room):
                found.append(Meeting(one, other, rule))
    return tuple(sorted(found, key=lambda meeting: not meeting.is_refused))
