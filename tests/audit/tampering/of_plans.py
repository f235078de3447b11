"""Falsifying accepted plans of the day and their planned batches."""

from __future__ import annotations

from tests.audit.tampering.ways import altered, removed

altered("edit an accepted plan of the day", "planning_planacceptance", "content = replace(content, '\"underfill_waiver\":', '\"underfill_waiver\" :')",
        says="plan acceptance DP-101", and_says="day_plan: What day plan DP-101 says is not what was accepted")  # fmt: skip
altered("put a planned batch into another vessel", "planning_plannedbatch",
        "vessel_id = (SELECT MIN(v.id) FROM plant_vessel v WHERE v.id <> planning_plannedbatch.vessel_id)",
        says="planned batch PB-1001", and_says="day_plan: Planned batch PB-1001 has other tanks or another vessel than day plan DP-101 says")  # fmt: skip
altered("say why a planned batch was cancelled otherwise", "planning_plannedbatch", "reason = 'nobody knows why'", where="state = 'cancelled'",
        says="planned batch PB-1001")  # fmt: skip
altered("say the figures for planning were recorded for another reason", "planning_planningsettings", "reason = 'somebody else wished it'",
        says="planning settings 1")  # fmt: skip
removed("take a tank on its way out of a planned batch", "planning_plannedexpected", says="planned expected",
        and_says="day_plan: Planned batch PB-1001 has other tanks or another vessel than day plan DP-101 says")  # fmt: skip
altered(
    "say a tank was expected earlier",
    "tanks_expectedtank",
    "expected_at = entered_at",
    says="expected tank ET-10001",
)
altered(
    "say tanks of a customer were rushed for another reason",
    "tanks_customerrush",
    "reason = 'somebody else wished it'",
    says=r"customer rush \d+",
)
removed("take a tank out of a planned batch", "planning_plannedtank", where="position = 1", says="planned tank",
        and_says="day_plan: Planned batch PB-1001 has other tanks or another vessel than day plan DP-101 says")  # fmt: skip
