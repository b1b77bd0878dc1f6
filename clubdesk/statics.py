"""Static files as browsers get them: named by their contents, compressed, and so kept for good by whoever has them.

They are gathered in one folder where the site starts, anew only where one of them has changed.
"""

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.contrib.staticfiles.storage import ManifestFilesMixin
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.utils.module_loading import import_string
from whitenoise.storage import CompressedManifestStaticFilesStorage

TWO_MINUTES = 120


class Named(CompressedManifestStaticFilesStorage):  # type: ignore[misc]
    """Named by their contents, also where one script imports another."""

    support_js_module_import_aggregation = True


def gather() -> None:
    """Fill the folder, unless it holds these very files. Raises ImproperlyConfigured where it cannot be written."""
    if settings.DEBUG or not issubclass(import_string(settings.STORAGES["staticfiles"]["BACKEND"]), ManifestFilesMixin):
        return  # the storage itself reads once what was gathered, so it must not be asked before
    noted, now = Path(settings.STATIC_ROOT) / "gathered", _digest()
    if _text_of(noted) == now:
        return
    try:
        with _alone(Path(f"{settings.STATIC_ROOT}.lock")):
            if _text_of(noted) != now:
                call_command("collectstatic", interactive=False, clear=True, verbosity=0)
                noted.write_text(now)
    except (OSError, sqlite3.Error) as fault:
        raise ImproperlyConfigured(f"Let {settings.STATIC_ROOT} be written, for the static files: {fault}") from fault


def _text_of(path: Path) -> str:
    return path.read_text() if path.exists() else ""


def _digest() -> str:
    """Of all files and when each was last changed."""
    files = [(path, storage.path(path)) for finder in get_finders() for path, storage in finder.list([])]
    return hashlib.sha256(repr([(path, Path(at).stat()[6:9:2]) for path, at in sorted(files)]).encode()).hexdigest()


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """One process at a time, since several start at once. The lock is an SQLite file's, which ends with its process."""
    with closing(sqlite3.connect(path, timeout=TWO_MINUTES, isolation_level=None)) as lock:
        lock.execute("BEGIN EXCLUSIVE")
        yield
