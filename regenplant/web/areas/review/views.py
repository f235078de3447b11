"""Views of the review."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.quality.selectors import review_board
from regenplant.web.presenters import review as words
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@require_safe
def review(request: HttpRequest) -> HttpResponse:
    board, system = review_board(timezone.now()), unit_system_of(request)
    context = {
        "board": board,
        "sentence": words.board_sentence(board),
        "failed": [words.failed_row(batch, system) for batch in board.failed],
        "held": [words.held_row(batch, system) for batch in board.held],
        "to_review": [words.review_row(line, system) for line in board.to_review],
        "to_release": [words.release_row(line, system) for line in board.to_release],
        "amended": [words.amended_row(line, system) for line in board.amended],
        "may_rework": right(request, "batch.rework"),
        "may_scrap": right(request, "batch.scrap"),
    }
    return render(request, "review/review.html", context)
