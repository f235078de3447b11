"""The digest of a row: one canonical text, the same on both databases, worked out here with nothing but the standard library."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import pytest
from django.apps import apps
from django.db import connection
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.audit import sealed, seals
from regenplant.audit.digests import digester
from regenplant.audit.sealed import Shape
from regenplant.plant.models import Instrument
from tests.factories import START

WORDS = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
SHAPE = Shape(
    "things", (("amount", "float"), ("is_on", "bool"), ("more", "json"), ("name", "text"), ("number", "int"))
)


def by_hand(shape: Shape, key: str, values: list[Any]) -> str:
    plain = {
        "table": shape.table,
        "key": key,
        "columns": dict(zip([c for c, _ in shape.columns], values, strict=True)),
    }
    text = json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    amount=st.none() | st.floats(allow_nan=False, allow_infinity=False),
    is_on=st.none() | st.booleans(),
    more=st.recursive(st.none() | st.integers() | WORDS, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(WORDS, inner, max_size=3)),
    name=st.none() | WORDS,
    number=st.none() | st.integers(-(2**63), 2**63),
    key=WORDS,
)  # fmt: skip
def test_a_digest_is_that_of_the_canonical_text(
    amount: Any, is_on: Any, more: Any, name: Any, number: Any, key: str
) -> None:
    expected = by_hand(SHAPE, key, [amount + 0.0 if amount is not None else None, is_on, more, name, number])
    on_sqlite = [amount, None if is_on is None else int(is_on), json.dumps(more), name, number]
    assert digester(SHAPE, "sqlite")(key, on_sqlite) == expected
    assert (
        digester(SHAPE, "postgresql")(key, json.loads(json.dumps([amount, is_on, more, name, number])))
        == expected
    )


@pytest.mark.parametrize(
    ("kind", "first", "second"),
    [
        ("moment", "2026-03-02 08:00:00", "2026-03-02T08:00:00+00:00"),
        ("moment", "2026-03-02 08:00:00.120000", "2026-03-02T08:00:00.12+00:00"),
        ("float", 0.0, -0.0),
        ("float", 5.0, 5),
        ("uuid", "0123456789abcdef0123456789abcdef", "01234567-89ab-cdef-0123-456789abcdef"),
        ("bytes", b"\x01\xff", "\\x01ff"),
        ("bool", 1, True),
    ],
)
def test_what_the_databases_write_differently_is_the_same_value(kind: str, first: Any, second: Any) -> None:
    shape = Shape("things", (("value", kind),))
    assert digester(shape, "sqlite")("1", [first]) == digester(shape, "postgresql")("1", [second])


@pytest.mark.parametrize(
    ("kind", "value", "other"),
    [
        ("float", 0.1, 0.1 + 2**-56), ("int", 1, "1"), ("text", "", None), ("bool", 1, 7), ("bool", 0, None),
        ("moment", "2026-03-02 08:00:00", "2026-03-02 08:00:00.000001"), ("moment", "2026-03-02 08:00:00", "yesterday"),
        ("json", '{"a":1}', "{broken"), ("day", "2026-03-02", "2026-03-03"), ("float", 1.0, "a word"),
    ],
)  # fmt: skip
def test_any_other_value_is_another_digest_even_one_the_column_cannot_hold(
    kind: str, value: Any, other: Any
) -> None:
    digest = digester(Shape("things", (("value", kind),)), "sqlite")
    assert digest("1", [value]) != digest("1", [other])


def test_table_and_key_are_covered_too() -> None:
    columns = (("value", "int"),)
    assert (
        len(
            {
                digester(Shape(table, columns), "sqlite")(key, [1])
                for table in ("a", "b")
                for key in ("1", "2")
            }
        )
        == 4
    )


def test_a_stored_row_has_the_digest_of_what_people_would_write_down(db: None) -> None:
    """The whole text of one row, written out by hand."""
    Instrument.objects.create(
        pk=7, code="CELL", name="Cell “one”", kind="conductivity", cell_constant_per_cm=0.1, compensation="none", uncertainty_frac=0.01,
        calibrated_on=START.date(), calibration_due_on=None,
    )  # fmt: skip
    text = (
        '{"columns":{"calibrated_on":"2026-03-02","calibration_due_on":null,"cell_constant_per_cm":0.1,"code":"CELL",'
        '"compensation":"none","id":7,"interval_days":null,"is_active":true,"kind":"conductivity","name":"Cell “one”",'
        '"out_of_service_at":null,"uncertainty_frac":0.01,"version":1},'
        '"key":"7","table":"plant_instrument"}'
    )
    table = sealed.tables()["plant_instrument"]
    assert seals.digests_of(table, ["7"]) == {"7": hashlib.sha256(text.encode()).hexdigest()}


# --- what is sealed -----------------------------------------------------------------------------------------------------
def test_every_table_of_ours_is_sealed_or_left_out_with_a_reason() -> None:
    ours = {
        model._meta.db_table
        for model in apps.get_models(include_auto_created=True)
        if apps.get_app_config(model._meta.app_label).name.startswith("regenplant.")
    }
    left_out = sealed.left_out()
    assert ours == set(sealed.tables()) & ours | {name for name in left_out if "." not in name}
    assert all(len(why) >= 15 for why in left_out.values())
    assert {"people_person_groups", "auth_group", "batches_stepentry", "people_signature"} <= set(
        sealed.tables()
    )


def test_columns_are_left_out_by_name_only_where_somebody_said_why() -> None:
    for table in sealed.tables().values():
        own = {str(field.column) for field in table.model._meta.concrete_fields}
        assert own - set(table.columns) == {
            name.partition(".")[2] for name in sealed.left_out() if name.startswith(f"{table.table}.")
        }


def test_a_shape_is_named_by_what_it_says(db: None) -> None:
    from regenplant.audit.models import RowShape

    for table in sealed.tables().values():
        kept = RowShape.objects.get(pk=table.shape.id)
        assert (kept.table_name, kept.content) == (table.table, table.shape.text)
        assert hashlib.sha256(kept.content.encode()).hexdigest().startswith(kept.pk)


def test_the_digest_does_not_depend_on_how_the_database_shows_values(db: None) -> None:
    """PostgreSQL shows times and floats by settings of the session; the framework sets both, and SQLite has none."""
    assert connection.timezone_name == "UTC"
