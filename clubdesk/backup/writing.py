"""Writing a backup: everything of one moment, while others go on writing."""

import hashlib
import os
import zipfile
from collections.abc import Iterable
from importlib.metadata import version
from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from clubdesk import clock
from clubdesk.backup import form, keys, rows
from clubdesk.backup.form import Counted, Manifest, Table
from clubdesk.errors import Refused
from clubdesk.ledger.selectors import book
from clubdesk.moment import one_moment

PIECE = 1024 * 1024
OF_A_DAY = "fletchbook-????-??-??.backup"


def write(target: Path, passphrase: str = "") -> Manifest:
    """Write the whole book to a new file that its owner alone may read. Raises Refused for one that is there already.

    Rows and evidence are those of one moment. What the file would lack, it lacks whole: it gets its name at the end.
    """
    if target.exists():
        raise Refused(f"{target} is there already; a backup never takes the place of another.")
    draft = target.with_name(f".{target.name}.part")
    sealed = keys.sealed(passphrase) if passphrase else b""
    try:
        descriptor = os.open(draft, os.O_RDWR | os.O_CREAT | os.O_TRUNC, 0o600)
        with open(descriptor, "w+b") as file, one_moment():
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
                manifest = _written(archive, sealed)
            file.flush()
            os.fsync(file.fileno())
        os.replace(draft, target)
    finally:
        draft.unlink(missing_ok=True)
    return manifest


def keep_last(folder: Path, most: int, passphrase: str = "") -> Path:
    """Write the day's backup into the folder, unless it is there, and delete the oldest beyond the last `most`."""
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    target = folder / f"fletchbook-{clock.today().isoformat()}.backup"
    if not target.exists():
        write(target, passphrase)
    for old in sorted(folder.glob(OF_A_DAY))[:-most]:
        old.unlink()
    return target


def _written(archive: zipfile.ZipFile, sealed: bytes) -> Manifest:
    ours = book()
    tables = [_table(archive, model) for model in rows.models_of(apps)]
    evidence = dict(_evidence(archive))
    if sealed:
        archive.writestr(form.KEYS, sealed)
    manifest = Manifest(
        club=ours.club_name,
        currency=ours.currency,
        made_at=clock.now().isoformat(timespec="seconds"),
        version=version("fletchbook"),
        database=connection.vendor,
        head=(ours.last_number, ours.last_digest),
        migrations=sorted(MigrationRecorder(connection).applied_migrations()),
        tables=tables,
        evidence=evidence,
        keys=hashlib.sha256(sealed).hexdigest() if sealed else "",
    )
    archive.writestr(form.MANIFEST, manifest.written())
    return manifest


def _table(archive: zipfile.ZipFile, model: rows.ModelClass) -> Table:
    label, names, counted = model._meta.label, [str(each.column) for each in rows.columns_of(model)], Counted()
    with archive.open(Table(label, names, 0, "").member, "w", force_zip64=True) as member:
        for line in counted.through(rows.lines_of(model)):
            member.write(line)
    return Table(label, names, counted.rows, counted.digest)


def _evidence(archive: zipfile.ZipFile) -> Iterable[tuple[str, str]]:
    """Each file of the evidence with its digest; one that was erased meanwhile is left out."""
    folder = Path(settings.MEDIA_ROOT)
    for path in sorted(each for each in folder.rglob("*") if each.is_file()):
        name, digest = path.relative_to(folder).as_posix(), hashlib.sha256()
        try:
            source = path.open("rb")
        except FileNotFoundError:
            continue
        with source, archive.open(f"{form.EVIDENCE}{name}", "w", force_zip64=True) as member:
            while piece := source.read(PIECE):
                digest.update(piece)
                member.write(piece)
        yield name, digest.hexdigest()
