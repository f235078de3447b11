"""Acts on meter feeds: by whom and where a meter was registered, and the token it sends with."""

from __future__ import annotations

import re
import secrets
from dataclasses import dataclass

from regenplant.audit.by import By
from regenplant.audit.records import code_of, refuse_known, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.people.services import add_device, set_device_open
from regenplant.plant.models import Instrument, MeterFeed, Vessel
from regenplant.plant.tokens import digest_of

TOKEN_BYTES = 32
"""Chance in a token: 256 bits, so that nobody guesses one."""
LONGEST_TOPIC = 120
_TOPIC = re.compile(r"[A-Za-z0-9_.\-]+(?:/[A-Za-z0-9_.\-]+)*")


@dataclass(frozen=True, slots=True)
class MeterFeedSettings:
    """A feed as it is registered. ``topic`` "" means that it sends by HTTP alone."""

    code: str
    name: str
    instrument_id: int
    vessel_id: int
    topic: str = ""


@dataclass(frozen=True, slots=True)
class NewToken:
    """A feed with its new token; the token is nowhere else, and is shown once."""

    feed: MeterFeed
    token: str


@use_case("meter_feed.registered", permission="plant.edit")
def register_meter_feed(*, by: By, feed: MeterFeedSettings) -> Outcome:
    """Register the feed of one in-line meter, with a device account of its own. ``result`` is a ``NewToken``.

    Raises: RecordRefused for a code or topic that is or was used, an instrument that is no conductivity cell in use or has a
    feed already, a vessel that is out of use.
    """
    code = code_of(feed.code, "The feed’s code", longest=16)
    refuse_known(MeterFeed, code, "Meter feed")
    name = words_of(feed.name, "The feed’s name", field="name", most=80, least=2)
    instrument, vessel = _cell(feed.instrument_id), _vessel(feed.vessel_id)
    topic = _topic(feed.topic)
    account = add_device(by=by, username=f"meter-{code.lower()}", full_name=f"Meter {name}").result
    token = secrets.token_urlsafe(TOKEN_BYTES)
    record = MeterFeed.objects.create(
        code=code,
        name=name,
        instrument=instrument,
        vessel=vessel,
        account=account,
        topic=topic,
        token_digest=digest_of(token),
        token_made_at=by.at,
        registered_by=by.user,
        registered_at=by.at,
    )
    return Outcome(
        subject=_subject(record),
        after={"name": name, "instrument": instrument.code, "vessel": vessel.code, "topic": topic},
        related=(("instrument", str(instrument.pk)), ("vessel", str(vessel.pk))),
        result=NewToken(record, token),
    )


@use_case("meter_feed.changed", permission="plant.edit")
def change_meter_feed(
    *, by: By, feed_id: int, name: str, vessel_id: int, topic: str, version: int | None = None
) -> Outcome:
    """Another name, vessel or topic. Another instrument is another feed: what was sent stays under the account it came from.

    Raises: RecordRefused, StaleRecord.
    """
    record = _open(feed_id)
    words = words_of(name, "The feed’s name", field="name", most=80, least=2)
    values = {"name": words, "vessel": _vessel(vessel_id), "topic": _topic(topic, own=record)}
    before, after = write_changed(record, values, version=version, label=f"Meter feed {record.code}")
    return Outcome(subject=_subject(record), before=before, after=after, result=record)


@use_case("meter_feed.token_renewed", permission="plant.edit")
def renew_token(*, by: By, feed_id: int, reason: str, version: int | None = None) -> Outcome:
    """A new token; the old one counts for nothing from this moment. ``result`` is a ``NewToken``.

    Raises: RecordRefused, StaleRecord.
    """
    record = _open(feed_id)
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    values = {"token_digest": digest_of(token), "token_made_at": by.at}
    write_changed(record, values, version=version, label=f"Meter feed {record.code}")
    return Outcome(subject=_subject(record), reason=words, result=NewToken(record, token))


@use_case("meter_feed.token_revoked", permission="plant.edit")
def revoke_token(*, by: By, feed_id: int, reason: str, version: int | None = None) -> Outcome:
    """Take the token away and give no other; the topic stays as it is. Raises: RecordRefused, StaleRecord."""
    record = _open(feed_id)
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    if record.token_digest is None:
        raise RecordRefused(
            f"Meter feed {record.code} has no token, so there is none to revoke.", code="nothing_changed"
        )
    write_changed(record, {"token_digest": None}, version=version, label=f"Meter feed {record.code}")
    return Outcome(subject=_subject(record), reason=words, result=record)


@use_case("meter_feed.closed", permission="plant.edit")
def close_meter_feed(*, by: By, feed_id: int, reason: str, version: int | None = None) -> Outcome:
    """The feed sends no more, by token or by topic; its account is closed, and all it wrote stays.

    Raises: RecordRefused, StaleRecord.
    """
    record = _open(feed_id)
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    values = {"is_active": False, "token_digest": None}
    write_changed(record, values, version=version, label=f"Meter feed {record.code}")
    if record.account.is_active:
        set_device_open(by=by, person_id=record.account_id, is_open=False, reason=words)
    return Outcome(
        subject=_subject(record),
        before={"is_active": True},
        after={"is_active": False},
        reason=words,
        result=record,
    )


@use_case("meter_feed.opened", permission="plant.edit")
def open_meter_feed(*, by: By, feed_id: int, reason: str, version: int | None = None) -> Outcome:
    """Let a closed feed send again, with a new token. ``result`` is a ``NewToken``. Raises: RecordRefused, StaleRecord."""
    record = _known(feed_id)
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    if record.is_active:
        raise RecordRefused(f"Meter feed {record.code} is open already.", code="nothing_changed")
    _cell(record.instrument_id)
    token = secrets.token_urlsafe(TOKEN_BYTES)
    values = {"is_active": True, "token_digest": digest_of(token), "token_made_at": by.at}
    write_changed(record, values, version=version, label=f"Meter feed {record.code}")
    if not record.account.is_active:
        set_device_open(by=by, person_id=record.account_id, is_open=True, reason=words)
    return Outcome(
        subject=_subject(record),
        before={"is_active": False},
        after={"is_active": True},
        reason=words,
        result=NewToken(record, token),
    )


def _subject(feed: MeterFeed) -> tuple[str, str, str]:
    return ("meter_feed", str(feed.pk), feed.code)


def _known(feed_id: int) -> MeterFeed:
    record = MeterFeed.objects.select_for_update().filter(pk=feed_id).first()
    if record is None:
        raise RecordRefused("This meter feed is not known here.", code="unknown")
    return record


def _open(feed_id: int) -> MeterFeed:
    record = _known(feed_id)
    if not record.is_active:
        raise RecordRefused(
            f"Meter feed {record.code} is closed. Open it again first.", code="closed_meter_feed"
        )
    return record


def _cell(instrument_id: int) -> Instrument:
    """The conductivity cell in use that has no open feed. Raises: RecordRefused."""
    found = Instrument.objects.filter(pk=instrument_id).first()
    if found is None or found.kind != Instrument.Kind.CONDUCTIVITY or not found.is_active:
        raise RecordRefused(
            "Choose a conductivity or resistivity cell that is in use. Only such a cell sends rinse readings.",
            field="instrument",
            code="no_cell",
        )
    taken = MeterFeed.objects.filter(instrument=found, is_active=True).first()
    if taken is not None:
        raise RecordRefused(
            f"{found.code} sends by meter feed {taken.code} already. Close that one first, or choose another cell.",
            field="instrument",
            code="instrument_taken",
        )
    return found


def _vessel(vessel_id: int) -> Vessel:
    found = Vessel.objects.filter(pk=vessel_id).first()
    if found is None or not found.is_active:
        raise RecordRefused("Choose a vessel that is in use.", field="vessel", code="no_vessel")
    return found


def _topic(text: str, *, own: MeterFeed | None = None) -> str:
    """An MQTT topic of plain parts. Raises: RecordRefused for a wildcard, and for a topic another feed has."""
    topic = text.strip()
    if not topic:
        return ""
    if len(topic) > LONGEST_TOPIC:
        raise RecordRefused(
            f"The topic has {len(topic)} characters, at most {LONGEST_TOPIC}.", field="topic", code="too_long"
        )
    if not _TOPIC.fullmatch(topic):
        raise RecordRefused(
            f"“{topic}” is no topic for one meter. Write parts of letters, digits, dot, hyphen and underscore with / between "
            "them, such as rinse/c1/outlet; no wildcard.",
            field="topic",
            code="no_topic",
        )
    others = MeterFeed.objects.filter(topic=topic)
    taken = (others.exclude(pk=own.pk) if own else others).first()
    if taken is not None:
        raise RecordRefused(
            f"Meter feed {taken.code} has the topic {topic}. Each meter has its own; choose another.",
            field="topic",
            code="topic_taken",
        )
    return topic


def _changed(subject: str, stored: dict[str, object]) -> str:
    before, after = stored.get("before") or {}, stored.get("after") or {}
    assert isinstance(before, dict) and isinstance(after, dict)
    parts = [f"{name} from {before.get(name) or 'none'} to {after[name] or 'none'}" for name in after]
    return f"Meter feed {subject} was changed: {'; '.join(parts) or 'nothing'}"


say("meter_feed.registered", "Meter feed {subject} was registered: {instrument} at vessel {vessel}")
say("meter_feed.changed", _changed)
say("meter_feed.token_renewed", "Meter feed {subject} was given a new token ({reason})")
say("meter_feed.token_revoked", "The token of meter feed {subject} was revoked ({reason})")
say("meter_feed.closed", "Meter feed {subject} was closed ({reason})")
say("meter_feed.opened", "Meter feed {subject} was opened again, with a new token ({reason})")
