"""The checks of the log itself, of the rows it sealed, of the locks, and of whatever has versions."""

from __future__ import annotations

from regenplant.audit.verifying.acts import check_acts
from regenplant.audit.verifying.locks import check_locks
from regenplant.audit.verifying.registry import Check, register
from regenplant.audit.verifying.rows import check_rows
from regenplant.audit.verifying.versions import check_versions

register(Check("lock", "Locks of the database", "locks", check_locks), place=0)
register(Check("chain", "Chain of acts", "acts", check_acts), place=10)
register(Check("row", "Rows as acts left them", "rows", check_rows), place=20)
register(Check("version", "Versions", "versions", check_versions), place=35)
