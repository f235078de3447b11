"""What can be refused, as one family.

    DomainError                a rule of physics or of the plant says no; the message is for people
    ├── OutOfRange             a number outside what is possible, valid or allowed
    ├── UnitNotUnderstood      text that is not a number with a fitting unit
    ├── TransitionRefused      a lifecycle does not allow this act now; carries the blockers
    ├── PlanRefused            a batch may not start as planned; carries the blocking checks
    ├── NotAllowed             this person may not do this
    ├── SignatureRefused       the signature could not be given
    ├── RecordRefused          a rule about the records says no
    ├── RecordBusy             the record could not be written now, because others were writing
    └── StaleRecord            somebody changed the record since it was shown

Each carries a ``code`` for programs, a ``message`` for people (what is, the number seen, the number
allowed, what to do next), the name of the ``field`` it belongs to, if any, and a ``context`` of plain values.
Anything that is not a DomainError is a defect and is left to crash.
"""

from __future__ import annotations

from typing import Any


class DomainError(Exception):
    """A refusal that a person must read; ``str(error)`` is the sentence to show."""

    code = "refused"

    def __init__(self, message: str, *, code: str | None = None, field: str | None = None, **context: Any):
        super().__init__(message)
        self.message = message
        self.code = code or type(self).code
        self.field = field
        self.context = context


class OutOfRange(DomainError):
    """A number outside what is possible, valid or allowed."""

    code = "out_of_range"


class UnitNotUnderstood(DomainError):
    """Text that is not a number with a fitting unit."""

    code = "unit_not_understood"


class TransitionRefused(DomainError):
    """A lifecycle does not allow this act now. ``blockers`` says why, each as a sentence."""

    code = "transition_refused"

    def __init__(self, message: str, *, blockers: tuple[Any, ...] = (), **context: Any):
        super().__init__(message, **context)
        self.blockers = blockers


class PlanRefused(DomainError):
    """A batch may not start as planned. ``checks`` holds the blocking checks."""

    code = "plan_refused"

    def __init__(self, message: str, *, checks: tuple[Any, ...] = (), **context: Any):
        super().__init__(message, **context)
        self.checks = checks


class NotAllowed(DomainError):
    """This person may not do this."""

    code = "not_allowed"


class SignatureRefused(DomainError):
    """The signature could not be given: wrong password, locked, or no right to sign."""

    code = "signature_refused"


class RecordRefused(DomainError):
    """A rule about the records says no."""

    code = "record_refused"


class RecordBusy(DomainError):
    """The record could not be written now, because others were writing. The same act may be sent again."""

    code = "record_busy"


class StaleRecord(DomainError):
    """Somebody changed the record since it was shown.

    ``context`` may name the row (``table``, ``key``) and the version it is at now (``present``): then the page can show who
    changed what, and offer to write on top of it.
    """

    code = "stale_record"
