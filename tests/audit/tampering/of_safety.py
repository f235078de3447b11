"""Falsifying near misses, refused tanks that left, tests of showers and eyewashes, and weigh tickets."""

from __future__ import annotations

from tests.audit.tampering.ways import altered, copied, removed

altered(
    "tell a near miss milder", "safety_nearmiss", "what = 'Nothing to speak of.'", says="near miss N-1000."
)
altered("put another cause under a near miss", "safety_nearmiss", "cause = 'bad luck'", where="answered_at IS NOT NULL",
        says="near miss N-1000.")  # fmt: skip
altered("answer a near miss before it was told", "safety_nearmiss", "answered_at = '2001-01-01 00:00:00'", where="answered_at IS NOT NULL",
        says="near miss N-1000.", and_says="near_miss: Near miss N-1000. was answered or closed before it was told")  # fmt: skip
removed("delete a near miss that waits", "safety_nearmiss", where="answered_at IS NULL", says="near miss")
altered(
    "send a refused tank elsewhere",
    "safety_refusedaway",
    "went_to = 'the scrap yard'",
    says="leaving of a refused tank .+",
)
removed("delete how a refused tank left", "safety_refusedaway", says="leaving of a refused tank")
altered(
    "let an eyewash work that did not",
    "safety_washtest",
    "is_working = TRUE",
    where="NOT is_working",
    says="test of a wash station .+",
)
removed("delete a test of a shower", "safety_washtest", where="NOT is_working", says="test of a wash station")
copied("invent a round of the showers", "safety_washtest", but="tested_on='2026-03-09'", where="is_working",
       says="test of a wash station .+")  # fmt: skip
altered("take a shower out of use", "safety_washstation", "is_in_use = FALSE", says="wash station W1")
altered("let a weigh ticket agree", "chemicals_weighticket", "is_beyond = FALSE, answered_by_id = NULL, answered_at = NULL, answer = ''",
        says="weigh ticket .+", and_says="weigh_ticket: What weigh ticket W-7 of U-10001 says of its difference does not follow")  # fmt: skip
altered(
    "weigh more than the truck brought",
    "chemicals_weighticket",
    "net_kg = 1250",
    says="weigh ticket .+",
    and_says="weigh_ticket: ",
)
