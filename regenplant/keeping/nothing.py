"""Three kinds of nothing: not yet, not done, not applicable. A blank is never a zero, and says which of the three it is."""

from __future__ import annotations

from enum import StrEnum

from regenplant.core.process.lifecycle import BatchState, StepState

ENDED = (BatchState.RELEASED, BatchState.SCRAPPED, BatchState.ABORTED)
"""States after which nothing more is expected."""
NOTHING_MORE_RUNS = (*ENDED, BatchState.FAILED)
"""States in which a step that waits will never run."""


class Nothing(StrEnum):
    """Why nothing stands where something could; the value is the code in copies."""

    NOT_YET = "not_yet"
    NOT_DONE = "not_done"
    NOT_APPLICABLE = "not_applicable"

    @property
    def label(self) -> str:
        """The word on screens and papers."""
        return self.value.replace("_", " ")


def why_nothing(step: StepState, batch: BatchState) -> Nothing:
    """Why an entry of a step in this state does not stand.

    A skipped step asks for none; a step that is done, or will never run, went without; one to come may still be written.
    """
    if step is StepState.SKIPPED:
        return Nothing.NOT_APPLICABLE
    if step is StepState.DONE or batch in NOTHING_MORE_RUNS:
        return Nothing.NOT_DONE
    return Nothing.NOT_YET


def said_nothing(standing: str) -> Nothing:
    """The kind of nothing that a person wrote down, by the standing of an entry."""
    return Nothing(standing)
