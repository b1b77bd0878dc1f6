"""Print how matching does by three generated years: `python -m tests.bank.oddbank`, or seeds of your own after it."""

import os
import sys

import django

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    from tests.bank.oddbank.judging import judged, table

    for seed in map(int, sys.argv[1:] or ("1", "2", "3")):
        sys.stdout.write(f"\nyear {seed}\n{table(judged(seed))}\n")
