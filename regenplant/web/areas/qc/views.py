"""Views of quality control. What is judged and released is decided by the services; here it is asked and shown."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.batches.models import Batch, BatchTank
from regenplant.batches.worked_out import worked_of
from regenplant.core.errors import DomainError, RecordRefused
from regenplant.core.process.lifecycle import BatchAction, BatchState
from regenplant.core.process.specification import Limit
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import plant_day
from regenplant.quality import services
from regenplant.quality.bench import BenchInstrument, instruments_for
from regenplant.quality.independence import who_may_judge
from regenplant.quality.models import QcMeasurement, decision_of
from regenplant.quality.selectors import QcPage, anew_offer, qc_page, qc_queue
from regenplant.quality.signed_content import FAIL_MEANING, PASS_MEANING, RELEASE_MEANING
from regenplant.quality.specification import TANKS_ARE_TESTED, applied_names, judgement
from regenplant.quality.standing import is_open_for_correction
from regenplant.quality.to_sign import pass_digest, release_digest
from regenplant.quality.ways import rework_ways
from regenplant.web.acting import attach, receipt, refused_status
from regenplant.web.areas.qc.forms import (
    VERDICT_FORMS,
    CorrectMeasurementForm,
    FailForm,
    MeasurementForm,
    PassForm,
    ReleaseForm,
)
from regenplant.web.areas.qc.on_decision import downgrade_rows, sample_context, ways_context
from regenplant.web.areas.rinse.views import batch_or_404
from regenplant.web.presenters import qc as words
from regenplant.web.presenters import qc_limits
from regenplant.web.presenters.instruments import due_notes
from regenplant.web.presenters.qc_queue import queue_groups, queue_sentence
from regenplant.web.presenters.review_record import found_view
from regenplant.web.presenters.start import worked_note, worked_rows
from regenplant.web.presenters.words import joined, short_digest
from regenplant.web.requests import by_of, person_of, unit_system_of
from regenplant.web.rights import right
from regenplant.web.signing import SigningForm, is_whole, sign

MEANINGS = {"pass": PASS_MEANING, "fail": FAIL_MEANING}


@require_safe
def queue(request: HttpRequest) -> HttpResponse:
    lines = qc_queue()
    context = {
        "sentence": queue_sentence(lines),
        "groups": queue_groups(lines, timezone.now(), unit_system_of(request)),
    }
    return render(request, "qc/queue.html", context)


# --- the decision -----------------------------------------------------------------------------------------------------
@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def decision(request: HttpRequest, number: str) -> HttpResponse:
    """The decision on one batch; a POST signs pass or fail."""
    batch = batch_or_404(number)
    stands = decision_of(batch)
    usual = stands.verdict if stands is not None else "pass"
    verdict = (request.POST if request.method == "POST" else request.GET).get("verdict", usual)
    if verdict not in VERDICT_FORMS:
        raise RecordRefused("The verdict is pass or fail. Choose one on the page.", code="no_verdict")
    form = verdict_form(verdict, batch, request.POST or None)
    if request.method == "POST" and is_whole(form, request) and _judge(form, request, batch):
        return redirect(f"{reverse('qc-decision', args=[batch.number])}#main")
    return _decision_page(request, batch, form)


def verdict_form(verdict: str, batch: Batch, data: Any = None) -> SigningForm:
    """The form of a pass or a fail; a fail of what was never judged may carry the rework that QC proposes."""
    initial = {"version": batch.version}
    if verdict == "fail":
        ways = rework_ways(batch, judgement(batch)) if batch.state == BatchState.AWAITING_QC else ()
        return FailForm(data, initial=initial, ways=ways)
    return VERDICT_FORMS[verdict](data, initial=initial)


def _judge(form: SigningForm, request: HttpRequest, batch: Batch) -> bool:
    verdict = form.cleaned_data["verdict"]
    is_anew = is_open_for_correction(batch.pk)
    outcome = sign(
        form,
        request,
        services.amend_decision if is_anew else services.decide_batch,
        meaning=MEANINGS.get(verdict, FAIL_MEANING),
        about=("batch", batch.number, f"Batch {batch.number}"),
        batch_id=batch.pk,
        verdict=verdict,
        reason=form.text("reason"),
        version=form.shown_version,
        **({} if is_anew else {"proposal": form.text("proposal")}),
    )
    if outcome is None:
        return False
    word = "passed" if verdict == "pass" else "failed"
    anew = f", version {outcome.result.version}" if is_anew else ""
    digest = short_digest(outcome.result.signature.digest)
    tanks = words.tanks_failed_words(outcome.facts)
    receipt(request, f"Signed: batch {batch.number} {word}{anew}. Digest {digest}.{tanks}")
    return True


def _instruments(page: QcPage) -> list[Instrument]:
    """What the batch was measured with."""
    used = [row.instrument for row in page.readings]
    used += [row.instrument for row in page.measurements if row.instrument is not None]
    return list({instrument.pk: instrument for instrument in used}.values())


def _decision_page(
    request: HttpRequest,
    batch: Batch,
    form: SigningForm | None = None,
    measuring: MeasurementForm | None = None,
) -> HttpResponse:
    system = unit_system_of(request)
    if request.method == "POST":
        batch = batch_or_404(batch.number)  # as the refused act left it
    page = qc_page(batch, by=by_of(request))
    rows = qc_limits.limit_rows(page, system)
    form = form or PassForm(initial={"version": batch.version})
    is_fail = form.fields["verdict"].initial == "fail"
    may_judge = [person.full_name for person in who_may_judge(batch)]
    right_to_judge = right(request, "qc.judge", batch.segregation_class)
    offer = page.offer(BatchAction.FAIL if is_fail else BatchAction.PASS)
    is_anew = page.standing.reopening is not None
    refused = (
        words.amend_refusal(page, may_judge, right_to_judge.reason)
        if is_anew
        else words.refusal(offer, may_judge, "judge")
    )
    shown = measuring or form
    context = {
        "page": page,
        "batch": batch,
        "rows": rows,
        "sentence": words.decision_sentence(page, rows),
        "found": found_view(page.exceptions, batch.number),
        "standing": page.standing,
        "measuring": _measuring(request, page, measuring),
        "worked": worked_rows(worked_of(batch), system),
        "worked_note": worked_note(worked_of(batch)),
        "applied": joined(one.name for one in applied_names(batch)),
        "against": joined(one.code for one in applied_names(batch)),
        "measuring_note": "on the sample" if batch.state == BatchState.AWAITING_QC else "on each tank",
        "right_to_measure": right(request, "qc.record", batch.segregation_class),
        "instrument_notes": due_notes(_instruments(page), timezone.now()),
        "form": with_version(form, batch),
        "is_fail": is_fail,
        "is_judgeable": batch.state == BatchState.AWAITING_QC or is_anew,
        "is_anew": is_anew,
        "refused": refused,
        "right_to_judge": right_to_judge,
        "signs": words.what_is_signed(
            batch, len(page.tanks), "fail" if is_fail else "pass", is_refused=bool(refused)
        ),
        "facts": words.signed_facts(page, rows, "" if is_fail else pass_digest(batch, page.judged)),
        "meaning": FAIL_MEANING if is_fail else PASS_MEANING,
        "next_version": page.decision.version + 1 if page.decision else 1,
        "decided": words.decided_words(page),
        "released": words.released_words(page),
        "person": person_of(request),
        "now": timezone.now(),
        **ways_context(request, page),
    }
    return render(request, "qc/decision.html", context, status=refused_status(shown) if shown.errors else 200)


def _measuring_url(batch: Batch) -> str:
    """Where results are written: the receipt of the last one stands there too."""
    return f"{reverse('qc-decision', args=[batch.number])}#measure"


def with_version(form: SigningForm, batch: Batch) -> SigningForm:
    """A refused form carries the version that its page now shows; the person looks again before signing again."""
    if form.is_bound:
        data = form.data.copy()  # type: ignore[attr-defined]
        data[form.add_prefix("version")] = str(batch.version)
        form.data = data
    return form


def _measuring(request: HttpRequest, page: QcPage, refused: MeasurementForm | None) -> list[dict[str, Any]]:
    """One form for each test: those still to measure open, the others behind one tap. What is measured on each tank comes
    tank by tank, until the release."""
    pairs = [(test.limit, test.link) for test in page.tank_tests] if _tanks_are_tested(page.batch) else []
    of_batch: list[tuple[Limit, BatchTank | None]] = []
    if page.batch.state == BatchState.AWAITING_QC:
        of_batch = [(limit, None) for limit in page.sample_limits if not limit.each_tank]
    measured = {(row.key, row.tank_id) for row in page.measurements}
    bench = instruments_for(page.sample_limits, plant_day(timezone.now()))
    found = []
    shown = [*of_batch, *pairs]
    if refused is not None and (refused.limit, refused.tank) not in shown:
        shown.insert(
            0, (refused.limit, refused.tank)
        )  # what was refused is shown with why, whatever is measured now
    for limit, tank in shown:
        own = refused if refused is not None and (refused.limit, refused.tank) == (limit, tank) else None
        form = own or _measurement_form(request, bench[limit.measurement], limit, tank)
        is_open = own is not None or (limit.measurement, tank.pk if tank else None) not in measured
        found.append({"limit": limit, "tank": tank, "name": form.name, "form": form, "is_open": is_open})
    return found


def _tanks_are_tested(batch: Batch) -> bool:
    return batch.state in (BatchState.AWAITING_QC, *TANKS_ARE_TESTED)


def _measurement_form(
    request: HttpRequest,
    bench: Sequence[BenchInstrument],
    limit: Limit,
    tank: BatchTank | None,
    data: Any = None,
) -> MeasurementForm:
    return MeasurementForm(
        data,
        prefix=f"{limit.measurement}-{tank.pk}" if tank else limit.measurement,
        limit=limit,
        tank=tank,
        bench=bench,
        system=unit_system_of(request),
    )


def _tank_meant(page: QcPage, limit: Limit, text: str) -> BatchTank | None:
    """The tank a result was sent for; one that is none of them is refused by the service."""
    return next(
        (test.link for test in page.tank_tests if test.limit == limit and str(test.link.pk) == text), None
    )


@require_http_methods(["GET", "HEAD", "POST"])
def measure(request: HttpRequest, number: str, key: str) -> HttpResponse:
    """Write down one result of the sample or of a tank; refused, the decision page stands with everything typed."""
    batch = batch_or_404(number)
    page = qc_page(batch, by=by_of(request))
    limit = next((limit for limit in page.sample_limits if limit.measurement == key), None)
    if limit is None:
        raise Http404(f"The specification of {batch.number} names no measurement {key}.")
    if request.method != "POST":
        return redirect("qc-decision", batch.number)
    tank = _tank_meant(page, limit, request.POST.get("tank", ""))
    bench = instruments_for(page.sample_limits, plant_day(timezone.now()))[key]
    form = _measurement_form(request, bench, limit, tank, request.POST)
    if form.is_valid():
        try:
            outcome = services.record_measurement(
                by=by_of(request, occurred_at=form.cleaned_data["occurred_at"]),
                batch_id=batch.pk,
                measurement=form.measurement(),
                system=unit_system_of(request),
                late=form.late,
            )
        except DomainError as refusal:
            attach(form, refusal)
        else:
            receipt(request, qc_limits.measurement_receipt(outcome.result, unit_system_of(request)))
            return redirect(_measuring_url(batch))
    return _decision_page(request, batch, measuring=form)


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, number: str, measurement_id: int) -> HttpResponse:
    """The page on which one result is corrected, with a reason."""
    batch, system = batch_or_404(number), unit_system_of(request)
    rows = QcMeasurement.objects.select_related("instrument", "entered_by", "tank__visit__tank")
    row = get_object_or_404(rows, pk=measurement_id, batch=batch)
    limits = qc_page(batch, by=by_of(request)).sample_limits
    limit = next(limit for limit in limits if limit.measurement == row.key)
    form = CorrectMeasurementForm(
        request.POST or None,
        row=row,
        limit=limit,
        bench=instruments_for(limits, plant_day(timezone.now()))[row.key],
        system=system,
    )
    if request.method == "POST" and form.is_valid():
        try:
            outcome = services.correct_measurement(
                by=by_of(request),
                measurement_id=row.pk,
                measurement=form.measurement(),
                category=form.text("category"),
                reason=form.text("reason"),
                system=system,
            )
        except DomainError as refusal:
            attach(form, refusal)
        else:
            receipt(request, qc_limits.measurement_receipt(outcome.result, system))
            return redirect(_measuring_url(batch))
    context = {
        "batch": batch,
        "row": row,
        "form": form,
        "facts": qc_limits.measurement_before(row, system),
        "right": right(request, "qc.record", batch.segregation_class),
        "is_corrected": hasattr(row, "replaced_by"),
    }
    return render(request, "qc/correct.html", context, status=refused_status(form) if form.errors else 200)


# --- the release ------------------------------------------------------------------------------------------------------
@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def release(request: HttpRequest, number: str) -> HttpResponse:
    """The release of a filled batch by a person who took no part in it."""
    batch = batch_or_404(number)
    form = ReleaseForm(request.POST or None, initial={"version": batch.version})
    if request.method == "POST" and is_whole(form, request):
        is_anew = batch.state == BatchState.RELEASED
        outcome = sign(
            form,
            request,
            services.release_anew if is_anew else services.release_batch,
            meaning=RELEASE_MEANING,
            about=("batch", batch.number, f"Batch {batch.number}"),
            batch_id=batch.pk,
            version=form.shown_version,
        )
        if outcome is not None:
            digest = short_digest(outcome.result.signature.digest)
            anew = " anew" if is_anew else ""
            receipt(
                request, f"Signed: batch {batch.number} and its tanks are released{anew}. Digest {digest}."
            )
            return redirect(f"{reverse('qc-release', args=[batch.number])}#main")
    return render(
        request,
        "qc/release.html",
        _release_context(request, batch_or_404(number), form),
        status=refused_status(form) if form.errors else 200,
    )


def _release_context(request: HttpRequest, batch: Batch, form: ReleaseForm) -> dict[str, Any]:
    page = qc_page(batch, by=by_of(request))
    rows = qc_limits.limit_rows(page, unit_system_of(request))
    may_release = [person.full_name for person in page.who_may_release]
    is_anew = page.standing.is_amended_after_release
    offer = anew_offer(page, by_of(request)) if is_anew else page.offer(BatchAction.RELEASE)
    refused = words.refusal(offer, may_release, "release")
    filled = sum(link.is_filled and not link.is_withdrawn for link in page.tanks)
    return {
        "page": page,
        "batch": batch,
        "rows": rows,
        "sentence": words.release_sentence(page),
        "found": found_view(page.exceptions, batch.number),
        "standing": page.standing,
        "form": with_version(form, batch),
        "is_releasable": batch.state == BatchState.FILLED or is_anew,
        "is_anew": is_anew,
        "refused": refused,
        "signs": words.what_is_signed(batch, filled, "release", is_refused=bool(refused)),
        "facts": words.signed_facts(
            page, rows, release_digest(batch) if page.release is None or is_anew else ""
        ),
        "meaning": RELEASE_MEANING,
        "decided": words.decided_words(page),
        "released": words.released_words(page),
        "tanks": words.tank_words(page, unit_system_of(request)),
        "downgraded": downgrade_rows(batch),
        **sample_context(request, batch),
        "paper": right(request, "paper.issue"),
        "person": person_of(request),
        "now": timezone.now(),
    }
