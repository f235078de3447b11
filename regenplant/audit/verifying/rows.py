"""The rows of the record against the last act that wrote them: altered, removed, or there without an act."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator

from django.db import connection

from regenplant.audit import sealed
from regenplant.audit.models import RowShape
from regenplant.audit.naming import Writer, name_of, what_is, writers_of
from regenplant.audit.sealed import Sealed, Shape
from regenplant.audit.seals import parts_of, rows_in
from regenplant.audit.verifying.registry import TICK, Finding, Look, Said, Tick
from regenplant.audit.verifying.replay import Replay

MOST_NAMED = 200
"""Rows of one table that are named one by one; of more, the number is said."""
Place = tuple[str, str]


def check_rows(look: Look) -> Iterator[Said]:
    """Every row of every sealed table."""
    if not look.replay.is_read:
        yield Finding(
            "row", "No row could be held against the acts, because the acts could not be read to their end."
        )
        return
    differences = Differences()
    yield from compare_all(look, differences)
    yield from differences.shapes
    yield from _differing(differences, look.replay)
    yield from _foreign_rows(look.replay)
    if differences.unsealed:
        yield Finding(
            "row",
            f"{_counted(len(differences.unsealed))} from before rows were sealed can be held against no act. Seal them: "
            "manage.py seal_rows --reason.",
        )


class Differences:
    """What stands otherwise than the acts left it."""

    def __init__(self) -> None:
        self.altered: list[Place] = []
        self.appeared: list[Place] = []
        self.removed: list[Place] = []
        self.unsealed: list[Place] = []
        self.shapes: list[Finding] = []
        self.lost: list[str] = []
        """Names ("table@shape") under which rows were sealed with columns that are gone."""
        self.was: dict[Place, str] = {}
        """Digest that the last act left, by row that differs."""


def rows_that_differ(look: Look) -> Differences:
    """Compare all rows with what the replay of the acts says."""
    found = Differences()
    for _ in compare_all(look, found):
        pass
    return found


def compare_all(look: Look, found: Differences) -> Iterator[Tick]:
    """The same, telling how far it is; ``look.replay`` must have been read to its end."""
    if not look.replay.is_read:
        raise RuntimeError("The acts are read before the rows.")
    known = sealed.tables()
    shapes = _shapes(look.replay, found)
    look.total = sum(1 for rows in look.replay.last.values() for digest in rows.values() if digest)
    for table, names in look.replay.shapes.items():
        if table not in known and any(look.replay.last[name] for name in names):
            found.shapes.append(
                Finding(
                    "row",
                    f"Rows of {table} were sealed; this program does not seal that table.",
                    is_notice=True,
                )
            )
    for own in known.values():
        yield from _compare(own, shapes, look, found)


def _shapes(replay: Replay, found: Differences) -> dict[str, Shape]:
    """The shapes that the acts name, by their ids, each held against the digest it is named by."""
    own = {table.shape.id: table.shape for table in sealed.tables().values()}
    for key, content in RowShape.objects.values_list("id", "content"):
        shape = _shape(content)
        if shape is None or shape.id != key:
            found.shapes.append(Finding("row", f"The shape {key} of sealed rows was altered."))
        else:
            own.setdefault(key, shape)
    for name in replay.last:
        table, key = parts_of(name)
        if key not in own and any(replay.last[name].values()):
            found.shapes.append(
                Finding(
                    "row",
                    f"The shape {key}, in which rows of {table} were sealed, is missing in the database.",
                )
            )
    return own


def _shape(content: str) -> Shape | None:
    try:
        plain = json.loads(content)
        return Shape(plain["table"], tuple((column, kind) for column, kind in plain["columns"]))
    except (ValueError, KeyError, TypeError):
        return None


def _compare(table: Sealed, shapes: dict[str, Shape], look: Look, found: Differences) -> Iterator[Tick]:
    names = [name for name in look.replay.shapes.get(table.table, []) if parts_of(name)[1] in shapes]
    if table.name not in names:
        names.append(table.name)
    left = {name: dict(look.replay.last.get(name, {})) for name in names}
    everywhere = {key for name in names for key in left[name]} if len(names) > 1 else None
    columns = _columns(table.table)
    for name in names:
        shape, expected = shapes[parts_of(name)[1]], left[name]
        is_current = name == table.name
        if gone := [column for column, _ in shape.columns if column not in columns]:
            if any(expected.values()):
                found.lost.append(name)
                found.shapes.append(_lost(table, gone, sum(1 for digest in expected.values() if digest)))
            left[name] = {}
            continue
        for key, digest in rows_in(shape, table.key):
            was = expected.pop(key, None)
            if is_current and look.saw():
                yield TICK
            if was is None:
                if is_current and (everywhere is None or key not in everywhere):
                    (found.appeared if look.replay.is_based else found.unsealed).append((table.table, key))
            elif was != digest:
                (found.altered if was else found.appeared).append((table.table, key))
                found.was[table.table, key] = was
    for name in names:
        for key, was in left[name].items():
            if was:
                found.removed.append((table.table, key))
                found.was[table.table, key] = was


def _columns(table: str) -> set[str]:
    with connection.cursor() as cursor:
        return {column.name for column in connection.introspection.get_table_description(cursor, table)}


def _lost(table: Sealed, gone: list[str], number: int) -> Finding:
    return Finding(
        "row",
        f"{_counted(number)} of {table.table} were sealed with {', '.join(gone)}, which the table no longer has. Seal them anew: "
        "manage.py seal_rows --reason.",
    )


# --- in words -----------------------------------------------------------------------------------------------------------
def _differing(found: Differences, replay: Replay) -> Iterator[Finding]:
    writers = writers_of([*found.altered, *found.removed]) if found.altered or found.removed else {}
    yield from _named(
        found.altered,
        lambda place: (
            f"The {name_of(*place)} is not as {_act(writers.get(place))} left it: it was altered without an act."
        ),
        "were altered without an act",
    )
    yield from _named(
        found.removed,
        lambda place: (
            f"The {what_is(place[0])} {_lost_name(writers.get(place), place)} was removed without an act; "
            f"{_act(writers.get(place))} wrote it last."
        ),
        "were removed without an act",
    )
    yield from _named(
        found.appeared,
        lambda place: f"The {name_of(*place)} stands in the record and no act wrote it.",
        "stand in the record and no act wrote them",
    )


def _foreign_rows(replay: Replay) -> Iterator[Finding]:
    for foreign in replay.foreign[:MOST_NAMED]:
        how = "altered" if foreign.had_seal else "added"
        accepted = replay.accepted.get(foreign.place)
        yield Finding(
            "row",
            f"The {name_of(foreign.table, foreign.key)} was {how} without an act before event {foreign.number} wrote it"
            + (f"; event {accepted} took it over as it stood." if accepted else "."),
            is_notice=bool(accepted),
        )
    if len(replay.foreign) > MOST_NAMED:
        yield Finding(
            "row", f"{_counted(len(replay.foreign) - MOST_NAMED)} more were written without an act."
        )


def _named(places: list[Place], sentence: Callable[[Place], str], rest: str) -> Iterator[Finding]:
    for table in dict.fromkeys(table for table, _ in places):
        own = [place for place in places if place[0] == table]
        for place in own[:MOST_NAMED]:
            yield Finding("row", sentence(place))
        if len(own) > MOST_NAMED:
            yield Finding("row", f"{_counted(len(own) - MOST_NAMED)} more of {table} {rest}.")


def _act(writer: Writer | None) -> str:
    return f"event {writer.number} ({writer.label}, {writer.actor}, {writer.at})" if writer else "an act"


def _lost_name(writer: Writer | None, place: Place) -> str:
    return f"{place[1]} of {writer.label}" if writer and writer.label else place[1]


def _counted(number: int) -> str:
    return "One row" if number == 1 else f"{number} rows"
