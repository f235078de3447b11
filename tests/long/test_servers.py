"""Servers that are killed, crowds, and writers at the chain: short here, long behind ``python -m tests.long``.

On SQLite, or on PostgreSQL when the tests run there (``REGENPLANT_TEST_DATABASE=postgresql``); each run has a database of its own.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from statistics import median
from typing import Any

import pytest
from django.conf import settings

from tests.long import crowding, killing
from tests.long.figures import keep
from tests.long.server import Plant

DATABASE = "sqlite" if settings.DATABASES["default"]["ENGINE"].endswith("sqlite3") else "postgresql"
SERVERS = {"sqlite": (1, 8), "postgresql": (2, 16)}
"""Server processes and threads in each: one process beside a file, several beside a database server."""


@contextmanager
def plant_with(users: int) -> Iterator[tuple[Plant, dict[str, Any]]]:
    plant = Plant(DATABASE)
    try:
        yield plant, plant.call("tests.long.stage:set_up", users=users)
    finally:
        plant.close()


@pytest.fixture(scope="module")
def small() -> Iterator[tuple[Plant, dict[str, Any]]]:
    """One plant for the short runs of this module; they leave it as a plant that goes on."""
    with plant_with(8) as found:
        yield found


# --- kill -9 ----------------------------------------------------------------------------------------------------------
def kill(plant: Plant, stage: dict[str, Any], kills: int, seed: int) -> killing.Result:
    result = killing.run(plant, stage, kills, seed=seed)
    assert result.wrong == [], "\n".join(result.wrong[:20])
    assert sum(result.kills.values()) == kills and result.acknowledged > kills
    return result


def test_a_killed_server_loses_nothing_and_leaves_nothing_half_done(small):
    kill(*small, kills=5, seed=1)


@pytest.mark.long
def test_a_server_killed_many_times_loses_nothing():
    with plant_with(0) as (plant, stage):
        result = kill(plant, stage, kills=200, seed=2026)
    assert result.cut_off >= 200
    keep(
        "kill", DATABASE,
        **{f"killed: {what}": count for what, count in sorted(result.kills.items())},
        acknowledged_acts_all_found_once=result.acknowledged, acts_cut_off=result.cut_off,
        of_these_done_whole=result.cut_off_and_done, refused=result.refused, events_in_the_chain=result.events,
        **{
            "server back, first act acknowledged, median [s]": median(result.back_after_s),
            "server back, first act acknowledged, longest [s]": max(result.back_after_s),
            "verify_records at the end [s]": result.verify_s,
        },
    )  # fmt: skip


# --- a crowd ----------------------------------------------------------------------------------------------------------
def crowd(plant: Plant, stage: dict[str, Any], users: int, seconds: float, seed: int) -> crowding.Result:
    servers, threads = SERVERS[DATABASE]
    result = crowding.run(
        plant, stage, users=users, seconds=seconds, servers=servers, threads=threads, seed=seed
    )
    assert result.wrong == [], "\n".join(result.wrong[:20])
    assert result.done["start"] == 1 and sum(result.refused.values()) > 0
    return result


@pytest.mark.requirement("ER-22")
def test_a_small_crowd_at_the_same_things_loses_no_update_and_sees_no_crash(small):
    crowd(*small, users=8, seconds=4, seed=1)


@pytest.mark.long
def test_a_large_crowd_at_the_same_things():
    users, seconds = (50, 150.0) if DATABASE == "postgresql" else (12, 60.0)
    with plant_with(users) as (plant, stage):
        result = crowd(plant, stage, users, seconds, seed=2)
    waits = sorted(result.waits)
    keep(
        "crowd", DATABASE,
        people_at_once=users, acts_done=sum(result.done.values()), pages_looked_at=result.pages,
        **{
            **{f"refused with {status}, each with its sentence": n for status, n in sorted(result.refused.items())},
            "acts that the page no longer offered": result.not_offered,
            "acts done per second": sum(result.done.values()) / result.seconds,
            "answers per second": (len(waits) + result.pages) / result.seconds,
            "wait for an answer, median [s]": median(waits),
            "wait for an answer, 95 % [s]": waits[int(0.95 * (len(waits) - 1))],
            "wait for an answer, longest [s]": waits[-1],
            "server errors": 0,
        },
    )  # fmt: skip


# --- writers at the chain ---------------------------------------------------------------------------------------------
def write(plant: Plant, stage: dict[str, Any], writers: int, acts: int) -> tuple[float, float, int]:
    """``writers`` threads in up to four processes, ``acts`` each; acts per second, longest wait [s], acts."""
    processes = min(writers, 4)
    crews = [
        {
            "person": stage["supervisor"], "place": stage["place"], "threads": writers // processes, "acts": acts,
            "offset": index * (writers // processes),
        }
        for index in range(processes)
    ]  # fmt: skip
    before = plant.call("tests.long.checks:forks")
    told = plant.together("tests.long.checks:write", crews)
    after = plant.call("tests.long.checks:forks")
    done = sum(one["acts"] for one in told)
    assert done == writers * acts
    assert (after["forks"], after["breaks"]) == (0, [])
    assert after["events"] - before["events"] == done
    seconds = max(one["seconds"] for one in told)
    return done / seconds, max(max(one["waits"]) for one in told), done


@pytest.mark.requirement("ER-09")
def test_four_writers_at_once_never_fork_the_chain(small):
    write(*small, writers=4, acts=5)


@pytest.mark.long
def test_many_writers_never_fork_the_chain():
    with plant_with(0) as (plant, stage):
        for writers in (1, 8, 32):
            rate, longest, done = write(plant, stage, writers, acts=max(400 // writers, 25))
            keep(
                "chain", DATABASE,
                **{
                    f"{writers} writers: acts": done, f"{writers} writers: acts per second": rate,
                    f"{writers} writers: longest wait for a turn [s]": longest,
                },
            )  # fmt: skip
        verified = plant.call("tests.long.checks:verify")
    assert verified["wrong"] == ""
