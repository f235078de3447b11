"""From the spool into the record: messages of a while become one packet of their meter; what cannot be taken says why.

A database that is away, or busy, makes them wait. The same message twice, or again after a kill, finds its readings known already.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import DatabaseError, InterfaceError, connection
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.batches.selectors import OpenRinse
from regenplant.core.errors import DomainError, RecordBusy
from regenplant.plant.models import MeterFeed
from regenplant.plant.selectors import open_meter_feeds
from regenplant.web.api import taking
from regenplant.web.api.listening.spool import MOST_TRIES, Message, Spool
from regenplant.web.api.reading import LARGEST_BYTES, NotReadable, readings_of
from regenplant.web.api.schemas import MOST_READINGS, ReadingIn
from regenplant.web.failing import is_away

log = logging.getLogger("regenplant.meters")
MOST_MESSAGES = 2_000
"""Handed on in one go."""
_ENDED = f"The program ended {MOST_TRIES} times while this message was being taken. Look at its log, then take it up again."


@dataclass(slots=True)
class Counts:
    """What one go brought."""

    messages: int = 0
    kept: int = 0
    known_already: int = 0
    refused: int = 0
    is_held_up: bool = False
    """The database was away or busy; the rest waits."""


@dataclass(frozen=True, slots=True)
class _Read:
    """A message whose readings are understood, sorted for the rinse."""

    message: Message
    found: taking.Sorted


def topics() -> frozenset[str]:
    """Where open meter feeds publish. Raises: DatabaseError."""
    return frozenset(open_meter_feeds().exclude(topic="").values_list("topic", flat=True))


def hand_on(spool: Spool) -> Counts:
    """Take what waits, the oldest first. Never raises for a database that is away."""
    counts = Counts()
    waiting = spool.waiting(MOST_MESSAGES)
    for topic, messages in _by_topic(waiting).items():
        try:
            _hand_on_topic(spool, topic, messages, counts)
        except (DatabaseError, InterfaceError) as error:
            if not is_away(error):
                raise
            _let_wait(spool, messages, counts, f"The database does not answer: {type(error).__name__}.")
            connection.close()
            break
        except RecordBusy as refusal:
            _let_wait(spool, messages, counts, refusal.message)
            break
    return counts


def _by_topic(messages: Iterable[Message]) -> dict[str, list[Message]]:
    found: dict[str, list[Message]] = {}
    for message in messages:
        found.setdefault(message.topic, []).append(message)
    return found


def _let_wait(spool: Spool, messages: list[Message], counts: Counts, why: str) -> None:
    counts.is_held_up = True
    spool.put_off([message.id for message in messages if message.tries < MOST_TRIES])
    log.warning("%s %s messages wait in the spool.", why, spool.count_waiting())


def _hand_on_topic(spool: Spool, topic: str, messages: list[Message], counts: Counts) -> None:
    lost = [message for message in messages if message.tries >= MOST_TRIES]
    if lost:
        _refuse(spool, lost, "ended_in_the_middle", _ENDED, counts)
    rest = [message for message in messages if message.tries < MOST_TRIES]
    spool.trying([message.id for message in rest])
    feed = open_meter_feeds().filter(topic=topic).first()
    if feed is None:
        _refuse(spool, rest, "no_feed", f"No open meter feed has the topic {topic}.", counts)
        return
    rinse = taking.rinse_at(feed)
    read = [one for message in rest if (one := _read(spool, feed, rinse, message, counts))]
    if rinse is not None:
        for packet in _packets(read):
            _take(spool, feed, rinse, packet, counts)


def _read(
    spool: Spool, feed: MeterFeed, rinse: OpenRinse | None, message: Message, counts: Counts
) -> _Read | None:
    """The readings of a message that fit; None, and refused with the reason, where none does."""
    if len(message.payload) > LARGEST_BYTES:
        why = f"The message has {len(message.payload)} bytes, at most {LARGEST_BYTES}."
        _refuse(spool, [message], "too_large", why, counts)
        return None
    try:
        readings = readings_of(message.payload).readings
    except NotReadable as refusal:
        told = "; ".join(f"{where}: {what}" for where, what in refusal.flaws)
        _refuse(spool, [message], refusal.code, f"{refusal.message} {told}".strip()[:1000], counts)
        return None
    found = taking.sort_out(readings, feed, rinse, timezone.now())
    if not found.fit:
        why = " ".join(one.why for one in found.not_kept)
        _refuse(spool, [message], found.not_kept[0].code, why, counts)
        return None
    return _Read(message, found)


def _packets(read: list[_Read]) -> Iterable[list[_Read]]:
    """As many messages together as make one packet. One that was tried before goes alone, so that it holds up no other."""
    packet: list[_Read] = []
    size = 0
    for one in read:
        if one.message.tries > 0:
            yield [one]
            continue
        if packet and size + len(one.found.fit) > MOST_READINGS:
            yield packet
            packet, size = [], 0
        packet.append(one)
        size += len(one.found.fit)
    if packet:
        yield packet


def _take(spool: Spool, feed: MeterFeed, rinse: OpenRinse, packet: list[_Read], counts: Counts) -> None:
    once: dict[datetime, ReadingIn] = {}
    for one in packet:
        for reading in one.found.fit:
            once.setdefault(reading.at, reading)
    sent = sum(len(one.found.fit) + one.found.again for one in packet)
    messages = [one.message for one in packet]
    try:
        taken = taking.take(
            by=By(feed.account, timezone.now(), terminal=f"{feed.code}, MQTT {feed.topic}"[:80]),
            feed=feed,
            rinse=rinse,
            readings=[once[at] for at in sorted(once)],
            source="mqtt",
            name=feed.code,
            received_text="\n".join(message.payload.decode("utf-8") for message in messages),
        )
    except RecordBusy:
        raise
    except DomainError as refusal:
        if len(packet) > 1:  # one of them may be at fault, and must not take the others with it
            for one in packet:
                _take(spool, feed, rinse, [one], counts)
            return
        _refuse(spool, messages, refusal.code, refusal.message, counts)
        return
    spool.taken([message.id for message in messages])
    counts.messages += len(messages)
    counts.kept += taken.kept
    counts.known_already += taken.known_already + sent - len(once)
    for rest in (*taken.not_kept, *(rest for one in packet for rest in one.found.not_kept)):
        log.warning("%s: %s readings were not kept. %s", feed.code, rest.count, rest.why)


def _refuse(spool: Spool, messages: list[Message], code: str, why: str, counts: Counts) -> None:
    spool.refuse([message.id for message in messages], code, why, timezone.now())
    counts.messages += len(messages)
    counts.refused += len(messages)
