"""Acts on what is kept: paper forms, backups, how long records are kept."""

from regenplant.keeping.services.backups import note_backup
from regenplant.keeping.services.paper_forms import (
    CONFIRMED_MEANING,
    MOST_FORMS,
    TRANSCRIBED_MEANING,
    add_scan,
    close_form,
    confirm_transcription,
    finish_transcription,
    issue_form,
    print_form,
    send_back,
    transcribe,
)
from regenplant.keeping.services.purging import PURGE_MEANING, PURGE_RIGHT, purge
from regenplant.keeping.services.retention import (
    approve_retention,
    draft_retention,
    lift_hold,
    place_hold,
    withdraw_retention,
)

__all__ = [
    "CONFIRMED_MEANING",
    "MOST_FORMS",
    "PURGE_MEANING",
    "PURGE_RIGHT",
    "TRANSCRIBED_MEANING",
    "add_scan",
    "approve_retention",
    "close_form",
    "confirm_transcription",
    "draft_retention",
    "finish_transcription",
    "issue_form",
    "lift_hold",
    "note_backup",
    "place_hold",
    "print_form",
    "purge",
    "send_back",
    "transcribe",
    "withdraw_retention",
]
