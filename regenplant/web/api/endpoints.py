"""The interface for programs over HTTP, described by OpenAPI at ``/api/openapi.json``."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.utils import timezone
from ninja import NinjaAPI, Status
from ninja.errors import AuthenticationError, HttpError, ValidationError

from regenplant.audit.by import By
from regenplant.batches.selectors import batch_numbered
from regenplant.core.errors import DomainError, NotAllowed, RecordBusy
from regenplant.plant.models import MeterFeed
from regenplant.web.api import taking
from regenplant.web.api.reading import ExactParser, NotReadable, not_readable, refuse_units
from regenplant.web.api.schemas import ErrorOut, NotKeptOut, ReadingsIn, RinseOut, TakenOut
from regenplant.web.api.standing import rinse_out
from regenplant.web.api.tokens import AccountClosed, FeedToken, SignedIn, TooManyTries, WrongToken
from regenplant.web.terminals import address_of

RETRY_AFTER_S = 60
WRONG_TOKEN = (
    "Send a token as “Authorization: Bearer …”; it is shown when a meter feed is registered under Set-up."
)

api = NinjaAPI(
    title="regenplant, interface for meters and programs",
    version="1",
    description=(
        "In-line meters send readings of a rinse-down; programs ask how a rinse stands. A meter informs: nothing here opens a "
        "valve, ends a step or releases a batch. Every refusal has a code for programs and a sentence for people."
    ),
    docs_url=None,
    openapi_url="/openapi.json",
    urls_namespace="api",
    parser=ExactParser(),
)

_REFUSALS: dict[int, Any] = {
    401: ErrorOut,
    403: ErrorOut,
    429: ErrorOut,
    503: ErrorOut,
}


@api.post(
    "/readings/",
    auth=FeedToken(),
    response={200: TakenOut, 400: ErrorOut, 409: ErrorOut, 413: ErrorOut, 422: ErrorOut, **_REFUSALS},
    operation_id="send_readings",
    url_name="readings",
    summary="Send readings of one meter",
)
def send_readings(request: HttpRequest, message: ReadingsIn) -> Status[TakenOut]:
    """Readings of the meter this token belongs to, for the rinse that runs where it sits.

    Safe to send again: a reading of the same meter at the same time is counted once, whatever the answer to the first call was.
    The answer says how many were kept, how many were known already, and how many were not kept and why; what is not kept need
    not be sent again. A call that cannot be read is refused whole (422), and nothing of it is written. 409: a rule about the
    record says no, nothing is written. 503: try the same call again after the time in Retry-After.
    """
    feed: MeterFeed = request.auth  # type: ignore[attr-defined]
    refuse_units(message.readings)
    now = timezone.now()
    rinse = taking.rinse_at(feed)
    found = taking.sort_out(message.readings, feed, rinse, now)
    taken = taking.Taken(None, 0, 0, ())
    if rinse is not None and found.fit:
        taken = taking.take(
            by=By(feed.account, now, terminal=f"{feed.code}, {address_of(request)}"[:80]),
            feed=feed,
            rinse=rinse,
            readings=found.fit,
            source="http",
            name=feed.code,
            received_text=request.body.decode("utf-8"),
        )
    return Status(
        200,
        TakenOut(
            batch=taken.batch.number if taken.batch else None,
            kept=taken.kept,
            known_already=taken.known_already + found.again,
            not_kept=[_not_kept(one) for one in (*found.not_kept, *taken.not_kept)],
            message_id=message.message_id,
        ),
    )


def _not_kept(one: taking.NotKept) -> NotKeptOut:
    return NotKeptOut(code=one.code, why=one.why, count=one.count, first_at=one.first_at, last_at=one.last_at)


@api.get(
    "/rinses/{batch}/",
    auth=[FeedToken(), SignedIn()],
    response={200: RinseOut, 404: ErrorOut, **_REFUSALS},
    operation_id="rinse_standing",
    url_name="rinse",
    summary="How the rinse of a batch stands",
)
def rinse_standing(request: HttpRequest, batch: str) -> Status[RinseOut]:
    """The newest reading that counts, the end point, and the forecast, for a meter of that vessel or a person who is signed in.

    It informs. Whether a rinse ended well is judged by people, on the page of the batch.
    """
    if "\x00" in batch:
        raise Http404("No number holds such a character.")
    try:
        found = batch_numbered(batch)
    except DomainError as refusal:
        raise Http404(refusal.message) from refusal
    asking = request.auth  # type: ignore[attr-defined]
    if isinstance(asking, MeterFeed) and asking.vessel_id != found.vessel_id:
        raise NotAllowed(
            f"Meter feed {asking.code} sits at vessel {asking.vessel.code}; batch {found.number} is in another."
        )
    return Status(200, rinse_out(found))


# --- refusals -----------------------------------------------------------------------------------------------------------
def _refused(
    request: HttpRequest, status: int, code: str, message: str, flaws: Iterable[tuple[str, str]] = ()
) -> HttpResponse:
    told = [{"where": where, "what": what} for where, what in flaws]
    answer = api.create_response(
        request, {"error": {"code": code, "message": message, "flaws": told}}, status=status
    )
    if status == 401:
        answer["WWW-Authenticate"] = 'Bearer realm="regenplant"'
    if status in (429, 503):
        answer["Retry-After"] = str(RETRY_AFTER_S)
    return answer


_STATUS: tuple[tuple[type[DomainError], int], ...] = (
    (WrongToken, 401),
    (AccountClosed, 403),
    (NotAllowed, 403),
    (TooManyTries, 429),
    (RecordBusy, 503),
    (NotReadable, 422),
)


@api.exception_handler(DomainError)
def _domain_error(request: HttpRequest, refusal: DomainError) -> HttpResponse:
    status = next((status for kind, status in _STATUS if isinstance(refusal, kind)), 409)
    return _refused(request, status, refusal.code, refusal.message, getattr(refusal, "flaws", ()))


@api.exception_handler(AuthenticationError)
def _no_token(request: HttpRequest, error: AuthenticationError) -> HttpResponse:
    return _refused(request, 401, "no_token", WRONG_TOKEN)


@api.exception_handler(ValidationError)
def _not_valid(request: HttpRequest, error: ValidationError) -> HttpResponse:
    return _domain_error(request, not_readable(error.errors))


@api.exception_handler(Http404)
def _not_found(request: HttpRequest, error: Http404) -> HttpResponse:
    return _refused(request, 404, "not_found", str(error))


@api.exception_handler(HttpError)
def _bad_request(request: HttpRequest, error: HttpError) -> HttpResponse:
    message = "This is no JSON text in UTF-8." if error.status_code == 400 else str(error)
    return _refused(request, error.status_code, "not_json", message)
