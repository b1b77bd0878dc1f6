"""PostgreSQL with an owner of the tables and a user of the site, as `hosting` writes them: whoever gets hold of the
site's password can neither lift a guard, nor drop a table, nor empty one.
"""

import re
import subprocess
import sys
import uuid

import psycopg
import pytest
from django.conf import settings
from psycopg import errors, sql

from clubdesk.desk import hosting
from tests.hosting.machine import HOUSE, bare_environment, environment_of, needs

pytestmark = [pytest.mark.only_on("postgresql"), pytest.mark.django_db]


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    """The addresses of a book that the owner began and the site's user has filled, by who asks."""
    psql, name, folder = needs("psql"), f"fb_{uuid.uuid4().hex[:8]}", tmp_path_factory.mktemp("users")
    hosting.write("books.club.example", folder / "out", database=name)
    server = settings.DATABASES["default"]
    asked = [
        psql,
        "-h",
        server["HOST"] or "127.0.0.1",
        "-p",
        str(server["PORT"] or 5432),
        "-U",
        server["USER"],
        "-d",
        "postgres",
    ]
    subprocess.run([*asked, "-v", "ON_ERROR_STOP=1", "-qf", folder / "out" / "postgresql.sql"], check=True)
    owner = environment_of(folder / "out" / "owner.env")["DATABASE_URL"]
    (password,) = re.findall(
        rf"ROLE {name} LOGIN .*PASSWORD '([^']+)'", (folder / "out" / "postgresql.sql").read_text()
    )
    site = re.sub(r"//[^@]+@", f"//{name}:{password}@", owner)
    try:
        _do(owner, "begin", folder)
        said = _do(site, "live", folder)
        assert re.search(r"\d+ entries", said)
        yield {"owner": owner, "site": site}
    finally:
        for line in (
            f"DROP DATABASE IF EXISTS {name} WITH (FORCE)",
            f"DROP ROLE IF EXISTS {name}",
            f"DROP ROLE IF EXISTS {name}_owner",
        ):
            subprocess.run([*asked, "-qc", line], check=True)


def _do(address, what, folder):
    """In a process of its own, whose `DATABASE_URL` is that user's."""
    env = bare_environment() | {
        "DATABASE_URL": address,
        "DJANGO_SETTINGS_MODULE": "tests.settings",
        "PYTHONPATH": str(HOUSE),
    }
    command = [sys.executable, "-m", "tests.hosting.season_as_site", what, str(folder / "kept")]
    done = subprocess.run(command, cwd=HOUSE, env=env, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture
def asks(book):
    """A statement as the site's user; what it did is undone."""

    def ask(statement):
        with psycopg.connect(book["site"], autocommit=False) as session:
            try:
                session.execute(statement)
            finally:
                session.rollback()

    return ask


def tables(book):
    with psycopg.connect(book["owner"]) as session:
        return [name for (name,) in session.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")]


def guards(book):
    with psycopg.connect(book["owner"]) as session:
        return session.execute(
            "SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid"
            " WHERE t.tgname LIKE 'guard%'"
        ).fetchall()


def test_the_sites_work_of_a_season_is_done_as_its_own_user_and_every_check_holds(book):
    with psycopg.connect(book["site"]) as session:
        (entries,) = session.execute("SELECT count(*) FROM ledger_journalentry").fetchone()
        ended = session.execute("SELECT what FROM desk_upkeep").fetchall()
    assert entries > 20
    assert sorted(ended) == [("backup",), ("check",), ("night",)]


def test_it_lifts_no_guard(book, asks):
    found = guards(book)
    assert len(found) > 100
    for name, table in found:
        with pytest.raises(errors.InsufficientPrivilege, match="must be owner"):
            asks(f"DROP TRIGGER {name} ON {table}")
        with pytest.raises(errors.InsufficientPrivilege, match="must be owner"):
            asks(f"ALTER TABLE {table} DISABLE TRIGGER {name}")


def test_it_puts_no_other_function_in_a_guards_place(book, asks):
    name = guards(book)[0][0]
    body = "RETURNS trigger LANGUAGE plpgsql AS $$BEGIN RETURN NEW; END$$"
    for statement in (f"CREATE OR REPLACE FUNCTION {name}() {body}", f"CREATE FUNCTION public.mine() {body}"):
        with pytest.raises(errors.InsufficientPrivilege, match=r"must be owner|permission denied"):
            asks(statement)
    with pytest.raises(errors.InsufficientPrivilege, match="must be owner"):
        asks(f"DROP FUNCTION {name}() CASCADE")


def test_it_empties_drops_and_changes_no_table(book, asks):
    found = tables(book)
    assert len(found) > 60
    for table in found:
        with pytest.raises(errors.InsufficientPrivilege, match="permission denied"):
            asks(f"TRUNCATE {table} CASCADE")
        with pytest.raises(errors.InsufficientPrivilege, match="must be owner"):
            asks(f"DROP TABLE {table} CASCADE")
        with pytest.raises(errors.InsufficientPrivilege, match="must be owner"):
            asks(f"ALTER TABLE {table} RENAME TO elsewhere")


@pytest.mark.parametrize(
    "statement",
    [
        "SET session_replication_role = replica",
        "CREATE TABLE public.ledger_entry (id int)",
        "CREATE TEMP TABLE ledger_posting (id int)",
        "CREATE SCHEMA elsewhere",
        "CREATE ROLE another SUPERUSER",
        "ALTER SCHEMA public RENAME TO elsewhere",
        "COPY ledger_book TO PROGRAM 'cat'",
    ],
)
def test_nor_does_it_go_around_them(asks, statement):
    with pytest.raises(errors.InsufficientPrivilege, match=r"permission denied|must be (owner|superuser)"):
        asks(statement)


def test_it_does_not_become_the_owner(book, asks):
    owner = re.search(r"//(\w+):", book["owner"])[1]
    with pytest.raises(errors.InsufficientPrivilege, match="permission denied to set role"):
        asks(sql.SQL("SET ROLE {}").format(sql.Identifier(owner)))


def test_the_guards_answer_it_like_anybody(asks):
    with pytest.raises(errors.IntegrityConstraintViolation, match="never deleted"):
        asks("DELETE FROM ledger_journalentry")


def test_the_books_are_checked_as_its_own_user(book):
    env = bare_environment() | {"DATABASE_URL": book["site"], "DJANGO_SETTINGS_MODULE": "tests.settings"}
    said = subprocess.run(
        [sys.executable, "manage.py", "check_books"], cwd=HOUSE, env=env, capture_output=True, text=True, check=False
    )
    assert (said.returncode, said.stderr) == (0, ""), said.stdout + said.stderr
