"""Tanks on their way to the plant: the list, writing some down, another time, calling one off."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.core.process.wording import listed
from regenplant.planning.models import PlannedBatch
from regenplant.planning.selectors import planned_for_expected
from regenplant.tanks import selectors, services
from regenplant.tanks.models import Customer, ExpectedTank, Tank
from regenplant.web.act_page import Act, act_page
from regenplant.web.house_form import HouseForm, moment_field, posted, words_field
from regenplant.web.presenters.words import counted, day_and_clock
from regenplant.web.rights import right

BOTH = require_http_methods(["GET", "HEAD", "POST"])
_BETWEEN = re.compile(r"[\s,;]+")


class ExpectForm(HouseForm):
    """Which tanks come, from whom and when."""

    customer = forms.ModelChoiceField(
        Customer.objects.filter(is_active=True), label="From", empty_label="Choose a customer"
    )
    serials = words_field(
        1500,
        rows=3,
        label="Tanks",
        help_text="Serials as on their tags, with a space or a line between them.",
    )
    expected_at = moment_field(label="At the door", help_text="Day and time.")
    due_at = moment_field(
        label="Promised for",
        required=False,
        help_text="All of them. Empty: nobody promised; it can be written at the door.",
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.tank_ids: list[int] = []

    def clean_serials(self) -> str:
        """The tanks of these serials, in the order written."""
        text = str(self.cleaned_data["serials"])
        wanted = list(dict.fromkeys(filter(None, _BETWEEN.split(text.upper()))))
        known = dict(Tank.objects.filter(serial__in=wanted).values_list("serial", "pk"))
        strange = [serial for serial in wanted if serial not in known]
        if strange:
            near = selectors.near_serials(strange[0])
            hint = f" Near {strange[0][:24]}: {listed(near)}." if near else ""
            raise forms.ValidationError(
                f"No tank has the serial {', '.join(one[:24] for one in strange[:6])}.{hint} Register it first, or mend the serial."
            )
        self.tank_ids = [known[serial] for serial in wanted]
        return text

    def arguments(self) -> dict[str, Any]:
        """What the service takes."""
        return {
            "tank_ids": self.tank_ids,
            "customer_id": self.cleaned_data["customer"].pk,
            "expected_at": self.cleaned_data["expected_at"],
            "due_at": self.cleaned_data["due_at"],
        }


class ExpectAgainForm(HouseForm):
    """Another time for one tank."""

    expected_at = moment_field(label="At the door", help_text="Day and time.")
    due_at = moment_field(label="Promised for", required=False)
    reason = words_field(200, rows=2, label="Why it changes")


class NotComingForm(HouseForm):
    reason = words_field(200, rows=2, label="Why it does not come")


@dataclass(frozen=True, slots=True)
class Row:
    """A tank on its way, and the planned batch that counts with it."""

    tank: ExpectedTank
    is_overdue: bool
    planned: PlannedBatch | None


def _row(number: str) -> ExpectedTank:
    return get_object_or_404(
        ExpectedTank.objects.select_related("tank", "customer"), number=number.upper(), state="expected"
    )


def _list() -> str:
    return reverse("expected-tanks")


@require_safe
def listing(request: HttpRequest, tab: str) -> HttpResponse:
    now = timezone.now()
    found = list(selectors.expected_tanks())
    planned = planned_for_expected(row.pk for row in found)
    rows = [Row(row, row.expected_at < now, planned.get(row.pk)) for row in found]
    overdue = sum(row.is_overdue for row in rows)
    late = f" {counted(overdue, 'tank').capitalize()} should be here by now." if overdue else ""
    sentence = f"{counted(len(rows), 'tank').capitalize()} on the way.{late}" if rows else ""
    context = {"rows": rows, "sentence": sentence, "expect": right(request, "tank.expect")}
    return render(request, "intake/expected.html", context)


@BOTH
def new(request: HttpRequest, tab: str) -> HttpResponse:
    form = ExpectForm(posted(request))
    act = Act(
        title="Tanks are on their way",
        sentence="Plans of the day count with them from then on. Nothing is received by this: each is scanned and looked over at the door.",
        permission="tank.expect",
        service=services.expect_tanks,
        arguments=form.arguments,
        said=lambda outcome: f"Written: {outcome.facts['tanks']} expected {outcome.facts['at']}.",
        then=lambda outcome: _list(),
        back_url=_list(),
        button="Write it down",
    )
    return act_page(request, form, act)


def _facts(row: ExpectedTank) -> list[tuple[str, str]]:
    return [
        ("From", row.customer.name),
        ("At the door", day_and_clock(row.expected_at)),
        ("Promised for", day_and_clock(row.due_at) if row.due_at else "nobody promised"),
    ]


@BOTH
def change(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _row(number)
    initial = {
        "expected_at": timezone.localtime(row.expected_at),
        "due_at": timezone.localtime(row.due_at) if row.due_at else None,
        "version": row.version,
    }
    form = ExpectAgainForm(posted(request), initial=initial)
    act = Act(
        title=f"{row.tank.serial} comes at another time",
        sentence="The next plan counts with it from then on.",
        permission="tank.expect",
        segregation_class=row.tank.segregation_class,
        service=services.change_expected_tank,
        arguments=lambda: {
            "expected_number": row.number,
            "expected_at": form.cleaned_data["expected_at"],
            "due_at": form.cleaned_data["due_at"],
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {row.tank.serial} is expected {outcome.facts['at']}.",
        then=lambda outcome: _list(),
        back_url=_list(),
        button="Change it",
    )
    return act_page(request, form, act, facts=_facts(row))


@BOTH
def call_off(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _row(number)
    form = NotComingForm(posted(request), initial={"version": row.version})
    act = Act(
        title=f"{row.tank.serial} does not come",
        sentence="No plan counts with it any more.",
        permission="tank.expect",
        segregation_class=row.tank.segregation_class,
        service=services.call_off_expected_tank,
        arguments=lambda: {
            "expected_number": row.number,
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {row.tank.serial} is not expected any more.",
        then=lambda outcome: _list(),
        back_url=_list(),
        button="Call it off",
        is_stopping=True,
    )
    return act_page(request, form, act, facts=_facts(row))
