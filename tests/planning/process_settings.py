"""Settings of a search that a test begins as a process of its own: it works on the database of the test."""

import os

from tests.settings import *  # noqa: F403
from tests.settings import DATABASES

DATABASES["default"]["NAME"] = os.environ["REGENPLANT_PROCESS_DATABASE"]
