"""Acts about people: accounts, passwords, signing in, the authority matrix, alerts, time-outs."""

from regenplant.people.services.access import set_access_rules
from regenplant.people.services.accounts import (
    add_device,
    add_first_administrator,
    add_person,
    deactivate_person,
    reactivate_person,
    rename_person,
    set_device_open,
    set_preferences,
    set_roles,
)
from regenplant.people.services.alerts import answer_alert, raise_alert
from regenplant.people.services.authority import (
    approve_authority,
    draft_authority,
    take_back_authority_draft,
    withdraw_authority,
)
from regenplant.people.services.passwords import change_password, reset_password
from regenplant.people.services.signing_in import record_refused_sign_in, record_sign_in

__all__ = [
    "add_device",
    "add_first_administrator",
    "add_person",
    "answer_alert",
    "approve_authority",
    "change_password",
    "deactivate_person",
    "draft_authority",
    "raise_alert",
    "reactivate_person",
    "record_refused_sign_in",
    "record_sign_in",
    "rename_person",
    "reset_password",
    "set_access_rules",
    "set_device_open",
    "set_preferences",
    "set_roles",
    "take_back_authority_draft",
    "withdraw_authority",
]
