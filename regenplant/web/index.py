"""The thumb index: the pages of the house, the person's own role first."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from regenplant.people.authority import Role

LABELS = {
    "floor": "Floor",
    "intake": "Intake",
    "waiting": "Waiting",
    "batches": "Batches",
    "qc": "Rinse & QC",
    "chemicals": "Chemicals",
    "review": "Review",
    "safety": "Safety",
    "handover": "Handover",
    "tanks": "Tanks",
    "bench": "Bench",
    "setup": "Set-up",
}
ORDER = {
    Role.SUPERVISOR: (
        "review",
        "chemicals",
        "floor",
        "qc",
        "batches",
        "waiting",
        "intake",
        "tanks",
        "safety",
        "handover",
        "bench",
        "setup",
    ),
    Role.QC_TECHNICIAN: (
        "qc",
        "batches",
        "floor",
        "tanks",
        "review",
        "waiting",
        "intake",
        "chemicals",
        "handover",
        "bench",
        "setup",
    ),
    Role.OPERATOR: (
        "floor",
        "batches",
        "intake",
        "waiting",
        "qc",
        "tanks",
        "chemicals",
        "review",
        "handover",
        "bench",
        "setup",
    ),
    Role.PLANNER: (
        "waiting",
        "floor",
        "tanks",
        "chemicals",
        "qc",
        "batches",
        "intake",
        "review",
        "handover",
        "bench",
        "setup",
    ),
    Role.SAFETY_LEAD: (
        "safety",
        "intake",
        "floor",
        "chemicals",
        "tanks",
        "review",
        "batches",
        "waiting",
        "qc",
        "handover",
        "bench",
        "setup",
    ),
    Role.ADMINISTRATOR: (
        "setup",
        "floor",
        "tanks",
        "batches",
        "waiting",
        "intake",
        "qc",
        "chemicals",
        "review",
        "handover",
        "bench",
    ),
}


@dataclass(frozen=True, slots=True)
class Tab:
    label: str
    url: str
    note: str = ""
    is_call: bool = False
    is_current: bool = False


def tabs_for(request: HttpRequest) -> list[Tab]:
    """Tabs in the order of the person's first role, each with what waits there."""
    from regenplant.web.notes import index_notes

    roles: frozenset[Role] = getattr(request.user, "roles", frozenset())
    order = next((ORDER[role] for role in ORDER if role in roles), ORDER[Role.OPERATOR])
    match = request.resolver_match
    here = match.kwargs.get("tab") or (match.view_name or "").split("-")[0] if match else ""
    notes = index_notes()
    tabs = []
    for name in order:
        try:
            url = reverse(name)
        except NoReverseMatch:
            continue
        note, is_call = notes.get(name, ("", False))
        tabs.append(Tab(LABELS[name], url, note, is_call, name == here or name.rstrip("es") == here))
    return tabs
