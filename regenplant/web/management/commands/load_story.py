"""Load the demonstration story into an empty database."""

from __future__ import annotations

import time
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from regenplant.audit.selectors import chain_head
from regenplant.people.models import Person
from regenplant.web.story.life import tell_the_story


class Command(BaseCommand):
    help = "Load the demonstration story (an invented plant, three weeks up to now) into an empty database."

    def handle(self, *args: Any, **options: Any) -> None:
        if Person.objects.exists():
            raise CommandError(
                "This database already has people in it. The story is only loaded into an empty one."
            )
        begun = time.monotonic()
        tell_the_story(timezone.now())
        number, _ = chain_head()
        self.stdout.write(f"The story is loaded: {number} acts in {time.monotonic() - begun:.1f} s.")
