"""The weigh ticket of a delivery: written beside the volume unloaded, and the answer of another person to a difference."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant import units
from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import Unloading, WeighTicket
from regenplant.chemicals.weighing import tickets_of, weighing_of
from regenplant.core.process.weighing import Weighing
from regenplant.units import UnitSystem
from regenplant.web.act_page import Act, act_page
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.requests import unit_system_of

BOTH = require_http_methods(["GET", "HEAD", "POST"])
NBSP = "\u00a0"


class WeighForm(HouseForm):
    """Net mass of the ticket, and the volume that was unloaded."""

    paper_number = words_field(40, label="Number of the ticket")
    net = QuantityField(
        "mass", label="Net mass", help_text="Of the product, as on the ticket: full less empty."
    )
    volume = QuantityField(
        "liquid_volume",
        label="Volume unloaded",
        help_text="By the rise of the level, or a meter at the hose.",
    )
    why_anew = words_field(
        300, rows=2, label="Why it is written anew", required=False, help_text="Only when a ticket stands already."
    )  # fmt: skip
    seen_position = forms.IntegerField(widget=forms.HiddenInput, min_value=0, max_value=32_000)

    def arguments(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {
            "paper_number": self.text("paper_number"),
            "net_kg": self.needed_quantity("net"),
            "net_as_typed": f"{data['net'].value_as_typed} {data['net'].unit_as_typed}".strip(),
            "volume_m3": self.needed_quantity("volume"),
            "volume_as_typed": f"{data['volume'].value_as_typed} {data['volume'].unit_as_typed}".strip(),
            "why_anew": self.text("why_anew"),
            "seen_position": data["seen_position"],
        }


class WeighAnswerForm(HouseForm):
    answer = words_field(
        300,
        rows=2,
        label="Where the difference comes from",
        help_text="And what was done: asked the carrier, read the level again, drained the hose.",
    )
    seen_position = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=32_000)


def weighing_rows(ticket: WeighTicket, system: UnitSystem) -> list[tuple[str, str]]:
    """A ticket in pairs: what was read, and what it is held against."""
    found = weighing_of(ticket)
    rows = [
        (
            "Ticket",
            f"{ticket.paper_number}, net {units.twin(ticket.net_kg, 'mass', system)}, typed {ticket.net_as_typed}",
        ),
        (
            "Volume unloaded",
            f"{units.twin(ticket.volume_m3, 'liquid_volume', system)}, typed {ticket.volume_as_typed}",
        ),
        (
            "By volume and density of the sample",
            f"{units.twin(found.by_volume_kg, 'mass', system)}; the ticket lies {_apart(found.volume_gap_frac)}",
        ),
        (
            "By the papers",
            f"{units.twin(found.papers_kg, 'mass', system)} of product; the ticket lies {_apart(found.papers_gap_frac)}",
        ),
        ("Allowed", f"{ticket.tolerance_frac * 100:g}{NBSP}% each way"),
        ("Written by", ticket.weighed_by.full_name),
    ]
    if ticket.why_anew:
        rows.append(("Written anew", ticket.why_anew))
    if ticket.answered_by is not None:
        rows.append(("Difference", f"{ticket.answer} Answered by {ticket.answered_by.full_name}."))
    return rows


def _apart(gap_frac: float) -> str:
    if abs(gap_frac) < 0.0005:
        return "at the same"
    return f"{abs(gap_frac) * 100:.1f}{NBSP}% {'over' if gap_frac > 0 else 'under'} it"


def alarm_words(found: Weighing) -> str:
    """What a difference may mean, for the person at the tank."""
    if abs(found.volume_gap_frac) > found.tolerance_frac:
        return (
            f"The ticket lies {_apart(found.volume_gap_frac)} by volume and density. Draw nothing from this tank until its strength is "
            "checked: the density may be that of another strength or product, the level misread, or some of it still in hose or truck."
        )
    return f"The ticket lies {_apart(found.papers_gap_frac)} by the papers. Count the tank, and ask the supplier."


def weighed_context(row: Unloading, system: UnitSystem) -> dict[str, Any]:
    """What the page of a delivery shows of its ticket. One query."""
    tickets = tickets_of(row)
    for one in tickets:
        one.unloading = row
    ticket = tickets[0] if tickets else None
    is_open = ticket is not None and ticket.is_beyond and ticket.answered_at is None
    return {
        "ticket": ticket,
        "ticket_rows": weighing_rows(ticket, system) if ticket is not None else [],
        "ticket_alarm": alarm_words(weighing_of(ticket)) if ticket is not None and is_open else "",
        "earlier_tickets": tickets[1:],
    }


def _delivery(number: str) -> Unloading:
    return get_object_or_404(selectors.deliveries(), number=number.upper())


@BOTH
def weigh(request: HttpRequest, number: str) -> HttpResponse:
    """Write the ticket; another one takes the place of the one that stands."""
    row, system = _delivery(number), unit_system_of(request)
    page = reverse("chemicals-unloading", args=[row.number])
    tickets = tickets_of(row)
    form = WeighForm(
        posted(request), initial={"seen_position": tickets[0].position if tickets else 0}, system=system
    )
    act = Act(
        title=f"Weigh ticket of {row.number}",
        sentence="Held against volume times density, and against the papers. It moves nothing: a count of the tank shows what is there.",
        permission="chemical.receive",
        service=services.write_weigh_ticket,
        arguments=lambda: {"unloading_id": row.pk, **form.arguments()},
        said=lambda outcome: (
            f"Written: ticket {outcome.result.paper_number}. "
            + (
                "It differs: another person says where that comes from."
                if outcome.result.is_beyond
                else "It agrees."
            )
        ),
        then=lambda outcome: page,
        back_url=page,
    )
    facts = [
        ("Tank", row.place.code),
        ("On the papers", f"{units.twin(row.grams_100 / 1000.0, 'mass', system)} as 100 %"),
        (
            "Density of its sample",
            units.format_quantity(row.density_kg_per_m3, "density", system)
            if row.density_kg_per_m3
            else "not taken",
        ),
    ]
    return act_page(request, form, act, facts=facts)


@BOTH
def answer(request: HttpRequest, number: str) -> HttpResponse:
    """Another person says where the difference comes from."""
    row, system = _delivery(number), unit_system_of(request)
    page = reverse("chemicals-unloading", args=[row.number])
    tickets = tickets_of(row)
    form = WeighAnswerForm(
        posted(request), initial={"seen_position": tickets[0].position if tickets else None}
    )
    act = Act(
        title=f"Difference of the weigh ticket of {row.number}",
        sentence="Answered by another person than who wrote the ticket. It moves nothing in the ledger.",
        permission="chemical.correct",
        service=services.answer_weigh_ticket,
        arguments=lambda: {
            "unloading_id": row.pk,
            "seen_position": form.cleaned_data["seen_position"],
            "answer": form.text("answer"),
        },
        said=lambda outcome: f"Written: the difference of ticket {outcome.result.paper_number} is answered.",
        then=lambda outcome: page,
        back_url=page,
    )
    for one in tickets[:1]:
        one.unloading = row
    facts = weighing_rows(tickets[0], system) if tickets else []
    return act_page(request, form, act, facts=facts)
