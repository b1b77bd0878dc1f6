"""The entry for a WSGI server, be it gunicorn or runserver.

It gathers the static files, looks whether the database is guarded, and holds the book open.
"""

import os
from collections.abc import Iterable
from typing import Any

import django
from django.core.wsgi import get_wsgi_application
from django.db import connection

os.umask(0o077)  # evidence and an SQLite book hold families' details: their owner alone reads them
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdesk.settings")
django.setup()

from clubdesk import statics, upkeep  # noqa: E402 - they ask the settings
from clubdesk.middleware import look_at_guards  # noqa: E402 - and so does this

statics.gather()
site = get_wsgi_application()


def application(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
    upkeep.hold_open()
    return site(environ, start_response)


look_at_guards()
connection.close()
if close_pool := getattr(connection, "close_pool", None):
    close_pool()  # no worker inherits it
