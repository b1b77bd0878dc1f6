"""Builds a world and those that it begins with: `python -m tests.worlds NAME`."""

import os
import sys

import django

os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
django.setup()

from tests.worlds.keeping import keep, leave  # noqa: E402 - it needs the settings

for name in sys.argv[1:]:
    keep(name)
leave()
