"""A copy of a batch record made readable again, from the copy alone: no table is asked and nothing is stored.

What comes from outside is believed in nothing: it is verified first, and whatever does not hold stands beside what is shown.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from regenplant.audit import wording
from regenplant.keeping.verify_copy import Result, Unreadable, verify

NOT_AS_BUILT = (KeyError, TypeError, ValueError, AttributeError, IndexError)
"""What reading something that is not built as a copy may raise."""


@dataclass(frozen=True, slots=True)
class Value:
    """Something that was written down, with what stood there before it."""

    where: str
    name: str
    as_typed: str
    at: str
    by: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class SignatureLine:
    name: str
    meaning: str
    at: str
    digest: str


@dataclass(frozen=True, slots=True)
class ActLine:
    number: int
    at: str
    who: str
    terminal: str
    sentence: str
    reason: str


@dataclass(frozen=True, slots=True)
class ReadCopy:
    """A copy as a person reads it. Times are those of the zone the copy names, with their distance from UTC."""

    batch: str
    plant: str
    made: str
    digest: str
    head_number: int
    head_digest: str
    looked_at: tuple[str, ...]
    findings: tuple[str, ...]
    facts: tuple[tuple[str, str], ...]
    tanks: tuple[tuple[str, str, str], ...]
    """(serial, visit, customer)."""
    steps: tuple[tuple[str, str, str], ...]
    """(step, state, when and by whom)."""
    entries: tuple[Value, ...]
    missing: tuple[tuple[str, str, str], ...]
    """(step, what, which kind of nothing)."""
    readings: tuple[Value, ...]
    measurements: tuple[Value, ...]
    decisions: tuple[str, ...]
    deviations: tuple[str, ...]
    holds: tuple[str, ...]
    signatures: tuple[SignatureLine, ...]
    acts: tuple[ActLine, ...]

    @property
    def holds_together(self) -> bool:
        return not self.findings


def read_copy(data: bytes) -> ReadCopy:
    """Verify a copy, ZIP or record alone, and make it readable. Raises Unreadable with a sentence."""
    result = verify(data)
    try:
        return _Reader(result).read()
    except NOT_AS_BUILT as error:
        raise Unreadable("The record is not built as a copy is; it was altered, or is none.") from error


class _Reader:
    """One copy while it is read."""

    def __init__(self, result: Result) -> None:
        self.result, self.record = result, result.record
        self.zone = _zone(self.record["made"]["zone"])
        self.people = {person["id"]: str(person["full_name"]) for person in self.record["people"]}
        self.tables: dict[str, dict[int, dict[str, Any]]] = {}
        for part in self.record["parts"].values():
            rows = self.tables.setdefault(part["table"], {})
            rows.update({int(row["key"]): row["columns"] for row in part["rows"]})
        batches = self.table("batches_batch")
        numbers = {row["number"]: key for key, row in batches.items()}
        self.batch_key = numbers[self.record["batch"]]
        self.batch = batches[self.batch_key]

    def table(self, name: str) -> dict[int, dict[str, Any]]:
        return self.tables.get(name, {})

    def of_batch(self, name: str) -> dict[int, dict[str, Any]]:
        """The rows of a table that hang on the batch itself, in order of their keys."""
        rows = self.table(name)
        return {key: rows[key] for key in sorted(rows) if rows[key]["batch_id"] == self.batch_key}

    def at(self, when: str | None) -> str:
        """A moment in the zone of the plant, with its distance from UTC; "" for none."""
        if not when:
            return ""
        moment = datetime.fromisoformat(when)
        return moment.astimezone(self.zone).isoformat(sep=" ", timespec="minutes")

    def person(self, key: int | None) -> str:
        return self.people.get(key, "somebody the copy does not name") if key else ""

    def by(self, when: str | None, key: int | None) -> str:
        return " by ".join(filter(None, (self.at(when), self.person(key))))

    def read(self) -> ReadCopy:
        made, head = self.record["made"], self.record["head"]
        return ReadCopy(
            batch=str(self.record["batch"]),
            plant=str(made["plant"]),
            made=" by ".join(filter(None, (self.at(made["at"]), str(made["by"])))),
            digest=self.result.digest,
            head_number=int(head["number"]),
            head_digest=str(head["digest"]),
            looked_at=tuple(self.result.looked_at),
            findings=tuple(finding.sentence for finding in self.result.findings),
            facts=self._facts(),
            tanks=self._tanks(),
            steps=self._steps(),
            entries=self._entries(),
            missing=self._missing(),
            readings=self._readings(),
            measurements=self._measurements(),
            decisions=self._decisions(),
            deviations=self._deviations(),
            holds=self._holds(),
            signatures=self._signatures(),
            acts=self._acts(),
        )

    # --- the batch ----------------------------------------------------------------------------------------------
    def _facts(self) -> tuple[tuple[str, str], ...]:
        batch = self.batch
        resin = self.table("resins_resintype")[batch["resin_type_id"]]
        vessel = self.table("plant_vessel")[batch["vessel_id"]]
        recipe = self._version(
            "recipes_recipeversion", batch["recipe_version_id"], "recipes_recipe", "recipe_id"
        )
        limits = self._version(
            "recipes_specificationversion",
            batch["specification_version_id"],
            "recipes_specification",
            "specification_id",
        )
        rows = (
            ("State", str(batch["state"]).replace("_", " ")),
            ("Resin", f"{resin['code']}, {resin['description']}"),
            ("Class", str(batch["segregation_class"])),
            ("Volume", f"{batch['resin_volume_m3']:.4g} m³, form {batch['resin_volume_form']}"),
            ("Vessel", f"{vessel['code']} {vessel['name']}"),
            ("Recipe", recipe),
            ("Specification", f"{limits}{_worked_out(batch)}"),
            ("Planned", self.by(batch["planned_at"], batch["planned_by_id"])),
            ("Started", self.at(batch["started_at"])),
            ("Judged", self.at(batch["judged_at"])),
            ("Ended", self.at(batch["finished_at"])),
            ("Plan digest", str(batch["plan_digest"])),
        )
        return tuple((term, words or "not yet") for term, words in rows)

    def _version(self, table: str, key: int, owners: str, link: str) -> str:
        version = self.table(table)[key]
        return f"{self.table(owners)[version[link]]['code']} version {version['number']}"

    def _tanks(self) -> tuple[tuple[str, str, str], ...]:
        found = []
        for link in sorted(self.of_batch("batches_batchtank").values(), key=lambda row: row["position"]):
            visit = self.table("tanks_tankvisit")[link["visit_id"]]
            tank = self.table("tanks_tank")[visit["tank_id"]]
            customer = self.table("tanks_customer")[visit["customer_id"]]
            found.append((str(tank["serial"]), str(visit["number"]), str(customer["name"])))
        return tuple(found)

    # --- what was done --------------------------------------------------------------------------------------------
    def _ordered_steps(self) -> list[tuple[int, dict[str, Any]]]:
        return sorted(self.of_batch("batches_steprun").items(), key=lambda item: item[1]["number"])

    def _steps(self) -> tuple[tuple[str, str, str], ...]:
        found = []
        for _, step in self._ordered_steps():
            begun = self.by(step["started_at"], step["started_by_id"])
            ended = self.by(step["finished_at"], step["finished_by_id"])
            when = f"begun {begun}; ended {ended}" if ended else f"begun {begun}" if begun else ""
            why = f"skipped: {step['skip_reason']}" if step["skip_reason"] else when
            found.append((f"{step['number']} {step['name']}", str(step["state"]), why))
        return tuple(found)

    def _entries(self) -> tuple[Value, ...]:
        steps = dict(self._ordered_steps())
        rows = {key: row for key, row in self.table("batches_stepentry").items() if row["step_id"] in steps}
        ordered = sorted(
            rows, key=lambda key: (steps[rows[key]["step_id"]]["number"], rows[key]["entered_at"], key)
        )
        return self._values(rows, ordered, lambda row: str(steps[row["step_id"]]["number"]), "value_as_typed")

    def _readings(self) -> tuple[Value, ...]:
        rows = self.of_batch("batches_rinsereading")
        ordered = sorted(rows, key=lambda key: (rows[key]["occurred_at"], key))
        return self._values(rows, ordered, lambda row: f"{row['rinsed_bv']:.3g} BV", "value_as_typed")

    def _measurements(self) -> tuple[Value, ...]:
        rows = self.of_batch("quality_qcmeasurement")
        return self._values(rows, sorted(rows), lambda row: "", "value_as_typed")

    def _values(
        self, rows: dict[int, dict[str, Any]], ordered: Iterable[int], where: Any, typed: str
    ) -> tuple[Value, ...]:
        """Values that stand and values that were replaced, each saying which it is."""
        replaced_by = {row["replaces_id"]: row for row in rows.values() if row["replaces_id"]}
        found = []
        for key in ordered:
            row = rows[key]
            later, earlier = replaced_by.get(key), rows.get(row["replaces_id"])
            remark = ""
            if later is not None:
                remark = f"replaced {self.by(later['entered_at'], later['entered_by_id'])}: {later['reason']}"
            elif earlier is not None:
                remark = f"changed; first {earlier[typed]} {earlier['unit_as_typed']}"
            elif row.get("is_within") is False:
                remark = "outside its limit"
            found.append(
                Value(
                    where=where(row),
                    name=str(row.get("name", f"at {row.get('temperature_as_typed', '')}")),
                    as_typed=f"{row[typed]} {row['unit_as_typed']}".strip() or _standing(row),
                    at=self.at(row["occurred_at"]),
                    by=self.person(row["entered_by_id"]),
                    remark=remark,
                )
            )
        return tuple(found)

    def _missing(self) -> tuple[tuple[str, str, str], ...]:
        return tuple(
            (str(line["step"]), str(line["name"]), str(line["why"]).replace("_", " "))
            for line in self.record["not_written"]
        )

    def _decisions(self) -> tuple[str, ...]:
        return tuple(
            f"{str(row['verdict']).capitalize()}, {self.by(row['decided_at'], row['decided_by_id'])}. {row['reason']}".strip()
            for row in self.of_batch("quality_qcdecision").values()
        )

    def _deviations(self) -> tuple[str, ...]:
        found = []
        for row in self.of_batch("batches_deviation").values():
            decided = self.by(row["decided_at"], row["decided_by_id"])
            end = f"Decided {decided}: {row['decision']}" if decided else "Open."
            found.append(f"{row['number']}, {row['severity']}: {row['what']} {end}")
        return tuple(found)

    def _holds(self) -> tuple[str, ...]:
        return tuple(
            f"{row['reason']} Held {self.by(row['held_at'], row['held_by_id'])}; "
            f"resumed {self.by(row['resumed_at'], row['resumed_by_id']) or 'not yet'}."
            for row in self.of_batch("batches_hold").values()
        )

    def _signatures(self) -> tuple[SignatureLine, ...]:
        rows = sorted(self.table("people_signature").values(), key=lambda row: row["signed_at"])
        return tuple(
            SignatureLine(
                f"{row['printed_name']} ({row['roles']})",
                str(row["meaning"]),
                f"{self.at(row['signed_at'])}, {str(row['signed_at'])[:19].replace('T', ' ')} UTC",
                str(row["digest"]),
            )
            for row in rows
        )

    def _acts(self) -> tuple[ActLine, ...]:
        """The acts about the batch itself, as sentences; the copy holds more, about its tanks, lots and instruments."""
        found = []
        for event in self.record["events"]:
            said = json.loads(event["payload"])
            subject, facts = said["subject"], said["facts"]
            about = [(subject["kind"], subject["key"]), *(tuple(pair) for pair in said["related"])]
            if ("batch", self.record["batch"]) not in about:
                continue
            roles = ", ".join(said["actor_roles"])
            found.append(
                ActLine(
                    number=int(event["number"]),
                    at=self.at(said["at"]),
                    who=f"{said['actor_name']} ({roles})" if roles else str(said["actor_name"]),
                    terminal=str(said["terminal"]),
                    sentence=_sentence(str(said["event"]), str(subject["label"]), facts),
                    reason=str(facts.get("reason", "")),
                )
            )
        return tuple(found)


def _standing(row: dict[str, Any]) -> str:
    """Which kind of nothing a person wrote down."""
    return str(row.get("standing", "")).replace("_", " ")


def _sentence(event: str, label: str, facts: dict[str, Any]) -> str:
    """The sentence of an act; its bare name where the facts do not fit the wording of this program."""
    try:
        return wording.sentence(event, label, facts)
    except NOT_AS_BUILT:
        return f"{label}: {event}"


def _zone(name: Any) -> tzinfo:
    """The zone the copy names; UTC where nobody knows it."""
    try:
        return ZoneInfo(str(name))
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return UTC


def _worked_out(batch: dict[str, Any]) -> str:
    """Of which versions the strictest holds, for a batch of several customers."""
    text = batch.get("specification_text")
    if not text:
        return ""
    names = [f"{part['code']} version {part['number']}" for part in json.loads(text)["parts"]]
    return f"; worked out: the strictest of {' and '.join(names)}"
