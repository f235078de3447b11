"""The act that says a backup was made, so that the plant sees when the last one was."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say

SUBJECT = ("record", "backup", "The whole record")


@use_case("backup.made", permission="")
def note_backup(*, by: By, file_name: str, digest: str, rows: int, head_number: int, head: str) -> Outcome:
    """Write down that a backup was made, and what it must prove to be when it is restored.

    ``digest`` is that of its manifest; ``head_number`` and ``head`` are where the chain ended in it. Written by the command
    of the machine, in nobody's name: whoever has the machine's command line has its files too.
    """
    return Outcome(
        subject=SUBJECT,
        facts={"file": file_name, "digest": digest, "rows": rows, "head_number": head_number, "head": head},
    )


say("backup.made", "{subject} was copied into the backup {file}, {rows} rows up to event {head_number}")
