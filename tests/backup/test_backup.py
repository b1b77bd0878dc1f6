"""A club's whole book as one file: what comes back is what went in, or nothing comes back."""

import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import time
import zipfile
from contextlib import suppress
from datetime import date
from json import dumps
from pathlib import Path
from threading import Thread

import pytest
from django.conf import settings as site
from django.core.management import call_command
from django.db import connection, connections
from django.db.migrations.loader import MigrationLoader

from clubdesk import guards
from clubdesk.backup import form, keys, rows, writing
from clubdesk.backup.restoring import restore
from clubdesk.backup.writing import write
from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.ledger.invariants import check_all
from clubdesk.ledger.models import Book, JournalEntry, Role
from clubdesk.ledger.posting import credit, debit
from clubdesk.money import as_amount
from clubdesk.verbs import shell_user
from tests.faults.killing import FORKING, apart

pytestmark = pytest.mark.django_db(transaction=True)
PASSPHRASE = "four arrows beside the gate"


def raffle(amount=5):
    lines = [debit(Role.BANK, as_amount(amount)), credit(Role.DONATIONS, as_amount(amount))]
    return ledger.record_journal(on=date(2026, 9, 12), narration="Raffle", lines=lines, by=shell_user())


def faults():
    return [fault for result in check_all() for fault in result.faults]


def has_tables():
    return bool(connection.introspection.table_names())


@pytest.fixture
def backup(tmp_path):
    path = tmp_path / "club.backup"
    write(path)
    return path


@pytest.mark.world("season")
def test_a_book_that_comes_back_is_the_same_to_the_last_row_and_goes_on(tmp_path, elsewhere, settings):
    first = write(tmp_path / "first.backup")
    assert sum(table.rows for table in first.tables) > 1000
    assert first.evidence
    with elsewhere():
        restore(tmp_path / "first.backup")
        second = write(tmp_path / "second.backup")
        assert (second.tables, second.head, second.evidence) == (first.tables, first.head, first.evidence)
        assert (guards.faults(connection), faults()) == ([], [])
        raffle()
        assert (Book.objects.get().last_number, faults()) == (first.head[0] + 1, [])


@pytest.mark.world("season")
@pytest.mark.only_on("postgresql")
def test_a_book_moves_from_postgresql_to_sqlite_and_back(tmp_path, elsewhere):
    first = write(tmp_path / "first.backup")
    moved = os.environ | {"DATABASE_URL": f"sqlite:///{tmp_path / 'moved.sqlite3'}"}
    for command in (["restore", "first.backup"], ["backup", "second.backup"]):
        told = manage(*command, env=moved, cwd=tmp_path)
        assert (told.stderr, told.returncode) == ("", 0)
    with elsewhere():
        restore(tmp_path / "second.backup")
        third = write(tmp_path / "third.backup")
        assert (third.tables, third.head, third.evidence) == (first.tables, first.head, first.evidence)
        raffle()
        assert faults() == []


def manage(*words, env=os.environ, cwd, **more):
    """A command as it is typed, with an evidence folder of its own beside the files."""
    program = f"from tests.settings import *\nMEDIA_ROOT = {str(cwd / 'moved')!r}\n"
    (cwd / "moved_settings.py").write_text(program)
    path = os.pathsep.join([str(cwd), str(site.BASE_DIR)])
    env = {**env, "PYTHONPATH": path, "DJANGO_SETTINGS_MODULE": "moved_settings"}
    command = [sys.executable, str(site.BASE_DIR / "manage.py"), *words]
    return subprocess.run(command, env=env, cwd=cwd, capture_output=True, text=True, check=False, **more)


def test_a_backup_is_of_one_moment_while_somebody_writes(tmp_path, elsewhere, monkeypatch):
    plain, before = rows.lines_of, Book.objects.get().last_number

    def beside():
        raffle()
        connections.close_all()

    def while_read(model):
        if model._meta.label == "ledger.JournalEntry":
            other = Thread(target=beside)
            other.start()
            other.join()
        return plain(model)

    monkeypatch.setattr(rows, "lines_of", while_read)
    manifest = write(tmp_path / "club.backup")
    monkeypatch.setattr(rows, "lines_of", plain)
    assert (manifest.head[0], Book.objects.get().last_number) == (before, before + 1)
    with elsewhere():
        restore(tmp_path / "club.backup")
        assert JournalEntry.objects.count() == before


def with_other(path, change):
    """The file written anew, its members changed: `change` gets their contents by name."""
    with zipfile.ZipFile(path) as archive:
        held = {name: archive.read(name) for name in archive.namelist()}
    change(held)
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in held.items():
            archive.writestr(name, content)


def torn(path):
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def a_byte_turned(path):
    content = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as archive:
        where = archive.getinfo("tables/ledger.Account.jsonl").header_offset + 100
    content[where] ^= 0xFF
    path.write_bytes(content)


def a_row_changed(path):
    def change(held):
        held["tables/ledger.Account.jsonl"] = held["tables/ledger.Account.jsonl"].replace(b"Bank", b"Bunk", 1)

    with_other(path, change)


def a_table_left_out(path):
    with_other(path, lambda held: held.pop("tables/ledger.Account.jsonl"))


def a_manifest_mended(path):
    with_other(path, lambda held: held.update({form.MANIFEST: held[form.MANIFEST].replace(b"AUD", b"NZD")}))


def another_zip(path):
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("letter.txt", "Dear club")


def a_letter(path):
    path.write_text("Dear club")


def of_a_later_form(path):
    with_other(
        path, lambda held: held.update({form.MANIFEST: held[form.MANIFEST].replace(b'"format": 1', b'"format": 2')})
    )


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (torn, "cut off"),
        (a_byte_turned, "damaged: tables/ledger.Account"),
        (a_row_changed, "altered: tables/ledger.Account"),
        (a_table_left_out, "does not hold what it says"),
        (a_manifest_mended, "altered: what it says of itself"),
        (another_zip, "no backup"),
        (a_letter, "no backup"),
        (of_a_later_form, "later Fletchbook"),
    ],
)
def test_a_file_that_is_not_whole_is_refused_in_a_sentence_and_nothing_is_made(backup, elsewhere, spoil, said):
    spoil(backup)
    with elsewhere():
        with pytest.raises(Refused, match=said):
            restore(backup)
        assert not has_tables()
        assert not site.MEDIA_ROOT.exists()


def test_a_backup_with_a_migration_that_is_not_known_here_is_refused(backup, elsewhere, monkeypatch):
    known = MigrationLoader(None).graph
    last = max(name for app, name in known.nodes if app == "rangeday")
    nodes = {key: node for key, node in known.nodes.items() if key != ("rangeday", last)}
    monkeypatch.setattr("django.db.migrations.graph.MigrationGraph.nodes", nodes, raising=False)
    monkeypatch.setattr(
        "clubdesk.backup.restoring.MigrationLoader",
        lambda _: type("Loader", (), {"graph": type("", (), {"nodes": nodes})}),
    )
    with elsewhere():
        with pytest.raises(Refused, match="later Fletchbook"):
            restore(backup)
        assert not has_tables()


def test_a_backup_of_an_earlier_version_is_brought_forward(tmp_path, elsewhere, monkeypatch):
    raffle()
    call_command("migrate", "rangeday", "0006", verbosity=0)
    loader = MigrationLoader(connection)
    then = loader.project_state(sorted(loader.applied_migrations)).apps
    monkeypatch.setattr(writing, "apps", then)
    first = write(tmp_path / "old.backup")
    assert first.migrations != sorted(loader.graph.nodes)
    with elsewhere():
        restore(tmp_path / "old.backup")
        assert sorted(MigrationLoader(connection).applied_migrations) == sorted(loader.graph.nodes)
        assert (guards.faults(connection), faults()) == ([], [])
        assert JournalEntry.objects.get().narration == "Raffle"


def test_a_database_with_tables_is_left_alone(backup):
    with pytest.raises(Refused, match="holds tables already"):
        restore(backup)


@pytest.mark.world("season")
def test_other_evidence_is_never_mixed_with_what_comes_back(tmp_path, elsewhere):
    write(tmp_path / "club.backup")
    with elsewhere():
        site.MEDIA_ROOT.mkdir()
        (site.MEDIA_ROOT / "receipt").write_text("of another club")
        with pytest.raises(Refused, match="other evidence"):
            restore(tmp_path / "club.backup")
        assert not has_tables()


def test_the_keys_go_along_under_a_passphrase_alone(tmp_path, elsewhere, settings, monkeypatch):
    settings.SECRET_KEY, settings.EXPORT_KEY = "the key that signs links", "the key that signs files"
    path = tmp_path / "club.backup"
    assert write(path, PASSPHRASE).keys
    with zipfile.ZipFile(path) as archive:
        assert b"signs" not in b"".join(archive.read(name) for name in archive.namelist())
    for name in keys.NAMES:
        monkeypatch.delenv(name, raising=False)
    settings.BASE_DIR = tmp_path
    secret, export = tmp_path / ".secret_key", tmp_path / ".export_key"
    secret.write_text("made when this installation began")
    with elsewhere():
        with pytest.raises(Refused, match="not the passphrase"):
            restore(path, "three arrows beside the gate")
        assert not has_tables()
        assert "known as before" in restore(path, PASSPHRASE).of_the_key
    assert (secret.read_text(), export.read_text()) == ("the key that signs links", "the key that signs files")
    assert {each.stat().st_mode & 0o777 for each in (secret, export)} == {0o600}
    assert (tmp_path / ".secret_key.before").read_text() == "made when this installation began"


def test_a_key_that_the_environment_names_stays(settings, monkeypatch, tmp_path):
    settings.BASE_DIR = tmp_path
    monkeypatch.setenv("SECRET_KEY", "of the environment")
    monkeypatch.delenv("EXPORT_KEY", raising=False)
    assert "SECRET_KEY: set in the environment" in keys.put_in_place({"SECRET_KEY": "a", "EXPORT_KEY": "b"})
    assert [each.name for each in tmp_path.iterdir()] == [".export_key"]


def test_a_backup_of_before_files_had_a_key_of_their_own_gives_the_sites(monkeypatch, settings):
    settings.SECRET_KEY = "the only one"
    monkeypatch.setattr(keys.json, "dumps", lambda told: told["SECRET_KEY"] if "SECRET_KEY" in told else dumps(told))
    assert keys.opened(keys.sealed(PASSPHRASE), PASSPHRASE) == {"SECRET_KEY": "the only one"}


def test_a_short_passphrase_is_refused_and_without_one_it_is_said_that_no_key_goes_along(tmp_path, elsewhere, backup):
    with pytest.raises(Refused, match="12 characters"):
        write(tmp_path / "other.backup", "arrow")
    with elsewhere():
        assert "without a passphrase" in restore(backup).of_the_key


def test_a_backup_takes_no_others_place_and_only_its_owner_reads_it(backup):
    before = backup.read_bytes()
    with pytest.raises(Refused, match="is there already"):
        write(backup)
    assert backup.read_bytes() == before
    assert backup.stat().st_mode & 0o777 == 0o600


def test_where_the_disk_is_full_no_half_of_a_backup_stays(tmp_path):
    """The limit on a file's size stands for the disk's end: writing fails in the middle in the same way."""
    there = connection.settings_dict
    url = f"postgres://{there['USER']}@{there['HOST']}:{there['PORT'] or 5432}/{there['NAME']}"
    if connection.vendor == "sqlite":
        shutil.copy(there["NAME"], tmp_path / "book.sqlite3")
        url = f"sqlite:///{tmp_path / 'book.sqlite3'}"
    apart()
    (tmp_path / "moved").mkdir()
    (tmp_path / "moved" / "receipt").write_bytes(random.randbytes(2 * ROOM))
    env = os.environ | {"DATABASE_URL": url}
    told = manage("backup", "late.backup", env=env, cwd=tmp_path, preexec_fn=little_room)
    assert told.stderr == "The file cannot be used: File too large.\n"
    assert (told.returncode, [each.name for each in tmp_path.iterdir() if "late" in each.name]) == (1, [])


ROOM = 2_000_000
"""In bytes: more than SQLite needs to read its book."""


def little_room():
    resource.setrlimit(resource.RLIMIT_FSIZE, (ROOM, resource.RLIM_INFINITY))


@pytest.mark.slow
@pytest.mark.world("season")
def test_killed_at_any_moment_a_restore_leaves_the_empty_database_empty(tmp_path, elsewhere):
    """Ten times; then the same files come back whole, with the evidence that was in its place already."""
    first = write(tmp_path / "club.backup")
    with elsewhere():
        began = time.monotonic()
        for turn in range(10):
            apart()
            process = FORKING.Process(target=quietly, args=(tmp_path / "club.backup",))
            process.start()
            took = time.monotonic() - began
            time.sleep(random.uniform(0, 2) if turn else 0.2)
            if process.is_alive():
                with suppress(ProcessLookupError):
                    os.kill(process.pid, signal.SIGKILL)
            process.join()
            if process.exitcode == 0:
                break
            assert not has_tables(), f"killed after {took:.1f} s"
        if not has_tables():
            restore(tmp_path / "club.backup")
        second = write(tmp_path / "again.backup")
        assert (second.tables, second.head, second.evidence) == (first.tables, first.head, first.evidence)


def quietly(path):
    restore(path)
    os._exit(0)


def test_each_night_keeps_the_last_so_many(tmp_path, capsys):
    folder = tmp_path / "nights"
    folder.mkdir()
    for day in range(1, 6):
        (folder / f"fletchbook-2026-01-0{day}.backup").write_text("of that night")
    (folder / "notes.txt").write_text("mine")
    for _ in range(2):
        call_command("nightly", backup_to=str(folder), keep="3")
    kept = sorted(each.name for each in folder.iterdir())
    assert kept[:2] == ["fletchbook-2026-01-04.backup", "fletchbook-2026-01-05.backup"]
    assert (len(kept), kept[3]) == (4, "notes.txt")
    with zipfile.ZipFile(folder / kept[2]) as archive:
        assert json.loads(archive.read(form.MANIFEST))["kind"] == form.KIND


def test_the_commands_say_what_they_did_and_what_is_wrong_in_sentences(tmp_path, capsys):
    path = Path(tmp_path / "club.backup")
    call_command("backup", str(path))
    assert "up to entry" in capsys.readouterr().out
    with pytest.raises(SystemExit, match="1"):
        call_command("backup", str(path))
    assert "is there already" in capsys.readouterr().err
    with pytest.raises(SystemExit, match="1"):
        call_command("nightly", backup_to=str(tmp_path), keep="none")
    assert "no number of backups" in capsys.readouterr().err
