"""What a session remembers of its time-out (kept by ``TimeOutMiddleware``, set at the sign-in)."""

from __future__ import annotations

TOUCHED = "touched_at"
"""When the person last touched the terminal, in whole seconds since 1970."""
IDLE_MINUTES = "idle_minutes"
"""The session's own limit, as it was at the sign-in [min]."""
USUAL_IDLE_MINUTES = 30
