#!/usr/bin/env python
"""Django's command line for regenplant."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "regenplant.settings")
    if sys.argv[1:2] == ["demo"]:
        # Settings are read at start, so the demonstration must be known before them.
        os.environ.setdefault("REGENPLANT_DEMO", "yes")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
