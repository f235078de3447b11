"""Pages of the bench calculator. Read only: GET parameters are the whole state."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from regenplant.bench.answers import Answered, answer, refusal_json
from regenplant.bench.answers import as_json as answer_as_json
from regenplant.core.bench.quantity import Quantity
from regenplant.core.bench.registry import quantities
from regenplant.core.errors import DomainError
from regenplant.units import UnitSystem
from regenplant.web.areas.bench.forms import BenchForm, InputField, typed
from regenplant.web.presenters import bench as words
from regenplant.web.requests import unit_system_of

UNITS = "units"
"""The parameter that says in which system a number without a unit was meant."""


@require_safe
def bench(request: HttpRequest) -> HttpResponse:
    """Every quantity by group, or those that hold the words looked for."""
    find = request.GET.get("find", "").replace("\x00", "").strip()[:80]
    context = {"groups": words.groups(find=find), "find": find, "sentence": words.opening(find)}
    return render(request, "bench/bench.html", context)


@require_safe
def quantity(request: HttpRequest, key: str) -> HttpResponse:
    """The form of one quantity, and its answer once something is typed."""
    found = _quantity(key)
    system = _typed_in(request)
    is_asked = any(name != UNITS for name in request.GET)
    url = reverse("bench-understand", args=[found.key])
    form = BenchForm(typed(found, request.GET) if is_asked or not found.inputs else None, quantity=found, system=system, understand_url=url)  # fmt: skip
    answered = _answer(form, found, system) if form.is_bound and form.is_valid() else None
    context = {
        "quantity": found,
        "form": form,
        "typed_in": system,
        "groups": words.groups(current=found),
        "view": words.answer_view(answered, unit_system_of(request)) if answered else None,
        "example_url": f"?{words.query(found.example, system)}" if found.example else "",
        "json_url": f"{reverse('bench-json', args=[found.key])}?{request.GET.urlencode()}",
    }
    return render(request, "bench/quantity.html", context, status=422 if form.errors else 200)


def _answer(form: BenchForm, found: Quantity, system: UnitSystem) -> Answered | None:
    given = {name: form.data[name] for name, read in form.cleaned_data.items() if not read.is_default}
    try:
        return answer(found.key, given, system=system)  # fmt: skip
    except DomainError as refusal:
        form.refuse(refusal.message, refusal.field)
        return None


@require_safe
def answer_json(request: HttpRequest, key: str) -> HttpResponse:
    """The same answer for a program; the parameter ``unit`` asks for another unit."""
    found = _quantity(key)
    asked = {name: value for name, value in request.GET.items() if name not in (UNITS, "unit") and str(value).strip()}  # fmt: skip
    try:
        answered = answer(found.key, asked, unit=request.GET.get("unit", ""), system=_typed_in(request))
    except DomainError as refusal:
        return JsonResponse({"quantity": found.key, "error": refusal_json(refusal)}, status=422)
    return JsonResponse(answer_as_json(answered, unit_system_of(request)), json_dumps_params={"ensure_ascii": False, "indent": 2})  # fmt: skip


@require_safe
def understand(request: HttpRequest, key: str) -> HttpResponse:
    """Fragment under a number field: what is understood so far, in both unit systems."""
    found = _quantity(key)
    form = BenchForm(quantity=found, system=_typed_in(request))
    name = request.GET.get("name", "")
    field = form.fields.get(name)
    if not isinstance(field, InputField):
        return HttpResponse("This input is not known here.", status=400, content_type="text/plain")
    text = request.GET.get("value") or request.GET.get(name, "")
    context = {"sentence": "", "refusal": ""}
    try:
        context["sentence"] = field.understood_as(text[:200])
    except DomainError as refusal:
        context["refusal"] = refusal.message
    return render(request, "components/_understood.html", context)


def _quantity(key: str) -> Quantity:
    found = quantities().get(key)
    if found is None:
        raise Http404
    return found


def _typed_in(request: HttpRequest) -> UnitSystem:
    """The system a number without a unit is read in: the address says it, else the person's own."""
    named: QueryDict = request.GET
    if named.get(UNITS) in ("us", "metric"):
        return "us" if named[UNITS] == "us" else "metric"
    return unit_system_of(request)
