"""Settings of the tests: the club's own, but quick, and the same on every machine."""

from clubdesk.settings import *  # noqa: F403
from clubdesk.settings import DATABASE

SECRET_KEY = "for tests only: nothing that it signs is ever kept"
EXPORT_KEY = "for tests only: nor is any file that this one signs"
TIME_ZONE = "Australia/Adelaide"
MAIL_GOES_OUT_BY_ITSELF = False
# Tests sign in by the hundred; those of signing in itself ask for the second step, and for the table of what is kept.
SECOND_STEP = False
IN_MEMORY = "django.core.cache.backends.locmem.LocMemCache"
CACHES = {name: {"BACKEND": IN_MEMORY, "LOCATION": name} for name in ("default", "figures")}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# Nothing waits for the disk: a test's book need not survive the machine.
if DATABASE["ENGINE"].endswith("sqlite3"):
    DATABASE["OPTIONS"]["init_command"] += "PRAGMA synchronous=OFF;"
else:
    # Nor is a question compiled, which pays for long ones alone (PostgreSQL's manual, “When to JIT?”).
    DATABASE["OPTIONS"]["options"] = "-c synchronous_commit=off -c jit=off"
# Each test's client makes the site anew; no test waits until all static files are gathered or listed.
STORAGES = STORAGES | {"staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}}  # noqa: F405
WHITENOISE_AUTOREFRESH = WHITENOISE_USE_FINDERS = True
