"""Verifies a copy of a batch record without the program that made it: plain Python 3.9 or later, standard library only.

    python verify_copy.py B-10001-copy.zip
    python verify_copy.py record.json --digest 3f1c...

Looks at everything in the copy that can be worked out again: the digests of the files, the acts and how they follow each other,
every row against the act that wrote it, what was signed against the rows, plan, recipe and specification against their
digests. Names each thing that does not hold. Answers 0 when all holds, 1 when something does not, 2 when it was asked wrongly.

It proves that the copy is whole in itself. That the plant made it, only the plant can say: compare the digest it wrote down.
"""

from __future__ import annotations

import base64
import hashlib
import io
import json
import os
import re
import sys
import zipfile
import zlib
from collections.abc import Iterator
from typing import Any, NamedTuple

FORMAT = "regenplant batch copy"
FORMAT_VERSION = 1
RECORD, PAPER, DIGESTS = "record.json", "record.pdf", "digests.txt"
FILES = (RECORD, PAPER, "verify_copy.py", "READ-ME.txt", DIGESTS)  # nothing else is ever taken out of a copy
LARGEST_FILE, LARGEST_COPY = 32 * 1024 * 1024, 48 * 1024 * 1024  # bytes, unpacked
DEEPEST, MOST_DIGITS = 60, 40  # levels of nesting, digits of a whole number
SHAPE_NAME = 16  # characters of its digest that name a list of columns
KEPT_OF_BEFORE = 32  # characters of the digest before an act that an act keeps
# columns that no seal covers, because a digest in the same row does
BESIDE = {"batches_batch": {"plan_text"}}
DAMAGED = (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError, OSError, ValueError, zlib.error)
NOT_AS_BUILT = (KeyError, TypeError, ValueError, AttributeError, IndexError)


class Unreadable(Exception):
    """The copy cannot be read at all; the message says why."""


class Finding(NamedTuple):
    """One thing that does not hold: what kind of thing, and in words."""

    code: str
    sentence: str


class Seal(NamedTuple):
    """How a row stood in one act."""

    number: int
    shape: str
    before: str
    after: str


class Result(NamedTuple):
    """What was looked at, in sentences, and what does not hold."""

    looked_at: list[str]
    findings: list[Finding]
    record: dict[str, Any]
    digest: str


# --- canonical text: the one spelling of data that digests are made of --------------------------------------------------
_ESCAPED = re.compile('[\x00-\x1f"\\\\]')
_SHORT = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t", "\f": "\\f", "\b": "\\b"}


def _quoted(text: str) -> str:
    return '"' + _ESCAPED.sub(lambda m: _SHORT.get(m[0]) or f"\\u{ord(m[0]):04x}", text) + '"'


def canonical_text(value: Any) -> str:
    """Names in order, no spaces, text unescaped but for quotes and control characters, floats in their shortest exact form."""
    if value is None:
        return "null"
    if value is True or value is False:
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, int):
        return int.__repr__(value)
    if isinstance(value, float):
        if value != value or value in (float("inf"), float("-inf")):
            raise ValueError("no number")
        return float.__repr__(value)
    if isinstance(value, (list, tuple)):
        return "[" + ",".join([canonical_text(item) for item in value]) + "]"
    if isinstance(value, dict):
        pairs = [_quoted(name) + ":" + canonical_text(value[name]) for name in sorted(value)]
        return "{" + ",".join(pairs) + "}"
    raise ValueError(f"{type(value).__name__} has no canonical text")


def sha256(data: Any) -> str:
    """SHA-256 of bytes, or of text as UTF-8."""
    return hashlib.sha256(data if isinstance(data, bytes) else data.encode()).hexdigest()


# --- reading ------------------------------------------------------------------------------------------------------------
def _no_name_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise Unreadable(f"The name “{name[:40]}” stands twice in one place.")
        found[name] = value
    return found


def _no_number(text: str) -> Any:
    raise Unreadable(f"{text} stands where a number should.")


def parsed(data: bytes) -> dict[str, Any]:
    """The record as data. Raises Unreadable with a sentence."""
    if len(data) > LARGEST_FILE:
        raise Unreadable(f"The record has {len(data):,} bytes; at most {LARGEST_FILE:,} are read.")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise Unreadable(f"The record is no UTF-8 text from byte {error.start} on.") from error
    record = _loaded(text, "The record")
    if not isinstance(record, dict) or record.get("format") != FORMAT:
        raise Unreadable("This is no copy of a batch record: it does not say so in its “format”.")
    if record.get("format_version") != FORMAT_VERSION:
        raise Unreadable(f"This verifier knows format version {FORMAT_VERSION} only. Use the one that came with the copy.")  # fmt: skip
    return record


def _loaded(text: str, what: str) -> Any:
    """JSON text as data; what could mean two things, or exhaust the reader, is refused."""
    _refuse_deep(text, what)
    if _HALF.search(text):
        raise Unreadable(f"Half of a character stands in {what[:1].lower()}{what[1:]}.")
    try:
        return json.loads(text, object_pairs_hook=_no_name_twice, parse_constant=_no_number, parse_int=_whole)
    except (ValueError, RecursionError) as error:
        raise Unreadable(f"{what} is no JSON text: {error}.") from error


def _whole(digits: str) -> int:
    if len(digits) > MOST_DIGITS:
        raise Unreadable(f"A whole number has {len(digits)} digits; at most {MOST_DIGITS} are read.")
    return int(digits)


def _refuse_deep(text: str, what: str) -> None:
    """Nesting is counted before it is parsed, so that a hostile text cannot exhaust the reader."""
    depth, is_quoted = 0, False
    for match in _STRUCTURE.finditer(text):
        mark = match[0]
        if mark == '"':
            is_quoted = not is_quoted
        elif not is_quoted and mark in "[{":
            depth += 1
            if depth > DEEPEST:
                raise Unreadable(f"{what} is nested deeper than {DEEPEST} levels.")
        elif not is_quoted and mark in "]}":
            depth -= 1


_HALF = re.compile(r"\\u[dD][89a-fA-F]")  # the canonical spelling writes whole characters, never their halves
_STRUCTURE = re.compile(r'\\.|["\[\]{}]', re.DOTALL)


def files_of(data: bytes) -> dict[str, bytes]:
    """The files of a copy by name: those of a ZIP, or the one record. Raises Unreadable with a sentence."""
    if data[:2] != b"PK":
        return {RECORD: data}
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as container:
            infos = container.infolist()
            if len(infos) > len(FILES):
                raise Unreadable(f"The ZIP file holds {len(infos)} files; a copy holds at most {len(FILES)}.")
            names = [info.filename for info in infos]
            for name in names:
                if name not in FILES:
                    raise Unreadable(f"“{name[:60]}” does not belong in a copy. Nothing was taken out.")
                if names.count(name) > 1:
                    raise Unreadable(f"{name} stands twice in the copy.")
            if sum(info.file_size for info in infos) > LARGEST_COPY:
                raise Unreadable(f"The copy unpacks to more than {LARGEST_COPY:,} bytes.")
            found = {info.filename: _unpacked(container, info) for info in infos}
    except DAMAGED as error:
        raise Unreadable(f"The ZIP file is damaged: {error}.") from error
    if RECORD not in found:
        raise Unreadable(f"There is no {RECORD} in the copy.")
    return found


def _unpacked(container: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
    """The bytes of one file, never more than may be; what the file says of its own size is not believed."""
    if info.flag_bits & 1:
        raise Unreadable(f"{info.filename} is locked by a password.")
    with container.open(info) as source:
        data = source.read(LARGEST_FILE + 1)
    if len(data) > LARGEST_FILE:
        raise Unreadable(f"{info.filename} unpacks to more than {LARGEST_FILE:,} bytes; no more are read.")
    return data


# --- verifying ----------------------------------------------------------------------------------------------------------
def verify(data: bytes, expected_digest: str = "") -> Result:
    """Look at everything in a copy, a ZIP file or a record alone. Raises Unreadable when there is nothing to look at."""
    files = files_of(data)
    record = parsed(files[RECORD])
    check = _Check(record, files)
    try:
        findings = list(check.everything(expected_digest))
    except NOT_AS_BUILT as error:
        raise Unreadable(f"The record is not built as a copy is ({type(error).__name__}: {error}).") from error  # fmt: skip
    return Result(check.looked_at, findings, record, sha256(files[RECORD]))


class _Check:
    """One verification: what the copy holds, found by name and number."""

    def __init__(self, record: dict[str, Any], files: dict[str, bytes]) -> None:
        self.record, self.files = record, files
        self.looked_at: list[str] = []
        self.saw = self.looked_at.append

    def everything(self, expected_digest: str) -> Iterator[Finding]:
        self._index()
        yield from self._files(expected_digest)
        yield from self._counts()
        yield from self._events()
        yield from self._rows()
        yield from self._signatures()
        yield from self._decisions()
        yield from self._releases()
        yield from self._versions()
        yield from self._paper()

    def _index(self) -> None:
        record = self.record
        self.made = [str(record["made"][name]) for name in ("at", "by", "plant", "zone")]
        self.events: list[dict[str, Any]] = record["events"]
        self.rows: dict[tuple[str, str], dict[str, Any]] = {}
        self.doubled: list[tuple[str, str]] = []
        for part in record["parts"].values():
            for row in part["rows"]:
                place = (part["table"], row["key"])
                if place in self.rows:
                    self.doubled.append(place)
                self.rows[place] = row
        self.payloads: dict[int, dict[str, Any]] = {}
        self.seals: dict[tuple[str, str], list[Seal]] = {}
        for event in self.events:
            self.payloads[event["number"]] = payload = _loaded(event["payload"], f"Act {event['number']}")
            for name, sealed in payload.get("rows", {}).items():
                table, _, shape = name.partition("@")
                for key, value in sealed.items():
                    before, _, after = value.partition(">")
                    seal = Seal(event["number"], shape, before, after)
                    self.seals.setdefault((table, key), []).append(seal)

    def table(self, name: str) -> dict[str, dict[str, Any]]:
        """The rows of a table by key: their columns."""
        return {key: row["columns"] for (table, key), row in self.rows.items() if table == name}

    # --- files ----------------------------------------------------------------------------------------------------------
    def _files(self, expected: str) -> Iterator[Finding]:
        own = sha256(self.files[RECORD])
        if canonical_text(self.record).encode() != self.files[RECORD]:
            yield Finding("file.spelling", f"{RECORD} is not in its canonical spelling: it was written by another program or by hand.")  # fmt: skip
        if expected and own != expected.strip().lower():
            yield Finding("file.other", f"{RECORD} has the digest {own}, not the one given. It is another copy, or was altered.")  # fmt: skip
        if DIGESTS not in self.files:
            self.saw(f"The record: {len(self.files[RECORD]):,} bytes, digest {own}.")
            return
        listed = _listed_digests(self.files[DIGESTS])
        for name, data in sorted(self.files.items()):
            if name == DIGESTS:
                continue
            if name not in listed:
                yield Finding("file.unlisted", f"{name} is in the copy, but digests.txt does not list it.")
            elif listed[name] != sha256(data):
                yield Finding("file.altered", f"{name} does not fit the digest that digests.txt lists. It was altered.")  # fmt: skip
        for name in sorted(set(listed) - set(self.files)):
            yield Finding("file.missing", f"{name} is listed in digests.txt and is not in the copy.")
        self.saw(f"{len(self.files) - 1} files against {DIGESTS}; the record has the digest {own}.")

    def _counts(self) -> Iterator[Finding]:
        counts = self.record["counts"]
        if counts["events"] != len(self.events):
            yield Finding("count.acts", f"The copy says it holds {counts['events']} acts; {len(self.events)} are in it.")  # fmt: skip
        for name, part in self.record["parts"].items():
            said = counts["parts"].get(name)
            if said != len(part["rows"]):
                yield Finding("count.rows", f"The copy says it holds {said} rows of {name}; {len(part['rows'])} are in it.")  # fmt: skip
        for name in sorted(set(counts["parts"]) - set(self.record["parts"])):
            yield Finding("count.part", f"The copy says it holds {name}; there is no such part in it.")
        for table, key in self.doubled:
            yield Finding("row.twice", f"{_named((table, key))} stands in the copy twice.")
        numbers = [row["number"] for row in self.table("batches_batch").values()]
        if numbers.count(self.record["batch"]) != 1:
            yield Finding("row.batch", f"Batch {self.record['batch']} stands {numbers.count(self.record['batch'])} times in the copy.")  # fmt: skip

    # --- acts -----------------------------------------------------------------------------------------------------------
    def _events(self) -> Iterator[Finding]:
        before: dict[str, Any] | None = None
        linked = 0
        for event in self.events:
            number, payload = event["number"], self.payloads[event["number"]]
            if sha256(f"{event['previous']}\n{event['payload']}") != event["digest"]:
                yield Finding("act.altered", f"Act {number} does not fit its digest: it was altered.")
            if payload["number"] != number:
                yield Finding("act.place", f"Act {number} calls itself {payload['number']}: it stands in another's place.")  # fmt: skip
            if canonical_text(payload) != event["payload"]:
                yield Finding("act.spelling", f"Act {number} is not in its canonical spelling.")
            if before is not None and number <= before["number"]:
                yield Finding("act.order", f"Act {number} stands after act {before['number']}: the order was changed.")  # fmt: skip
            if before is not None and number == before["number"] + 1:
                linked += 1
                if event["previous"] != before["digest"]:
                    yield Finding("act.link", f"Act {number} does not follow act {before['number']}: one of the two was replaced.")  # fmt: skip
            before = event
        yield from self._head(before)
        spoken = f"{self.events[0]['number']} to {self.events[-1]['number']}" if self.events else "none"
        self.saw(f"{len(self.events)} acts ({spoken}), {linked} of them against the act before.")

    def _head(self, last: dict[str, Any] | None) -> Iterator[Finding]:
        head = self.record["head"]
        if last is None or last["number"] > head["number"]:
            yield Finding("act.beyond", f"The head of the record is act {head['number']}, and the acts in the copy go beyond it.")  # fmt: skip
        elif last["number"] == head["number"] and last["digest"] != head["digest"]:
            yield Finding("act.head", f"Act {head['number']} is not the head the copy names.")

    # --- rows -----------------------------------------------------------------------------------------------------------
    def _rows(self) -> Iterator[Finding]:
        elsewhere = {(table, key) for table, keys in self.record["elsewhere"].items() for key in keys}
        sealed = 0
        for place, row in sorted(self.rows.items()):
            seals = self.seals.get(place, [])
            if not seals:
                yield Finding("row.unwritten", f"{_named(place)} is in the copy, and no act in it wrote this row.")  # fmt: skip
                continue
            sealed += 1
            newest = seals[-1]
            own = self._digest_of(place, row, newest.shape)
            if own is None:
                yield Finding("row.columns", f"{_named(place)} lacks columns that act {newest.number} sealed.")  # fmt: skip
            elif own != newest.after:
                yield Finding("row.altered", f"{_named(place)} is not what act {newest.number} wrote: it was altered.")  # fmt: skip
            if row["history"] == "whole":
                yield from _broken_line(place, seals)
        for place, seals in sorted(self.seals.items()):
            is_gone = not seals[-1].after
            if place not in self.rows and place not in elsewhere and not is_gone:
                yield Finding("row.missing", f"{_named(place)} was written by act {seals[-1].number} and is missing in the copy.")  # fmt: skip
            if place in self.rows and place in elsewhere:
                yield Finding("row.elsewhere", f"{_named(place)} is in the copy and is said to be left out of it.")  # fmt: skip
        yield from self._shapes()
        self.saw(
            f"{sealed} rows of {len({table for table, _ in self.rows})} tables against the acts that wrote them; "
            f"{len(elsewhere)} rows of other records that the same acts wrote are left out."
        )

    def _digest_of(self, place: tuple[str, str], row: dict[str, Any], shape: str) -> str | None:
        """The digest of a row by the columns of a shape; None when the copy does not hold them."""
        known = self.record["shapes"].get(shape)
        if known is None or known["table"] != place[0]:
            return None
        columns = [name for name, _ in known["columns"]]
        if any(name not in row["columns"] for name in columns):
            return None
        content = {name: row["columns"][name] for name in columns}
        return sha256(canonical_text({"table": place[0], "key": place[1], "columns": content}))

    def _shapes(self) -> Iterator[Finding]:
        for name, shape in sorted(self.record["shapes"].items()):
            own = sha256(canonical_text({"table": shape["table"], "columns": shape["columns"]}))
            if own[:SHAPE_NAME] != name:
                yield Finding("row.shape", f"The list of columns {name} of {shape['table']} was altered.")
        for part in self.record["parts"].values():
            table = part["table"]
            widest = [shape for shape in self.record["shapes"].values() if shape["table"] == table]
            allowed = {name for shape in widest for name, _ in shape["columns"]}
            for row in part["rows"]:
                for name in sorted(set(row["beside"]) - BESIDE.get(table, set())):
                    yield Finding("row.beside", f"{_named((table, row['key']))} has a column “{name[:40]}” beside it that no digest covers.")  # fmt: skip
                for name in sorted(set(row["columns"]) - allowed):
                    yield Finding("row.added_column", f"{_named((table, row['key']))} has a column “{name[:40]}” that no act sealed.")  # fmt: skip

    # --- signatures -----------------------------------------------------------------------------------------------------
    def _signatures(self) -> Iterator[Finding]:
        signatures = self.table("people_signature")
        by_digest = {row["digest"]: row for row in signatures.values()}
        people = {person["id"]: person for person in self.record["people"]}
        for _, row in sorted(signatures.items()):
            named = f"The signature of {row['printed_name']} on {row['record_kind']} {row['record_key']}"
            signed = f"{row['record_kind']}\n{row['record_key']}\n{row['record_version']}\n{row['content']}"
            if sha256(signed) != row["digest"]:
                yield Finding("signature.altered", f"{named} does not fit what was signed: content, record or version was changed.")  # fmt: skip
            if row["person_id"] not in people:
                yield Finding("signature.nobody", f"{named} is by person {row['person_id']}, whom the copy does not name.")  # fmt: skip
        for number, payload in self.payloads.items():
            given = payload["facts"].get("signature")
            if not given:
                continue
            found = by_digest.get(given["digest"])
            if found is None:
                if payload["subject"]["key"] == self.record["batch"]:
                    yield Finding("signature.missing", f"Act {number} was signed by {given['name']}; that signature is not in the copy.")  # fmt: skip
            elif (found["printed_name"], found["meaning"]) != (given["name"], given["meaning"]):
                yield Finding("signature.name", f"The signature on act {number} bears another name or meaning than the act.")  # fmt: skip
        self.saw(f"{_count(len(signatures), 'signature')} against what was signed, and against the acts.")

    # --- what was signed against what stands there --------------------------------------------------------------------------
    def _decisions(self) -> Iterator[Finding]:
        decisions, signatures = self.table("quality_qcdecision"), self.table("people_signature")
        compared = 0
        for key, row in sorted(decisions.items()):
            named = f"QC decision {key}"
            signature = signatures.get(str(row["signature_id"]))
            if signature is None or signature["content"] != row["content"]:
                yield Finding("decision.content", f"{named}: what stands in it is not what was signed.")
                continue
            content = _loaded(row["content"], named)
            if content["verdict"] != row["verdict"] or content["reason"] != row["reason"]:
                yield Finding("decision.verdict", f"{named} says “{row['verdict']}”; signed was “{content['verdict']}”.")  # fmt: skip
            if signature["person_id"] != row["decided_by_id"]:
                yield Finding("decision.person", f"{named} was signed by another person than the one who decided.")  # fmt: skip
            batch = row["batch_id"]
            yield from self._same_identity(named, content, batch)
            for one in ("readings", "measurements", "logs"):
                yield from self._same_rows(named, one, content.get(one, []), batch, signature["signed_at"])
                compared += len(content.get(one, []))
        self.saw(
            f"{_count(len(decisions), 'QC decision')}, {_count(compared, 'reading, log or measurement', 'readings, logs and measurements')} "
            "in what was signed against the rows."
        )

    def _same_identity(self, named: str, content: dict[str, Any], batch_id: int) -> Iterator[Finding]:
        """Batch, plan, versions and tanks, as signed, against the rows."""
        batch = self.table("batches_batch").get(str(batch_id), {})
        recipe = self.table("recipes_recipeversion").get(str(batch.get("recipe_version_id")), {})
        chosen = str(batch.get("specification_version_id"))
        limits = self.table("recipes_specificationversion").get(chosen, {})
        pairs = (
            ("batch number", content["batch"], batch.get("number")),
            ("plan", content["plan_digest"], batch.get("plan_digest")),
            ("recipe version", content["recipe"]["digest"], recipe.get("digest")),
            ("specification version", content["specification"]["digest"], limits.get("digest")),
            ("segregation class", content["segregation_class"], batch.get("segregation_class")),
            ("resin volume", content["resin_volume"]["value"], batch.get("resin_volume_m3")),
        )
        for what, signed, stands in pairs:
            if signed != stands:
                yield Finding("signed.identity", f"{named} was signed for another {what} than the copy shows.")  # fmt: skip
        links = [key for key, link in self.table("batches_batchtank").items() if link["batch_id"] == batch_id]
        shown = sorted(self._tank(key) for key in links)
        if sorted((tank["serial"], tank["visit"]) for tank in content["tanks"]) != shown:
            yield Finding("signed.tanks", f"{named} was signed for other tanks than the copy shows.")

    def _tank(self, link: object) -> tuple[str, int]:
        """Serial and visit of a tank of a batch; nothing where the copy holds none by that key."""
        came = self.table("batches_batchtank").get(str(link), {}).get("visit_id")
        visit = self.table("tanks_tankvisit").get(str(came), {"tank_id": None, "number": 0})
        return self.table("tanks_tank").get(str(visit["tank_id"]), {"serial": ""})["serial"], visit["number"]

    def _same_rows(self, named: str, what: str, signed: list[Any], batch_id: int, at: str) -> Iterator[Finding]:  # fmt: skip
        """Readings, measurements or logs as signed against the rows that stood when it was signed."""
        table = {"readings": "batches_rinsereading", "measurements": "quality_qcmeasurement", "logs": "batches_meterlog"}[what]  # fmt: skip
        own = {key: row for key, row in self.table(table).items() if row["batch_id"] == batch_id}
        went_on = [row["continued_at"] for row in self.table("quality_rinsecontinuation").values() if row["batch_id"] == batch_id and row["continued_at"] <= at]  # fmt: skip
        rows = {key: row for key, row in own.items() if row["entered_at"] <= at and (what != "measurements" or row["occurred_at"] > max(went_on, default=""))}  # fmt: skip
        named_keys = {str(line["id"]) for line in signed}
        standing = set(rows) - {str(row.get("replaces_id")) for row in rows.values()}
        if named_keys != standing:
            odd = ", ".join(sorted(named_keys ^ standing, key=int))
            yield Finding("signed.rows", f"{named} rests on other {what} than stand in the copy: {odd}.")
        instruments = {str(key): row["code"] for key, row in self.table("plant_instrument").items()}
        for line in signed:
            row = rows.get(str(line["id"]))
            tank = self._tank(row["tank_id"])[0] if row is not None and row.get("tank_id") else ""
            if row is not None and line != _as_it_stands(line, row, instruments, tank):
                yield Finding("signed.row", f"{named} was signed over another {what[:-1]} {line['id']} than the copy shows.")  # fmt: skip

    def _releases(self) -> Iterator[Finding]:
        releases, signatures = self.table("quality_release"), self.table("people_signature")
        made = self.table("quality_qcdecision").values()
        decided = {str(row["signature_id"]): row["verdict"] for row in made}
        verdicts = {signatures[key]["digest"]: said for key, said in decided.items() if key in signatures}
        deviations = {row["number"]: row for row in self.table("batches_deviation").values()}
        for key, row in sorted(releases.items()):
            named = f"Release {key}"
            signature = signatures.get(str(row["signature_id"]))
            if signature is None:
                yield Finding("release.unsigned", f"{named} has no signature in the copy.")
                continue
            if signature["person_id"] != row["released_by_id"]:
                yield Finding("release.person", f"{named} was signed by another person than the one who released.")  # fmt: skip
            content = _loaded(signature["content"], named)
            yield from self._same_identity(named, content, row["batch_id"])
            rests_on = content["qc_decision"]
            if rests_on is None or verdicts.get(rests_on["digest"]) != rests_on["verdict"]:
                yield Finding("release.decision", f"{named} rests on a QC decision that the copy does not show.")  # fmt: skip
            for line in content["deviations"]:
                stands = deviations.get(line["number"])
                compared = {"severity", "what", "decision"} & set(line)
                if stands is None or any(stands[name] != line[name] for name in compared):
                    yield Finding("release.deviation", f"{named} was signed over another deviation {line['number']} than the copy shows.")  # fmt: skip
        self.saw(f"{_count(len(releases), 'release')} against the decision and the deviations behind.")

    # --- versions, plan, paper --------------------------------------------------------------------------------------------
    def _versions(self) -> Iterator[Finding]:
        digested = 0
        for what in ("recipe", "specification"):
            for _, row in sorted(self.table(f"recipes_{what}version").items()):
                digested += 1
                if sha256(row["content"]) != row["digest"]:
                    yield Finding("version.altered", f"Version {row['number']} of the {what} does not fit its digest: it was altered.")  # fmt: skip
        for key, row in sorted(self.table("batches_batch").items()):
            digested += 1
            if sha256(self.rows["batches_batch", key]["beside"]["plan_text"]) != row["plan_digest"]:
                yield Finding("plan.altered", f"The plan of batch {row['number']} does not fit its digest: it was altered.")  # fmt: skip
        for key, row in sorted(self.table("keeping_paperscan").items()):
            scan = base64.b64decode(self.rows["keeping_paperscan", key]["beside"]["content"])
            if scan and sha256(scan) != row["sha256"]:  # a large one is in the copy by its digest only
                yield Finding("scan.altered", f"The scan {row['name']} does not fit its digest: it was altered.")  # fmt: skip
        self.saw(f"{_count(digested, 'text')} of plans, recipe and specification versions against their digests.")  # fmt: skip

    def _paper(self) -> Iterator[Finding]:
        told = self.record["paper"]
        if not told["sha256"] and PAPER not in self.files:
            self.saw("No print goes with this record.")
            return
        if PAPER not in self.files:
            if len(self.files) > 1:
                yield Finding("paper.missing", f"The printed record {PAPER} is missing in the copy.")
            self.saw(f"{PAPER} was not at hand.")
            return
        own = sha256(self.files[PAPER])
        if own != told["sha256"]:
            yield Finding("paper.altered", f"{PAPER} does not fit the digest that the record names: it is another print, or was altered.")  # fmt: skip
        issued = {row["sha256"] for row in self.table("documents_issuedpaper").values()}
        if told["sha256"] not in issued:
            yield Finding("paper.unissued", "The record names a print of itself that is not among the papers issued.")  # fmt: skip
        self.saw(f"{PAPER} against the digest in the record and among the papers issued.")


def _listed_digests(data: bytes) -> dict[str, str]:
    found: dict[str, str] = {}
    for line in data.decode("utf-8", "replace").splitlines():
        digest, _, name = line.strip().partition("  ")
        if name:
            found[name] = digest.lower()
    return found


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def _named(place: tuple[str, str]) -> str:
    return f"Row {place[1]} of {place[0]}"


def _broken_line(place: tuple[str, str], seals: list[Seal]) -> Iterator[Finding]:
    """For a row whose whole history is in the copy: each act found what the act before it left."""
    before = ""
    for seal in seals:
        if seal.before != before[:KEPT_OF_BEFORE]:
            yield Finding("row.broken", f"{_named(place)}: act {seal.number} found it otherwise than the act before left it; one is missing.")  # fmt: skip
        before = seal.after


def _as_it_stands(line: dict[str, Any], row: dict[str, Any], instruments: dict[str, str], tank: str) -> dict[str, Any]:  # fmt: skip
    """The row in the words of what was signed; a name this verifier does not know is taken as signed. ``tank``: it was measured on."""
    typed, at = f"{row.get('value_as_typed')} {row['unit_as_typed']}", row.get("occurred_at", "")
    known = {
        **{name: row[name] for name in row if name != "id"},
        "as_typed": typed.strip() if "value_si" in line else typed,
        "at": at.replace(".000000", "") if "." not in line.get("at", "") else at,
        "instrument": instruments.get(str(row["instrument_id"]), ""),
        "value_si": row.get("value"),
        "tank": tank,
    }
    return {name: known.get(name, value) for name, value in (({"tank": ""} if tank else {}) | line).items()}


# --- from the command line --------------------------------------------------------------------------------------------
def report(result: Result) -> str:
    """What was looked at and what does not hold, as text."""
    made, head = result.record["made"], result.record["head"]
    lines = [
        f"Copy of batch {result.record['batch']}, made {made['at']} by {made['by']} at {made['plant']}.",
        f"The record stood at act {head['number']}, digest {head['digest']}.",
        "",
        "Looked at:",
        *(f"  {sentence}" for sentence in result.looked_at),
        "",
    ]
    if result.findings:
        lines.append(f"Does not hold: {len(result.findings)}")
        lines += [f"  {finding.sentence} ({finding.code})" for finding in result.findings]
    else:
        ask = "Ask the plant whether it wrote down this digest when the copy was made:"
        lines += ["Everything holds.", f"{ask} {result.digest}"]
    return "\n".join(lines)


def _beside(path: str, data: bytes) -> bytes:
    """A record alone is looked at together with the other files of its copy, if they lie beside it unpacked."""
    folder = os.path.dirname(os.path.abspath(path))
    others = [name for name in FILES if os.path.isfile(os.path.join(folder, name))]
    if os.path.basename(path) != RECORD or DIGESTS not in others:
        return data
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as container:
        for name in others:
            container.write(os.path.join(folder, name), name)
    return packed.getvalue()


def main(arguments: list[str]) -> int:
    given = ""
    if "--digest" in arguments[:-1]:
        place = arguments.index("--digest")
        given = arguments[place + 1]
        arguments = arguments[:place] + arguments[place + 2 :]
    if len(arguments) != 1 or arguments[0].startswith("-"):
        print("Say which copy: python verify_copy.py B-10001-copy.zip [--digest SHA-256 of record.json]")
        return 2
    try:
        with open(arguments[0], "rb") as source:
            data = source.read(2 * LARGEST_FILE)
        result = verify(_beside(arguments[0], data), given)
    except OSError as error:
        print(f"The file cannot be opened: {error}.")
        return 2
    except Unreadable as refusal:
        print(refusal)
        return 1
    print(report(result))
    return 1 if result.findings else 0


if __name__ == "__main__":
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(encoding="utf-8", errors="replace")
    sys.exit(main(sys.argv[1:]))
