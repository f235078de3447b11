"""Who acts, when and from where: handed to every use case."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Protocol


class Actor(Protocol):
    """What a use case must know of a person; ``people.Person`` is one."""

    pk: Any
    full_name: str

    def may(self, permission: str, segregation_class: str = "") -> bool: ...

    def role_names(self) -> tuple[str, ...]: ...


@dataclass(frozen=True, slots=True)
class By:
    """The acting person, the server's time of the act (UTC) and the terminal it came from.

    ``occurred_at`` is when it happened, if the person says it happened earlier; None means now. ``paper_form`` is the number
    of the paper form that is being transcribed; "" for what is written down where it happens (``audit.paper``).
    """

    user: Any
    at: datetime
    terminal: str = ""
    occurred_at: datetime | None = None
    paper_form: str = ""

    @property
    def happened_at(self) -> datetime:
        return self.occurred_at or self.at

    def happening_at(self, moment: datetime) -> By:
        return replace(self, occurred_at=moment)
