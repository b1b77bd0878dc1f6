"""Bringing a backup into an empty database of either kind: all of it, checked, or nothing."""

import hashlib
import os
import shutil
import zipfile
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import StateApps

from clubdesk.backup import form, keys, reading, rows
from clubdesk.backup.form import Counted, Manifest
from clubdesk.errors import Refused
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Book
from clubdesk.schema import all_or_nothing, in_any_order, make_tables

PART = ".part"


@dataclass(frozen=True)
class Restored:
    """What was brought in; `of_the_key` says what became of the installation's key."""

    manifest: Manifest
    of_the_key: str


def restore(source: Path, passphrase: str = "") -> Restored:
    """Bring the book of a backup into the empty database that is open, in one transaction, and check it.

    Every table has the digest that it had, the chain the same head, and every check of the books holds; a backup of an
    earlier version is then brought forward. Raises Refused for a database with tables, a file that is not whole or
    of a later version, another passphrase, and whatever does not come out as it went in.
    """
    if connection.introspection.table_names():
        raise Refused("This database holds tables already; restore into an empty one, so that nothing is mixed.")
    with reading.opened(source) as (archive, manifest):
        _refuse_unknown(manifest)
        held = keys.opened(archive.read(form.KEYS), passphrase) if passphrase and manifest.keys else {}
        with all_or_nothing(connection):
            _load(archive, manifest)
            call_command("migrate", verbosity=0)
            _bring_evidence(archive, manifest)
            _check(manifest)
    return Restored(manifest, _of_the_key(manifest, held))


def _refuse_unknown(manifest: Manifest) -> None:
    known = set(MigrationLoader(None).graph.nodes)
    if not known.issuperset(manifest.migrations):
        raise Refused("A later Fletchbook made this backup; bring this installation up to date first.")
    if manifest.currency != settings.CLUB_CURRENCY:
        raise Refused(f"The book is kept in {manifest.currency}; set CLUB_CURRENCY to that first.")


def _load(archive: zipfile.ZipFile, manifest: Manifest) -> None:
    """Tables as they were then, their rows, and the proof that they are the same."""
    apps = make_tables(connection, manifest.migrations)
    models = {model._meta.label: model for model in rows.models_of(apps)}
    if set(models) != {table.label for table in manifest.tables}:
        raise Refused("This backup was altered: its tables are not those of its version.")
    with in_any_order(connection):
        for table in manifest.tables:
            with archive.open(table.member) as lines:
                rows.put(models[table.label], table.columns, lines)
    _number_on(apps)
    for table in manifest.tables:
        counted = Counted()
        for _ in counted.through(rows.lines_of(models[table.label])):
            pass
        if (counted.rows, counted.digest) != (table.rows, table.digest):
            raise Refused(f"{table.label} did not come out as it went in; nothing was restored.")


def _number_on(apps: StateApps) -> None:
    """New rows get the numbers after those that there are; SQLite sees that by itself."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), rows.models_of(apps)):
            cursor.execute(statement)


def _check(manifest: Manifest) -> None:
    book = Book.objects.get()
    if (book.last_number, book.last_digest) != manifest.head:
        raise Refused("The chain of entries does not end where it did; nothing was restored.")
    if faults := [fault for result in check_all() for fault in result.faults]:
        raise Refused(["The books do not hold, so nothing was restored:", *faults])


def _bring_evidence(archive: zipfile.ZipFile, manifest: Manifest) -> None:
    """Each file in its place; those of a restore that was cut short stay. Raises Refused where others are there."""
    folder = Path(settings.MEDIA_ROOT)
    there = {each.relative_to(folder).as_posix() for each in folder.rglob("*") if each.is_file()}
    if any(manifest.evidence.get(name) != _digest(folder / name) for name in there if not name.endswith(PART)):
        raise Refused(f"{folder} holds other evidence; empty it or name another folder, so that nothing is mixed.")
    for name in set(manifest.evidence) - there:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        draft = path.with_name(f"{path.name}{PART}")
        with archive.open(f"{form.EVIDENCE}{name}") as source, draft.open("wb") as target:
            shutil.copyfileobj(source, target)
        os.replace(draft, path)


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _of_the_key(manifest: Manifest, held: keys.Keys) -> str:
    if held:
        return keys.put_in_place(held)
    why = "it was made without a passphrase" if not manifest.keys else "no passphrase was given"
    return f"No key came with it, since {why}: links that families have and files signed before are not known here."
