"""The entry for a WSGI server, be it gunicorn or runserver: it looks first whether the database is guarded."""

import os
from collections.abc import Iterable
from typing import Any

from django.core.wsgi import get_wsgi_application
from django.db import connection

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdesk.settings")
site = get_wsgi_application()

from clubdesk.middleware import look_at_guards  # noqa: E402 - it needs the settings
from clubdesk.upkeep import hold_open  # noqa: E402 - and so does this


def application(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
    hold_open()
    return site(environ, start_response)


look_at_guards()
connection.close()
if close_pool := getattr(connection, "close_pool", None):
    close_pool()  # no worker inherits it
