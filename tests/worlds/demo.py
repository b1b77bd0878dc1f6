"""The demo's book of one day, with what the command said and the workbook it wrote."""

from datetime import date
from pathlib import Path

from django.core.management import call_command
from django.test import override_settings

LAST_DAY = date(2026, 11, 25)
SAID = "said.txt"


def build(folder: Path) -> None:
    with (folder / SAID).open("w") as said, override_settings(BASE_DIR=folder):
        call_command("demo", "--no-serve", "--today", str(LAST_DAY), stdout=said)
