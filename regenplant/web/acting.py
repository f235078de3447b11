"""One way for a view to let a service act: a refusal becomes a message beside the field, nothing typed is lost."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest

from regenplant.audit.use_case import Outcome
from regenplant.core.errors import DomainError
from regenplant.web.requests import by_of


def try_act(
    form: forms.Form, service: Callable[..., Outcome], request: HttpRequest, **arguments: Any
) -> Outcome | None:
    """Call a use case with the acting person; on a refusal put the sentence on the form and return None."""
    try:
        return service(by=by_of(request), **arguments)
    except DomainError as refusal:
        attach(form, refusal)
        return None


def attach(form: forms.Form, refusal: DomainError) -> None:
    """Put a refusal beside the field it names, else on top of the form."""
    field = refusal.field if refusal.field in form.fields else None
    form.add_error(field, forms.ValidationError(refusal.message, code=refusal.code))


def refused_status(form: forms.Form) -> int:
    """The HTTP status of a page that shows a refused form: not allowed, changed meanwhile, or to be corrected."""
    codes = {error.code for errors in form.errors.as_data().values() for error in errors}
    return 403 if "not_allowed" in codes else 409 if "stale_record" in codes else 422


def receipt(request: HttpRequest, sentence: str) -> None:
    """Tell the person what was written; shown once, where the work is, until the next act."""
    messages.success(request, sentence)
