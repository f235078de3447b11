"""Resin from the store into the bed of a running batch, and what is left of a batch into the store."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant.batches import services
from regenplant.batches.resin_volumes import balance_of, counted_bed_m3
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.batches.page import batch_or_404
from regenplant.web.areas.resin_lots.forms import BedTopUpForm, KeepRestForm
from regenplant.web.house_form import posted
from regenplant.web.presenters import resin_lots as words
from regenplant.web.requests import unit_system_of

ACT = require_http_methods(["GET", "HEAD", "POST"])


@ACT
def top_up(request: HttpRequest, number: str) -> HttpResponse:
    """Before the first chemical only; the service says why not, if not."""
    batch = batch_or_404(number)
    system = unit_system_of(request)
    form = BedTopUpForm(posted(request), resin_type=batch.resin_type, initial={"version": batch.version}, system=system)  # fmt: skip
    page = reverse("batches-detail", args=[batch.number])
    act = Act(
        title=f"Top up the bed of {batch.number}",
        sentence="Conditioned resin of the same key, before the first chemical, never above what the dose was planned for.",
        permission="batch.run",
        segregation_class=batch.segregation_class,
        service=services.top_up_batch,
        arguments=lambda: {"batch_id": batch.pk, **form.arguments()},
        said=lambda outcome: f"Written: {batch.number} was topped up with {outcome.result.lot.code}.",
        then=lambda outcome: page,
        back_url=page,
    )
    facts = words.bed_rows(batch.resin_type, counted_bed_m3(batch), system)
    return act_page(request, form, act, facts=facts)


@ACT
def keep_rest(request: HttpRequest, number: str) -> HttpResponse:
    """Once the tanks are filled."""
    batch = batch_or_404(number)
    system = unit_system_of(request)
    form = KeepRestForm(posted(request), resin_type=batch.resin_type, initial={"version": batch.version}, system=system)  # fmt: skip
    page = reverse("batches-detail", args=[batch.number])
    act = Act(
        title=f"Keep what is left of {batch.number}",
        sentence="It stands in the store under the lot of the batch, and is used once the batch is released.",
        permission="batch.run",
        segregation_class=batch.segregation_class,
        service=services.keep_rest,
        arguments=lambda: {"batch_id": batch.pk, **form.arguments()},
        said=lambda outcome: f"Written: what was left of {batch.number} is in the store.",
        then=lambda outcome: page,
        back_url=page,
    )
    return act_page(request, form, act, facts=words.balance_rows(balance_of(batch), system))
