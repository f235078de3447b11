"""One way for a view to let a service act: a refusal becomes a message beside the field, nothing typed is lost."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.utils import timezone

from regenplant.audit.selectors import acts_that_wrote
from regenplant.audit.use_case import Outcome
from regenplant.core.errors import DomainError, NotAllowed, StaleRecord
from regenplant.web import active_units
from regenplant.web.house_form import HouseForm
from regenplant.web.presenters.stale import stale_view
from regenplant.web.requests import by_of, unit_system_of


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
    """Put a refusal beside the field it names, else on top of the form; a stale page also shows what changed since."""
    if isinstance(refusal, StaleRecord) and isinstance(form, HouseForm):
        show_difference(form, refusal)
    field = refusal.field if refusal.field in form.fields else None
    is_kind = isinstance(refusal, (StaleRecord, NotAllowed))  # the status of the page goes by these two
    code = type(refusal).code if is_kind else refusal.code
    form.add_error(field, forms.ValidationError(refusal.message, code=code))


def show_difference(form: HouseForm, refusal: StaleRecord) -> None:
    """Put on the form what changed since its page was shown, and let it carry the present state where it may be sent again."""
    table, key, present = (refusal.context.get(name) for name in ("table", "key", "present"))
    seen = form.seen_act
    lines = acts_that_wrote(table, key, seen) if table and key and seen is not None else []
    may_overwrite = form.may_overwrite and isinstance(present, int)
    form.stale = stale_view(lines, form.typed_words, may_overwrite=may_overwrite)
    if may_overwrite:
        form.take_state(int(present))  # type: ignore[arg-type]


def refused_status(form: forms.Form) -> int:
    """The HTTP status of a page that shows a refused form: not allowed, changed meanwhile, or to be corrected."""
    codes = {error.code for errors in form.errors.as_data().values() for error in errors}
    return 403 if "not_allowed" in codes else 409 if "stale_record" in codes else 422


def receipt(request: HttpRequest, sentence: str) -> None:
    """Tell the person what was written; shown once, where the work is, until the next act."""
    messages.success(request, sentence)


@contextmanager
def active_words(request: HttpRequest) -> Iterator[None]:
    """The plant's time zone and the person's units, for a page that is still written after the middlewares are done."""
    zone = timezone.get_current_timezone() if timezone.get_current_timezone_name() != "UTC" else None
    with timezone.override(zone), active_units.shown_in(unit_system_of(request)):
        yield
