"""Reading and signing: the board, one form with what was entered from it, its scans, the papers."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_safe

from regenplant.documents.page import page_size
from regenplant.documents.paper_forms import SIZES, draw_paper_forms
from regenplant.keeping import services
from regenplant.keeping.models import PaperForm
from regenplant.keeping.selectors import (
    content_of,
    form_board,
    form_numbered,
    forms_of_pad,
    scans_of,
    transcribed_acts,
)
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.paper_forms.forms import ConfirmForm, EnteredForm, ScanForm
from regenplant.web.house_form import posted
from regenplant.web.presenters import paper_forms as words
from regenplant.web.presenters.words import short_digest
from regenplant.web.requests import by_of, person_of, transcribe_from, transcribed_form, unit_system_of
from regenplant.web.rights import right
from regenplant.web.signing import SigningForm, is_whole, sign

State = PaperForm.State


def form_or_404(number: str) -> PaperForm:
    """The form of this address."""
    found = form_numbered(number) if number.isprintable() else None
    if found is None:
        raise Http404(f"There is no paper form {number[:24]}.")
    return found


@require_safe
def board(request: HttpRequest) -> HttpResponse:
    """What is to be confirmed, being entered, about, and finished."""
    found = form_board()
    context = {
        "sentence": words.board_sentence(found),
        "to_confirm": [words.row(form) for form in found.to_confirm],
        "being_entered": [words.row(form) for form in found.being_entered],
        "pads": words.pads(found.issued),
        "finished": [words.row(form) for form in found.finished],
        "finished_count": found.finished_count,
        "may_issue": right(request, "form.issue"),
        "kinds": words.KINDS,
    }
    return render(request, "paper_forms/board.html", context)


@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def form_page(request: HttpRequest, number: str) -> HttpResponse:
    """One form. A POST signs: the transcriber that it is entered, the second person that it says the same as the scan."""
    form = form_or_404(number)
    signing = _signing(request, form)
    if (
        request.method == "POST"
        and signing is not None
        and is_whole(signing, request)
        and _sign(request, form, signing)
    ):
        return redirect("paper-forms-form", form.number)
    if request.method == "POST" and signing is None:
        receipt(request, f"{form.number} is {form.get_state_display()}; nothing was signed.")
        return redirect("paper-forms-form", form.number)
    return render(
        request,
        "paper_forms/form.html",
        form_context(request, form_or_404(number), signing=signing),
        status=refused_status(signing) if signing is not None and signing.errors else 200,
    )


def _signing(request: HttpRequest, form: PaperForm) -> SigningForm | None:
    """The form of the signature that is to be given now; None when none is."""
    if form.state == State.ENTERING and form.transcriber_id == person_of(request).pk:
        return EnteredForm(posted(request), initial={"version": form.version})
    if form.state == State.ENTERED:
        return ConfirmForm(posted(request), initial={"version": form.version})
    return None


def _sign(request: HttpRequest, form: PaperForm, signing: SigningForm) -> bool:
    is_transcriber = isinstance(signing, EnteredForm)
    meaning = services.TRANSCRIBED_MEANING if is_transcriber else services.CONFIRMED_MEANING
    more: dict[str, Any] = {"remarks": signing.text("remarks")} if is_transcriber else {}
    outcome = sign(
        signing,
        request,
        services.finish_transcription if is_transcriber else services.confirm_transcription,
        meaning=meaning,
        about=("paper_form", form.number, f"Paper form {form.number}"),
        form_id=form.pk,
        version=signing.shown_version,
        **more,
    )
    if outcome is None:
        return False
    if is_transcriber:
        transcribe_from(request, "")
    digest = short_digest(outcome.facts["digest"])
    said = "is entered; another person confirms it next" if is_transcriber else "is confirmed"
    receipt(request, f"Signed: form {form.number} {said}. Digest {digest}.")
    return True


def form_context(
    request: HttpRequest,
    form: PaperForm,
    *,
    signing: SigningForm | None = None,
    scanning: ScanForm | None = None,
) -> dict[str, Any]:
    """What the page shows, also around a scan that was refused."""
    person, now = person_of(request), timezone.now()
    is_own = form.transcriber_id == person.pk
    refused = ""
    may_transcribe, may_confirm = right(request, "form.transcribe"), right(request, "form.confirm")
    if form.state == State.ENTERED:
        refused = "You transcribed it, so another person confirms it." if is_own else may_confirm.reason
    return {
        "form": form,
        "content": content_of(form),
        "sentence": words.sentence(form, now),
        "facts": words.facts(form),
        "scans": list(scans_of(form)),
        "acts": [words.act_row(line, now) for line in transcribed_acts(form)],
        "scanning": scanning or ScanForm(),
        "signing": signing if signing is not None else _signing(request, form),
        "is_own": is_own,
        "is_active": transcribed_form(request) == form.number,
        "places": words.places(form),
        "may_transcribe": may_transcribe,
        "may_confirm": may_confirm,
        "may_close": right(request, "form.close"),
        "may_issue": right(request, "form.issue"),
        "refused": refused,
        "meaning": services.TRANSCRIBED_MEANING
        if form.state == State.ENTERING
        else services.CONFIRMED_MEANING,
        "person": person,
        "now": now,
    }


@require_safe
def scan_file(request: HttpRequest, number: str, scan_id: int) -> HttpResponse:
    """The bytes of one scan, as they were sent."""
    form = form_or_404(number)
    scan = get_object_or_404(form.scans, pk=min(scan_id, 2**62))
    response = HttpResponse(bytes(scan.content), content_type=scan.media_type)
    ending = scan.media_type.rpartition("/")[2]
    response["Content-Disposition"] = f'inline; filename="{form.number}-{scan.sha256[:8]}.{ending}"'
    return response


# --- papers -------------------------------------------------------------------------------------------------------------
@never_cache
@require_GET
def one_pdf(request: HttpRequest, number: str) -> HttpResponse:
    """One form to print; each request is one print."""
    form = form_or_404(number)
    return _printed(request, [form], f"{form.number}.pdf")


@never_cache
@require_GET
def pad_pdf(request: HttpRequest, number: str) -> HttpResponse:
    """All forms of a pad whose numbers are not used yet."""
    form = form_or_404(number)
    unused = [one for one in forms_of_pad(form.pad) if one.state == State.ISSUED]
    return _printed(request, unused, f"{form.pad}-pad.pdf")


def _printed(request: HttpRequest, forms: list[PaperForm], name: str) -> HttpResponse:
    asked = request.GET.get("size", "")
    size = page_size(asked or ("letter" if unit_system_of(request) == "us" else "a4"), SIZES)
    counted: list[PaperForm] = services.print_form(
        by=by_of(request), form_ids=[form.pk for form in forms]
    ).result
    content = draw_paper_forms(
        [content_of(form) for form in counted], size, prints=[form.prints for form in counted]
    )
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def address_of(form: PaperForm) -> str:
    return reverse("paper-forms-form", args=[form.number])
