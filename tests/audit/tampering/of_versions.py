"""Falsifying what a second person approved with a signature: the content, the signature, who signed and from when it holds."""

from __future__ import annotations

import hashlib

from tests.audit.tampering.ways import Record, altered, way

_SAYS = "recipe version 1 of recipe .+"


def _approved(record: Record) -> tuple[int, int]:
    """(key, signature) of one approved recipe version."""
    key = record.some("recipes_recipeversion", "state = 'approved'")
    return key, int(record.one("SELECT signature_id FROM recipes_recipeversion WHERE id = %s", key))


def _put(record: Record, table: str, key: int, signature: int | None) -> None:
    record.run(f"UPDATE {table} SET signature_id = %s WHERE id = %s", signature, key)


@way("edit a digit of an approved version and fit its digest")
def _(record: Record) -> str:
    key, _ = _approved(record)
    content = record.one("SELECT content FROM recipes_recipeversion WHERE id = %s", key).replace("1", "2", 1)
    record.run(
        "UPDATE recipes_recipeversion SET content = %s, digest = %s WHERE id = %s",
        content, hashlib.sha256(content.encode()).hexdigest(), key,
    )  # fmt: skip
    return (
        rf"(?s)(?=.*approval: The {_SAYS} is not as the signature of its approval covers it\.)"
        rf"(?=.*approval: The {_SAYS} says another thing than what was approved and signed\.)"
    )


@way("move an approval to another version of the same recipe")
def _(record: Record) -> str:
    key, signature = _approved(record)
    record.run(
        "INSERT INTO recipes_recipeversion (number, state, content, digest, reason, made_by_id, made_at, approved_by_id, approved_at, "
        "effective_from, recipe_id) SELECT 2, state, content, digest, reason, made_by_id, made_at, approved_by_id, approved_at, "
        "effective_from, recipe_id FROM recipes_recipeversion WHERE id = %s",
        key,
    )
    other = record.one("SELECT MAX(id) FROM recipes_recipeversion")
    _put(record, "recipes_recipeversion", key, None)
    _put(record, "recipes_recipeversion", other, signature)
    return (
        rf"(?s)(?=.*approval: The {_SAYS} is approved, and the signature of its approval is missing\.)"
        r"(?=.*approval: The recipe version 2 of recipe \S+ bears as its approval a signature that was given on recipe_version \S+ version 1\.)"
    )


@way("swap the approvals of two recipes")
def _(record: Record) -> str:
    key, signature = _approved(record)
    other = record.some("recipes_recipeversion", f"state = 'approved' AND id <> {key}")
    second = record.one("SELECT signature_id FROM recipes_recipeversion WHERE id = %s", other)
    code = record.one("SELECT record_key FROM people_signature WHERE id = %s", second)
    _put(record, "recipes_recipeversion", other, None)
    _put(record, "recipes_recipeversion", key, second)
    _put(record, "recipes_recipeversion", other, signature)
    return rf"approval: The {_SAYS} bears as its approval a signature that was given on recipe_version {code} version 1\."


@way("approve a specification by the signature of a recipe")
def _(record: Record) -> str:
    key, signature = _approved(record)
    specification = record.some("recipes_specificationversion")
    _put(record, "recipes_recipeversion", key, None)
    _put(record, "recipes_specificationversion", specification, signature)
    return r"approval: The specification version 1 of .+ bears as its approval a signature that was given on recipe_version "


@way("take the signature off an approval")
def _(record: Record) -> str:
    key, _ = _approved(record)
    _put(record, "recipes_recipeversion", key, None)
    return (
        rf"(?s)(?=.*approval: The {_SAYS} is approved, and the signature of its approval is missing\.)"
        r"(?=.*approval: The signature of .+ under the approval of recipe .+ stands in the record, and no version bears it\.)"
    )


@way("forge an approval of the limits")
def _(record: Record) -> str:
    who = record.people
    record.run(
        "INSERT INTO plant_limitsversion (number, state, content, digest, reason, made_by_id, made_at, approved_by_id, approved_at, "
        "effective_from) SELECT 1, 'approved', content, digest, reason, %s, made_at, %s, approved_at, effective_from "
        "FROM recipes_recipeversion WHERE state = 'approved' LIMIT 1",
        who["supervisor"].pk, who["supervisor 2"].pk,
    )  # fmt: skip
    return r"approval: The limits version 1 is approved, and the signature of its approval is missing\."


@way("withdraw an approved version without an act")
def _(record: Record) -> str:
    key, _ = _approved(record)
    record.run("UPDATE recipes_recipeversion SET state = 'withdrawn' WHERE id = %s", key)
    return rf"approval: The {_SAYS} is withdrawn, and the signature of its withdrawal is missing\."


@way("edit the content that an approval signed")
def _(record: Record) -> str:
    _, signature = _approved(record)
    record.run("UPDATE people_signature SET content = REPLACE(content, '1', '2') WHERE id = %s", signature)
    return r"signature: The signature of .+ on recipe_version \S+ no longer fits what was signed\."


@way("say another person approved")
def _(record: Record) -> str:
    key, _ = _approved(record)
    other = record.people["planner"].pk
    record.run("UPDATE recipes_recipeversion SET approved_by_id = %s WHERE id = %s", other, key)
    return rf"approval: The {_SAYS} bears the signature of .+, not of whom it names as approving\."


@way("say another person wrote what was approved")
def _(record: Record) -> str:
    key, _ = _approved(record)
    other = record.people["planner"].pk
    record.run("UPDATE recipes_recipeversion SET made_by_id = %s WHERE id = %s", other, key)
    return rf"approval: The {_SAYS} names another person as its writer than was signed\."


altered("let a recipe hold from another day", "recipes_recipeversion", "effective_from = '2020-01-01 00:00:00+00:00'", says=_SAYS,
        and_says=r"approval: The recipe version 1 of recipe .+ holds from another time than the one that was signed\.")  # fmt: skip
altered("give an approval another day", "recipes_recipeversion", "approved_at = '2020-01-01 00:00:00+00:00'", says=_SAYS,
        and_says=r"approval: The recipe version 1 of recipe .+ was approved at another time than it was signed\.")  # fmt: skip
altered("let an approval mean something else", "people_signature", "meaning = 'withdrawal of recipe X version 1'",
        where="record_kind = 'recipe_version'", says="signature .+",
        and_says=r"approval: The recipe version 1 of recipe .+ bears as its approval a signature that was given to mean something else\.")  # fmt: skip
