"""Server entry."""

import os

from regenplant.web.application import ready_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "regenplant.settings")
application = ready_application()
