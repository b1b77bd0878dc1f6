"""Reading a backup: nothing of it is used before all of it was found whole."""

import hashlib
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path, PurePosixPath

from clubdesk.backup import form
from clubdesk.backup.form import NO_BACKUP, Manifest
from clubdesk.errors import Refused

BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, KeyError, NotImplementedError, RuntimeError)
PIECE, MOST_OF_A_MANIFEST = 1024 * 1024, 50 * 1024 * 1024


@contextmanager
def opened(path: Path) -> Iterator[tuple[zipfile.ZipFile, Manifest]]:
    """A backup that is whole, with its manifest. Raises Refused for a torn, altered, foreign, newer or cut-off file."""
    with ExitStack() as stack:
        try:
            archive = stack.enter_context(zipfile.ZipFile(path))
            manifest = _looked_at(archive)
        except BROKEN:
            raise Refused(NO_BACKUP) from None
        yield archive, manifest


def _looked_at(archive: zipfile.ZipFile) -> Manifest:
    if archive.getinfo(form.MANIFEST).file_size > MOST_OF_A_MANIFEST:
        raise Refused(NO_BACKUP)
    manifest = form.read(archive.read(form.MANIFEST))
    wanted = {each.member: each.digest for each in manifest.tables}
    wanted |= {f"{form.EVIDENCE}{name}": digest for name, digest in manifest.evidence.items()}
    wanted |= {form.KEYS: manifest.keys} if manifest.keys else {}
    if sorted(archive.namelist()) != sorted([form.MANIFEST, *wanted]):
        raise Refused("This backup was altered: it does not hold what it says it holds.")
    for name in manifest.evidence:
        if PurePosixPath(name).is_absolute() or ".." in PurePosixPath(name).parts:
            raise Refused(NO_BACKUP)
    for member, digest in wanted.items():
        if _digest_of(archive, member) != digest:
            raise Refused(f"This backup was altered: {member} is not what was written.")
    return manifest


def _digest_of(archive: zipfile.ZipFile, member: str) -> str:
    found = hashlib.sha256()
    try:
        with archive.open(member) as source:
            while piece := source.read(PIECE):
                found.update(piece)
    except (zipfile.BadZipFile, zlib.error, EOFError):
        raise Refused(f"This backup is damaged: {member} cannot be read as it was written.") from None
    return found.hexdigest()
