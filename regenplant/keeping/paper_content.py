"""What is printed on a paper form: plain frozen data, kept with the form, so that a reprint is the same paper."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.process.plan import Caution


@dataclass(frozen=True, slots=True)
class FormRow:
    """One thing to write down: a value with its unit, a choice to tick, a tick, or words."""

    name: str
    limits: str = ""
    """Usual limits in both unit systems; "" where there are none, or where they stand on the batch sheet."""
    unit: str = ""
    options: tuple[str, ...] = ()
    is_words: bool = False


@dataclass(frozen=True, slots=True)
class FormColumn:
    """A column of a table to fill in. ``share`` is its part of the width."""

    head: str
    share: float
    unit: str = ""
    options: tuple[str, ...] = ()
    is_time: bool = False


@dataclass(frozen=True, slots=True)
class FormSection:
    """A part of the form: rows of named things with time and initials, or a table of ``lines`` empty lines."""

    title: str
    words: str = ""
    cautions: tuple[Caution, ...] = ()
    rows: tuple[FormRow, ...] = ()
    columns: tuple[FormColumn, ...] = ()
    lines: int = 0
    closing: str = ""
    """Whether the batch may stand after it, where that is known."""
    no_pause: bool = False


@dataclass(frozen=True, slots=True)
class PaperFormContent:
    """The whole form."""

    number: str
    kind: str
    title: str
    plant: str
    batch_number: str
    batch_words: str
    sentence: str
    head: tuple[FormRow, ...]
    sections: tuple[FormSection, ...]
    issued_at: str
    """Plant time, in words."""
    issued_by: str
    chain_number: int
    chain_head: str
