"""Views of the other ways: the rinse goes on, down to a lower product, a sample is kept."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.batches.models import Batch
from regenplant.people.signing import needs_full_credentials
from regenplant.quality import services
from regenplant.quality.retained import days_kept, sample_missing, samples_of
from regenplant.quality.signed_content import DOWNGRADE_MEANING
from regenplant.quality.specification import judgement
from regenplant.quality.ways import customers_of, lower_products, once_downgraded, rinse_on
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.qc.way_forms import ContinueForm, DowngradeForm, SampleForm
from regenplant.web.areas.rinse.views import batch_or_404
from regenplant.web.house_form import posted
from regenplant.web.presenters import qc_ways as words
from regenplant.web.presenters.words import short_digest
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import Right, right
from regenplant.web.signing import prove_two


def _back(batch: Batch, place: str = "ways") -> str:
    return f"{reverse('qc-decision', args=[batch.number])}#{place}"


@require_http_methods(["GET", "HEAD", "POST"])
def go_on(request: HttpRequest, number: str) -> HttpResponse:
    """The rinse goes on: why, and with how much water."""
    batch, system = batch_or_404(number), unit_system_of(request)
    stands = rinse_on(batch, judgement(batch))
    form = ContinueForm(
        posted(request),
        system=system,
        resin_volume_m3=batch.resin_volume_m3,
        initial={"version": batch.version},
    )
    act = Act(
        title=f"Rinse {batch.number} on",
        sentence="It goes back to its rinse. Its hold time begins anew, and a new sample is taken; results of this one count no more.",
        permission="qc.judge",
        segregation_class=batch.segregation_class,
        service=services.continue_rinse,
        arguments=lambda: {
            "batch_id": batch.pk,
            "reason": form.text("reason"),
            "allowance_bv": form.allowance_bv,
            "version": form.shown_version,
        },
        said=lambda outcome: (
            f"Written: {batch.number} rinses on, at most {outcome.facts['shown']} more. The operator starts it."
        ),
        then=lambda outcome: reverse("qc"),
        back_url=_back(batch),
        button="Hand it back to the rinse",
    )
    held = right(request, act.permission, batch.segregation_class)
    shown = Right(False, " ".join(stands.against)) if stands.against and held.is_held else held
    facts = [("Water", words.rinse_on_words(stands, batch, system)), *words.rounds_words(stands)]
    return act_page(request, form, act, facts=facts, right=shown)


@never_cache
@sensitive_post_parameters("password", "second_password")
@require_http_methods(["GET", "HEAD", "POST"])
def downgrade(request: HttpRequest, number: str) -> HttpResponse:
    """Down to a lower product: which, why, whose orders accept it, and both people with their own passwords."""
    batch = batch_or_404(number)
    lower, twice = lower_products(batch, timezone.now()), once_downgraded(batch)
    form = DowngradeForm(
        posted(request), lower=lower, customers=customers_of(batch), initial={"version": batch.version}
    )
    form.asks_name = needs_full_credentials(request)
    act = Act(
        title=f"Downgrade {batch.number}",
        sentence="Once, never up, and only where the measured values meet the lower product and its customer accepts it.",
        permission="qc.judge",
        segregation_class=batch.segregation_class,
        service=_by_two(form, request, batch),
        arguments=lambda: {
            "batch_id": batch.pk,
            **form.target(),
            "reason": form.text("reason"),
            "orders": form.orders(),
            "version": form.shown_version,
        },
        said=lambda outcome: (
            f"Signed by two: batch {batch.number} went down to {outcome.facts['to']}, class {outcome.facts['to_class']}. "
            f"Digest {short_digest(outcome.facts['digest'])}."
        ),
        then=lambda outcome: f"{reverse('qc-decision', args=[batch.number])}#main",
        back_url=_back(batch),
        button="Sign, both, and downgrade",
        template="qc/downgrade.html",
    )
    is_shut = bool(twice) or not lower
    said = words.lower_words(lower, twice)
    held = right(request, act.permission, batch.segregation_class)
    facts = [("Now", f"{batch.specification_version.specification.code}, class {batch.segregation_class}")]
    facts += [
        (
            one.version.specification.code,
            f"class {one.to_class}: {_how(one.is_met, one.judged.verdict.open_reasons)}",
        )
        for one in lower
    ]
    shown = Right(False, said) if is_shut and held.is_held else held
    return act_page(request, form, act, facts=facts, shut=said, is_shut=is_shut, right=shown)


def _how(is_met: bool, reasons: Any) -> str:
    return "every test inside" if is_met else " ".join(reason.sentence for reason in reasons)


def _by_two(form: DowngradeForm, request: HttpRequest, batch: Batch) -> Any:
    """The downgrade as two people sign it, each proven before the act begins."""

    def act(*, by: By, **arguments: Any) -> Outcome:
        two = prove_two(
            form,
            request,
            by,
            meaning=DOWNGRADE_MEANING,
            about=("batch", batch.number, f"Batch {batch.number}"),
            permission=services.SECOND_RIGHT,
            segregation_class=batch.segregation_class,
        )
        return services.downgrade_batch(by=by, together=two, **arguments)

    return act


@require_http_methods(["GET", "HEAD", "POST"])
def sample(request: HttpRequest, number: str) -> HttpResponse:
    """A retained sample is written down."""
    batch, system = batch_or_404(number), unit_system_of(request)
    form = SampleForm(posted(request), system=system, initial={"version": batch.version})
    days = days_kept(batch.segregation_class, timezone.now())
    act = Act(
        title=f"Keep a sample of {batch.number}",
        sentence=(
            f"Class {batch.segregation_class} keeps it for {days} days by the plant’s limits."
            if days
            else f"Class {batch.segregation_class} needs no retained sample; one may be kept all the same."
        ),
        permission="qc.keep_sample",
        segregation_class=batch.segregation_class,
        service=_at(form),
        arguments=lambda: {
            "batch_id": batch.pk,
            "volume_text": form.volume_text,
            "place": form.text("place"),
            "system": system,
        },
        said=lambda outcome: (
            f"Written: sample {outcome.result.number} is kept until {outcome.result.keep_until}. Print its label."
        ),
        then=lambda outcome: reverse("samples-one", args=[outcome.result.number]),
        back_url=_back(batch, "sample"),
    )
    missing = sample_missing(batch)
    facts = [(row.number, words.sample_words(row, system)) for row in samples_of(batch)]
    return act_page(request, form, act, facts=[*facts, *([("Release", missing)] if missing else [])])


def _at(form: SampleForm) -> Any:
    """The act at the time that was written."""

    def act(*, by: By, **arguments: Any) -> Outcome:
        moment = form.cleaned_data["occurred_at"]
        return services.keep_sample(by=by.happening_at(moment) if moment else by, **arguments)

    return act
