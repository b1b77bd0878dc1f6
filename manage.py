#!/usr/bin/env python
"""Runs Fletchbook's commands: `python manage.py COMMAND`."""

import os
import sys

from django.core.management import execute_from_command_line
from django.db import DatabaseError


def main() -> None:
    """Runs what was typed; what the database does not do for a command of Django's own is said in a sentence too."""
    os.umask(0o077)  # what a command writes holds families' details: its owner alone reads it
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clubdesk.settings")
    try:
        execute_from_command_line(sys.argv)
    except (DatabaseError, UnicodeDecodeError) as error:
        from clubdesk.faults import said_by_command

        sys.exit(said_by_command(sys.argv[1], error))


if __name__ == "__main__":
    main()
