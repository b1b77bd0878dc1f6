"""What the two databases need to make, copy, rename and drop a whole book at once."""

import shutil
from pathlib import Path

import psycopg
from django.conf import settings
from django.db import connection
from psycopg import sql


class SqliteFiles:
    """A database's name is the path of its file."""

    def __init__(self, kept: Path, scratch: Path) -> None:
        self.kept_in, self.scratch = kept, scratch

    def kept(self, world: str) -> str:
        return str(self.kept_in / f"{world}.sqlite3")

    def fresh(self, name: str) -> str:
        return str(self.scratch / f"{name}.sqlite3")

    def exists(self, name: str) -> bool:
        return Path(name).exists()

    def create(self, name: str) -> None:
        """SQLite makes the file when it is opened."""

    def copy(self, source: str, name: str) -> None:
        shutil.copyfile(source, name)

    def rename(self, name: str, to: str) -> None:
        Path(name).rename(to)

    def drop(self, name: str) -> None:
        for suffix in ("", "-wal", "-shm"):
            Path(name + suffix).unlink(missing_ok=True)

    def drop_kept(self, digest: str) -> None:
        """Nothing is kept beside the folder."""


class PostgresqlDatabases:
    """Databases of the server that DATABASE_URL names, all beginning as `test_` and its database's name."""

    def __init__(self, kept: Path, scratch: Path) -> None:
        self.prefix = f"test_{connection.settings_dict['NAME']}"
        self.digest, self.run = kept.name.rpartition("-")[2], scratch.name

    def kept(self, world: str) -> str:
        return f"{self.prefix}_{self.digest}_{world}"

    def fresh(self, name: str) -> str:
        return f"{self.prefix}_{self.run}_{name}"

    def exists(self, name: str) -> bool:
        return bool(self._ask("SELECT 1 FROM pg_database WHERE datname = %s", name))

    def create(self, name: str) -> None:
        self._do("CREATE DATABASE {}", name)

    def copy(self, source: str, name: str) -> None:
        self._do("CREATE DATABASE {} TEMPLATE {}", name, source)

    def rename(self, name: str, to: str) -> None:
        self._do("ALTER DATABASE {} RENAME TO {}", name, to)

    def drop(self, name: str) -> None:
        self._do("DROP DATABASE IF EXISTS {} WITH (FORCE)", name)

    def drop_kept(self, digest: str) -> None:
        for (name,) in self._ask("SELECT datname FROM pg_database WHERE datname LIKE %s", f"{self.prefix}_{digest}_%"):
            self.drop(name)

    def _do(self, command: str, *names: str) -> None:
        with self._server() as server:
            server.execute(sql.SQL(command).format(*map(sql.Identifier, names)))

    def _ask(self, question: str, value: str) -> list[tuple[str, ...]]:
        with self._server() as server:
            return server.execute(question, [value]).fetchall()

    def _server(self) -> psycopg.Connection[tuple[str, ...]]:
        there = settings.DATABASES["default"]
        return psycopg.connect(
            host=there["HOST"], port=there["PORT"] or None, user=there["USER"], password=there["PASSWORD"] or None,
            dbname="postgres", autocommit=True,
        )  # fmt: skip
