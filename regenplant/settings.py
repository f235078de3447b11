"""Settings for the machine: database, secrets, hosts. Plant limits, recipes and specifications are records."""

from __future__ import annotations

from pathlib import Path

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from regenplant import environment

BASE_DIR = Path(__file__).resolve().parent.parent
DEBUG = environment.flag("REGENPLANT_DEBUG", default=False)
DEMO = environment.flag("REGENPLANT_DEMO", default=False)
"""Demonstration mode: the sign-in page names the demo people. Never on a plant's own machine."""

DATA_DIR = Path(environment.text("REGENPLANT_DATA", str(BASE_DIR / "var" / ("demo" if DEMO else "plant"))))
"""The embedded database, the secret key, collected files. The demonstration has a folder of its own."""
DATA_DIR.mkdir(parents=True, exist_ok=True)

BEHIND_TLS = environment.flag("REGENPLANT_TLS", default=False)
"""The proxy in front speaks TLS: secure cookies, HSTS, redirect."""


def _secret_key() -> str:
    given = environment.text("REGENPLANT_SECRET_KEY")
    if given:
        if len(given) < 50:
            raise ImproperlyConfigured("REGENPLANT_SECRET_KEY is too short; it needs at least 50 characters.")
        return given
    kept = DATA_DIR / "secret-key"
    if not kept.exists():
        from django.core.management.utils import get_random_secret_key

        kept.touch(mode=0o600)
        kept.write_text(get_random_secret_key() + get_random_secret_key())
    return kept.read_text().strip()


SECRET_KEY = _secret_key()
ALLOWED_HOSTS = environment.listing("REGENPLANT_HOSTS", ["localhost", "127.0.0.1", "[::1]"])
CSRF_TRUSTED_ORIGINS = environment.listing("REGENPLANT_ORIGINS", [])

INSTALLED_APPS = [
    "regenplant.web",
    "regenplant.documents",
    "regenplant.planning",
    "regenplant.keeping",
    "regenplant.shifts",
    "regenplant.use",
    "regenplant.safety",
    "regenplant.quality",
    "regenplant.waste",
    "regenplant.batches",
    "regenplant.tanks",
    "regenplant.chemicals",
    "regenplant.recipes",
    "regenplant.resins",
    "regenplant.plant",
    "regenplant.people",
    "regenplant.audit",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_tables2",
    "django_htmx",
    "axes",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "regenplant.web.api.limits.ProgramMiddleware",
    "regenplant.web.middleware.TimeOutMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "regenplant.web.middleware.PlantTimeMiddleware",
    "regenplant.web.middleware.RefusalMiddleware",
    "regenplant.web.middleware.DoorMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "regenplant.urls"
WSGI_APPLICATION = "regenplant.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "regenplant.web.context.shell",
            ],
        },
    },
]

DATABASES = {"default": environment.database(DATA_DIR)}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "people.Person"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.Argon2PasswordHasher"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
LOGOUT_REDIRECT_URL = "sign-in"

AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = 0.25  # hours
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = (
    False  # a quarter of an hour is a quarter of an hour, as the page says
)
AXES_LOCKOUT_PARAMETERS = ["username"]
"""The account rests everywhere: who tries at one terminal after another has no more tries."""
AXES_USERNAME_CALLABLE = "regenplant.people.throttling.account_name"
AXES_SENSITIVE_PARAMETERS = [
    "username",
    "second_username",
    "password",
    "second_password",
    "old_password",
    "new_password",
    "again_password",
    "kept",
]
"""What the count of failures never keeps of a form."""
SILENCED_SYSTEM_CHECKS = ["axes.W006"]
"""It wants the address counted as well. All terminals of a plant may share one address behind a proxy: five slips of five
people would then lock everybody out in the middle of a draw. Failures are summed over every address and browser."""
AXES_LOCKOUT_CALLABLE = "regenplant.web.areas.signin.locked_out"
AXES_VERBOSE = False

MQTT_BROKER = environment.text("REGENPLANT_MQTT_BROKER")
MQTT_USER = environment.text("REGENPLANT_MQTT_USER")
MQTT_PASSWORD = environment.text("REGENPLANT_MQTT_PASSWORD")
MQTT_PASSWORD_FILE = environment.text("REGENPLANT_MQTT_PASSWORD_FILE")
MQTT_TLS = environment.flag("REGENPLANT_MQTT_TLS", default=False)
MQTT_CA_FILE = environment.text("REGENPLANT_MQTT_CA_FILE")
MQTT_CLIENT_ID = environment.text("REGENPLANT_MQTT_CLIENT_ID", "regenplant")
"""Where in-line meters publish (``manage.py listen_to_meters``); asked for by that command only."""

SESSION_COOKIE_AGE = environment.whole("REGENPLANT_SESSION_SECONDS", 12 * 3600, 60, 7 * 86400)
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = BEHIND_TLS
CSRF_COOKIE_SECURE = BEHIND_TLS
SECURE_SSL_REDIRECT = BEHIND_TLS
SECURE_HSTS_SECONDS = 31_536_000 if BEHIND_TLS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = BEHIND_TLS
SECURE_HSTS_PRELOAD = BEHIND_TLS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if BEHIND_TLS else None
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "object-src": [NONE],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "form-action": [SELF],
    }
}

LANGUAGE_CODE = "en"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"
# The plant's own time zone is a record (PlantProfile); PlantTimeMiddleware activates it.

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static-collected"
STATIC_ROOT.mkdir(parents=True, exist_ok=True)
WHITENOISE_USE_FINDERS = True
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}

DATA_UPLOAD_MAX_MEMORY_SIZE = 10 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 5000
DJANGO_TABLES2_TEMPLATE = "components/table.html"
CSRF_FAILURE_VIEW = "regenplant.web.areas.signin.stale_form"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {"regenplant": {"level": "INFO"}},
}
