"""The entry for a WSGI server, be it gunicorn or runserver: it looks first whether the database is guarded."""

import os

from django.core.wsgi import get_wsgi_application
from django.db import connection

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdesk.settings")
application = get_wsgi_application()

from clubdesk.middleware import look_at_guards  # noqa: E402 - it needs the settings

look_at_guards()
connection.close()
if close_pool := getattr(connection, "close_pool", None):
    close_pool()  # no worker inherits it
