"""Views of certificates of quality."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.documents.certificate.choosing import (
    Asked,
    certifiable,
    customers_to_certify,
    of_one_customer,
)
from regenplant.documents.certificate.standing import (
    certificate_numbered,
    content_of,
    newest_certificates,
    standing_of,
)
from regenplant.documents.models import Certificate
from regenplant.documents.services import issue_certificate, withdraw_certificate
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.certificates.forms import IssueForm, WithdrawForm
from regenplant.web.house_form import posted
from regenplant.web.presenters import certificates as words
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@require_safe
def listing(request: HttpRequest, tab: str) -> HttpResponse:
    """The certificates issued last."""
    rows = [words.certificate_row(standing_of(row), content_of(row)) for row in newest_certificates()]
    return render(
        request, "certificates/list.html", {"rows": rows, "issuing": right(request, "certificate.issue")}
    )


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest, tab: str) -> HttpResponse:
    """Choose the tanks and issue; ``?tank=``, ``?batch=`` and ``?customer=`` narrow the choice."""
    asked = Asked(*(_plain(request, name) for name in ("tank", "batch", "customer")))
    links = certifiable(asked)
    ticked = of_one_customer(links) if asked.serial or asked.batch_number else []
    form = IssueForm(
        posted(request),
        links=links,
        initial={
            "tanks": [str(link.visit_id) for link in ticked],
            "in_place_of": _plain(request, "in_place_of"),
        },
    )
    act = Act(
        title="Issue a certificate of quality",
        sentence="It says what was measured, by which method and instrument, and rests on the signed release."
        if links
        else "No tank is released from a batch here yet. A certificate is issued after the release.",
        permission="certificate.issue",
        service=issue_certificate,
        arguments=form.arguments,
        said=lambda outcome: f"Written: certificate {outcome.result.number} is issued.",
        then=lambda outcome: reverse("certificate", args=[outcome.result.number]),
        back_url=reverse("certificates"),
        button="Issue it",
        template="certificates/new.html",
    )
    return act_page(request, form, act, customers=_customer_chips(request, asked))


def _customer_chips(request: HttpRequest, asked: Asked) -> list[dict[str, Any]]:
    """Customers to choose from, where no tank or batch is asked about; a certificate in place of another keeps to it."""
    if asked.serial or asked.batch_number:
        return []
    kept = _plain(request, "in_place_of")
    return [
        {
            "label": name,
            "url": "?" + urlencode({"customer": code, **({"in_place_of": kept} if kept else {})}),
            "count": tanks,
            "is_current": code.casefold() == asked.customer.casefold(),
        }
        for code, name, tanks in customers_to_certify()
    ]


@require_safe
def detail(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """What the code on the paper leads to: whether the certificate holds, and what it says. ``?digest=`` is held against it."""
    certificate = _certificate(number)
    standing, content = standing_of(certificate), content_of(certificate)
    tone, answer = words.digest_answer(certificate, request.GET.get("digest", "")[:100])
    mark, word = words.state_mark(standing)
    context = {
        "certificate": certificate,
        "content": content,
        "standing": standing,
        "mark_of": mark,
        "word": word,
        "sentence": words.state_sentence(standing),
        "about": words.about_sentence(content),
        "digest": words.grouped_digest(certificate.digest),
        "typed": request.GET.get("digest", "")[:100],
        "tone": tone,
        "answer": answer,
        "rows": words.measured_rows(content, unit_system_of(request)),
        "prints": words.print_rows(standing),
        "story": story([("certificate", certificate.number)], newest_first=True),
        "printing": right(request, "paper.issue"),
        "issuing": right(request, "certificate.issue"),
    }
    return render(request, "certificates/detail.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """Say why it holds no more."""
    certificate = _certificate(number)
    here = reverse("certificate", args=[certificate.number])
    form = WithdrawForm(posted(request))
    act = Act(
        title=f"Withdraw {certificate.number}",
        sentence="Every print of it is void from then on. It is never deleted; its page says that and why it is withdrawn.",
        permission="certificate.issue",
        service=withdraw_certificate,
        arguments=lambda: {
            "number": certificate.number,
            "category": form.cleaned_data["category"],
            "reason": form.text("reason"),
        },
        said=lambda outcome: f"Written: {outcome.result.number} is withdrawn. Call back its prints.",
        then=lambda outcome: here,
        back_url=here,
        button="Withdraw it",
        is_stopping=True,
    )
    return act_page(
        request, form, act, facts=[("Certificate", words.about_sentence(content_of(certificate)))]
    )


def _certificate(number: str) -> Certificate:
    found = certificate_numbered(number) if number.isprintable() else None
    if found is None:
        raise Http404("There is no certificate with this number.")
    return found


def _plain(request: HttpRequest, name: str) -> str:
    text = request.GET.get(name, "")[:24].strip()
    return text if text.isprintable() else ""
