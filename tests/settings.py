"""Settings for the tests: the machine's settings, in a folder of their own, with a cheap password hash.

Which database: SQLite, unless ``DATABASE_URL`` names another, or ``REGENPLANT_TEST_DATABASE=postgresql`` asks for a
PostgreSQL server that is started here and ends with the run. The workers of a parallel run inherit both choices.
"""

import atexit
import os
import shutil
import tempfile

from django.core.exceptions import ImproperlyConfigured

from tests import postgres

for _name in (
    "REGENPLANT_DEBUG",
    "REGENPLANT_DEMO",
    "REGENPLANT_TLS",
    "REGENPLANT_HOSTS",
    "REGENPLANT_ORIGINS",
):
    os.environ.pop(_name, None)

_folder = os.environ.get("REGENPLANT_TEST_FOLDER")
if not _folder:
    _folder = os.environ["REGENPLANT_TEST_FOLDER"] = tempfile.mkdtemp(prefix="regenplant-tests-")
    atexit.register(shutil.rmtree, _folder, ignore_errors=True)
os.environ["REGENPLANT_DATA"] = _folder
os.environ["REGENPLANT_SECRET_KEY"] = "a key that only the tests know and that keeps nothing secret"

_asked = os.environ.get("REGENPLANT_TEST_DATABASE", "")
if _asked == "postgresql" and not os.environ.get("DATABASE_URL"):
    if _why := postgres.why_missing():
        raise ImproperlyConfigured(f"The tests are to run on PostgreSQL, but {_why}")
    _server = postgres.Server()
    _server.hurry()
    atexit.register(_server.stop)
    os.environ["DATABASE_URL"] = _server.url
elif _asked not in ("", "sqlite", "postgresql"):
    raise ImproperlyConfigured(f"REGENPLANT_TEST_DATABASE is {_asked!r}; it can be sqlite or postgresql.")

from regenplant.settings import *  # noqa: E402, F403
from regenplant.settings import DATABASES  # noqa: E402

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
"""Argon2 is slow on purpose. tests/test_settings.py proves that it is what the machine's settings use."""

if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # A file, not memory: each thread has its own connection then, as on a plant's machine. Nothing must outlive the run.
    DATABASES["default"]["TEST"] = {"NAME": os.path.join(_folder, "test.sqlite3")}
    DATABASES["default"]["OPTIONS"]["init_command"] = DATABASES["default"]["OPTIONS"]["init_command"].replace(
        "synchronous=FULL", "synchronous=OFF"
    )
else:
    # Outside an act rows may be put there by hand; see the fixture rows_by_hand.
    DATABASES["default"]["OPTIONS"]["options"] = "-c regenplant.turn=by_hand"
