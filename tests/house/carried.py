"""Books of earlier versions as plain rows, to be carried forward by the migrations since.

`python -m tests.house.carried NAME` writes the season of 12 as this version keeps it; do so once a version.
"""

import gzip
import json
import sys
from datetime import date, datetime
from pathlib import Path
from uuid import UUID

from django.db import connection, transaction

HERE = Path(__file__).parent
BOOKS = HERE / "books"
NOT_OF_THE_BOOK = ("django_migrations", "django_session", "sqlite_sequence")


def tables() -> list[str]:
    return sorted(set(connection.introspection.table_names()) - set(NOT_OF_THE_BOOK))


def written(value: object) -> object:
    return value.isoformat() if isinstance(value, date | datetime) else str(value) if isinstance(value, UUID) else value


def dump(name: str) -> Path:
    """Write every row of the book that is open now."""
    found = {}
    with connection.cursor() as cursor:
        for table in tables():
            cursor.execute(f'SELECT * FROM "{table}" ORDER BY 1')
            columns = [column.name if hasattr(column, "name") else column[0] for column in cursor.description]
            rows = [[written(value) for value in row] for row in cursor.fetchall()]
            if rows:
                found[table] = {"columns": columns, "rows": rows}
        cursor.execute("SELECT app, name FROM django_migrations ORDER BY id")
        migrations = [list(row) for row in cursor.fetchall()]
    BOOKS.mkdir(exist_ok=True)
    path = BOOKS / f"{name}.json.gz"
    with gzip.GzipFile(path, "wb", mtime=0) as file:
        file.write(json.dumps({"migrations": migrations, "tables": found}).encode())
    return path


def read(path: Path) -> dict:
    return json.loads(gzip.decompress(path.read_bytes()))


@transaction.atomic
def load(book: dict) -> None:
    """Put the rows into tables of just that version, in place of what stands there; guards are lifted already."""
    booleans = _booleans()
    with connection.cursor() as cursor:
        for table in tables():
            cursor.execute(f'DELETE FROM "{table}"')
        for table, held in book["tables"].items():
            names = ", ".join(f'"{column}"' for column in held["columns"])
            places = ", ".join(["%s"] * len(held["columns"]))
            made = booleans.get(table, set())
            rows = [
                [bool(value) if column in made and value is not None else value
                 for column, value in zip(held["columns"], row, strict=True)]
                for row in held["rows"]
            ]  # fmt: skip
            cursor.executemany(f'INSERT INTO "{table}" ({names}) VALUES ({places})', rows)
        for sql in _sequences():
            cursor.execute(sql)


def _booleans() -> dict[str, set[str]]:
    """SQLite keeps truth as 0 and 1, which PostgreSQL takes for numbers."""
    if connection.vendor != "postgresql":
        return {}
    found: dict[str, set[str]] = {}
    with connection.cursor() as cursor:
        cursor.execute("SELECT table_name, column_name FROM information_schema.columns WHERE data_type = 'boolean'")
        for table, column in cursor.fetchall():
            found.setdefault(table, set()).add(column)
    return found


def _sequences() -> list[str]:
    if connection.vendor != "postgresql":
        return []
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT table_name, column_name FROM information_schema.columns"
            " WHERE is_identity = 'YES' AND table_schema = 'public'"
        )
        return [
            f"SELECT setval(pg_get_serial_sequence('\"{table}\"', '{column}'),"
            f' COALESCE((SELECT MAX("{column}") FROM "{table}"), 1))'
            for table, column in cursor.fetchall()
        ]


if __name__ == "__main__":
    import django

    django.setup()
    from tests.worlds import keeping

    keeping.enter("season")
    print(dump(sys.argv[1]))
    keeping.leave()
