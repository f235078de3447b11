"""Settings of the servers that the long runs start: the machine's own, durable as in earnest, with a cheap password hash."""

from regenplant.settings import *  # noqa: F403

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
