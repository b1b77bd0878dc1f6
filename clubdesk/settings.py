"""Settings, read from the environment; every one has a default that suits a laptop."""

import os
import secrets
from pathlib import Path

import django_stubs_ext
import environ
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from django.utils.functional import SimpleLazyObject
from tzlocal import get_localzone_name

django_stubs_ext.monkeypatch()

env = environ.Env()
BASE_DIR = Path(__file__).resolve().parent.parent


def _own_key(name: str) -> str:
    """A key that this checkout makes when it is first asked for, kept beside manage.py: “SECRET_KEY” in .secret_key."""
    path = BASE_DIR / f".{name.lower()}"
    try:
        with open(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(64))
    except FileExistsError:
        pass
    except OSError as fault:
        raise ImproperlyConfigured(f"Set {name}: {path} cannot be written ({fault.strerror}).") from fault
    return path.read_text()


DEBUG = env.bool("DEBUG", default=False)
SECRET_KEY = env.str("SECRET_KEY", default="") or SimpleLazyObject(lambda: _own_key("SECRET_KEY"))
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", default=[])
# Signs exported files, and stays where the site's own key is changed: a file of years ago must still prove itself.
EXPORT_KEY = env.str("EXPORT_KEY", default="") or SimpleLazyObject(lambda: _own_key("EXPORT_KEY"))
PUBLIC_HOSTS = env.list("ALLOWED_HOSTS", default=[])
ALLOWED_HOSTS = PUBLIC_HOSTS or ["localhost", "127.0.0.1", "[::1]"]

CLUB_CURRENCY = env.str("CLUB_CURRENCY", default="AUD")
CURRENCIES = (CLUB_CURRENCY,)
DEFAULT_CURRENCY = CLUB_CURRENCY
TIME_ZONE = env.str("CLUB_TIME_ZONE", default="") or get_localzone_name() or "UTC"
USE_TZ = True
LANGUAGE_CODE = "en-au"
USE_I18N = True
DATE_FORMAT = "j M Y"

ROOMS = [
    "ledger",
    "roll",
    "mail",
    "fees",
    "care",
    "membership",
    "courses",
    "rangeday",
    "entryfund",
    "expenses",
    "safety",
    "news",
    "bank",
    "yearend",
    "reports",
    "desk",
]
INSTALLED_APPS = [
    "clubdesk.desk.apps.FletchbookAdminConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.forms",
    "lucide",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "allauth.usersessions",
    "auditlog",
    *(f"clubdesk.{room}" for room in ROOMS),
]

MIDDLEWARE = [
    "clubdesk.logs.Logged",
    "django.middleware.security.SecurityMiddleware",
    "csp.middleware.CSPMiddleware",
    "clubdesk.middleware.Needs",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "clubdesk.middleware.Compressed",
    "clubdesk.middleware.OneVersion",
    "clubdesk.middleware.DemoStaysHome",
    "clubdesk.middleware.Sessions",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "clubdesk.desk.signin.sessions.Idle",
    "allauth.account.middleware.AccountMiddleware",
    "clubdesk.desk.signin.second.SecondStep",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "clubdesk.middleware.InWords",
    "clubdesk.middleware.WritesNeedGuards",
    "clubdesk.middleware.NotesWhatIsHandedOut",
]

ROOT_URLCONF = "clubdesk.urls"
WSGI_APPLICATION = "clubdesk.wsgi.application"

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
            ],
            "builtins": [f"clubdesk.desk.templatetags.{name}" for name in ("amounts", "faults")],
        },
    }
]

FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

DATABASES = {"default": env.db("DATABASE_URL", default=f"sqlite:///{BASE_DIR / 'fletchbook.sqlite3'}")}
DATABASE = DATABASES["default"]
if DATABASE["ENGINE"].endswith("sqlite3"):
    DATABASE["ENGINE"] = "clubdesk.fair_sqlite3"
    # A connection that is opened reads all the guards, which takes as long as a page; so a thread keeps its own.
    DATABASE["CONN_MAX_AGE"] = None
    DATABASE["OPTIONS"] = {
        "timeout": 30,
        "transaction_mode": "IMMEDIATE",
        # What was deleted is written over, so that nothing of an erased health note stays in the file.
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON; "
        "PRAGMA secure_delete=ON;",
    }
else:
    # A pool: however many ask at once, they share a few connections and wait for their turn. No question is compiled
    # before it is asked: that costs more than the questions here, where PostgreSQL takes small tables for large ones.
    DATABASE["OPTIONS"] = {"pool": {"min_size": 0, "max_size": 20, "timeout": 60}, "options": "-c jit=off"}
# Changes are recorded in a table of the desk's, which says whom they are about; theirs is never made.
AUDITLOG_LOGENTRY_MODEL = "desk.ActRecord"
AUDITLOG_STORE_JSON_CHANGES = AUDITLOG_USE_BASE_MANAGER = True
MIGRATION_MODULES = {"auditlog": None}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "admin:index"
AUTHENTICATION_BACKENDS = ["clubdesk.desk.signin.backend.Backend"]
# What all worker processes must know of each other, such as how often a name was tried, is kept in a table.
CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.db.DatabaseCache", "LOCATION": "desk_cache"},
    "figures": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": "figures"},
}
ALLAUTH_TRUSTED_PROXY_COUNT = env.int("PROXIES", default=0)
ACCOUNT_ADAPTER = "clubdesk.desk.signin.adapter.Adapter"
ACCOUNT_LOGIN_METHODS = {"username", "email"}
ACCOUNT_SIGNUP_FIELDS = ["username*", "password1*"]
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_EMAIL_SUBJECT_PREFIX = "Fletchbook: "
ACCOUNT_LOGIN_BY_CODE_ENABLED = True
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_REAUTHENTICATION_TIMEOUT = 600
ACCOUNT_RATE_LIMITS = {
    "login": "60/m/ip",
    "login_failed": "30/15m/ip,5/15m/key",
    "request_login_code": "20/h/ip,5/h/key",
    "family_link": "20/h/ip,3/h/key",
}
MFA_SUPPORTED_TYPES = ["webauthn", "totp", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
MFA_ADAPTER = "clubdesk.desk.signin.sealing.MFAAdapter"
MFA_TOTP_ISSUER = "Fletchbook"
MFA_FORMS = {"add_webauthn": "clubdesk.desk.signin.forms.AddPasskeyForm"}
MFA_WEBAUTHN_ALLOW_INSECURE_ORIGIN = not PUBLIC_HOSTS
# Whether whoever pays, decides or administers needs a second step, and is asked again before what cannot be undone.
SECOND_STEP = True
# A session ends after a day whatever is done, and earlier where nothing is.
SESSION_COOKIE_AGE = ACCOUNT_SESSION_COOKIE_AGE = 24 * 3600
IDLE_HOURS = env.int("IDLE_HOURS", default=4)

STATIC_URL = "static/"
# Where `clubdesk.statics` gathers the static files, each named by its contents and compressed.
STATIC_ROOT = BASE_DIR / ".static"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "clubdesk.statics.Named"},
}
WHITENOISE_USE_FINDERS = DEBUG
MEDIA_ROOT = BASE_DIR / ".evidence"
FILE_UPLOAD_PERMISSIONS, FILE_UPLOAD_DIRECTORY_PERMISSIONS = 0o600, 0o700
EVIDENCE_LIMIT = 10 * 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024

vars().update(env.email("EMAIL_URL", default="consolemail://"))
if vars()["EMAIL_BACKEND"] == "django.core.mail.backends.smtp.EmailBackend":
    EMAIL_BACKEND = "clubdesk.mail.smtp.Backend"
EMAIL_TIMEOUT = 10
DEFAULT_FROM_EMAIL = env.str("CLUB_EMAIL", default="club@localhost")
ADMINS = [("", address) for address in env.list("ADMIN_EMAIL", default=[])]
SERVER_EMAIL, EMAIL_SUBJECT_PREFIX = DEFAULT_FROM_EMAIL, "Fletchbook: "
MAIL_GOES_OUT_BY_ITSELF = True
# What cash there is, each piece in cents. From memory: the notes and coins of the Australian dollar.
CASH_PIECES = env.list("CASH_PIECES", cast=int, default=[10000, 5000, 2000, 1000, 500, 200, 100, 50, 20, 10, 5])
FAMILY_LINK_DAYS = env.int("FAMILY_LINK_DAYS", default=90)
KEEP_RECORDS_YEARS = env.int("KEEP_RECORDS_YEARS", default=7)
# How long after the last record of somebody their health note stays. Common practice, no source: a season away.
KEEP_HEALTH_DAYS = env.int("KEEP_HEALTH_DAYS", default=365)
SITE_URL = env.str(
    "SITE_URL", default=f"https://{PUBLIC_HOSTS[0]}" if PUBLIC_HOSTS else "http://127.0.0.1:8000"
).rstrip("/")
# Where a server's clock was ahead for a while: entries up to this number are not asked when the last was posted.
CLOCK_WRONG_UNTIL_ENTRY = env.int("CLOCK_WRONG_UNTIL_ENTRY", default=0)
PROXIES = env.int("PROXIES", default=0)

# Plain lines to standard error, one a request (`clubdesk.logs`), without tokens, names and what was searched for, which
# Django's own lines would hold. `clubdesk.faults` writes each fault itself, with the id that the page shows.
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "plain": {"format": "{asctime} {levelname} {name}: {message}", "style": "{", "datefmt": "%Y-%m-%dT%H:%M:%S%z"}
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["stderr"], "level": "WARNING"},
    "loggers": {
        "django": {"handlers": [], "level": "INFO"},
        "django.request": {"level": "CRITICAL"},
        "django.server": {"level": "CRITICAL", "propagate": False},
        "clubdesk.requests": {"level": "INFO"},
        "clubdesk.desk.signin": {"level": "INFO"},
    },
}

# Everything that a page shows and does comes from this site, in files of their own; nothing is written into a page.
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "frame-src": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
        "base-uri": [NONE],
        "object-src": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
CSRF_COOKIE_HTTPONLY = True
CSRF_FAILURE_VIEW = "clubdesk.middleware.stale"
if PUBLIC_HOSTS and not DEBUG:
    SECURE_SSL_REDIRECT = True
    if PROXIES:
        SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = 31536000
    # What speaks for other sites of the same domain is the choice of whoever has the domain.
    SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = env.bool("HSTS_FOR_SUBDOMAINS", default=False)
    SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]
    SESSION_COOKIE_SECURE = True
    CSRF_COOKIE_SECURE = True
    # By these names a browser takes them only over HTTPS, from this very host and for all of it.
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME = "__Host-session", "__Host-csrf"
    CSRF_TRUSTED_ORIGINS = [f"https://{host}" for host in PUBLIC_HOSTS if host != "*"]
