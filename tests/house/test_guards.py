"""Every guard of the database is seen to fire, by its own words, with no other standing that could hide its loss."""

import pytest
from django.db import connection

from clubdesk import guards, states
from tests.house.firing import (
    Does,
    added,
    another,
    answer,
    bank,
    care,
    changed,
    columns_of,
    courses,
    deciding,
    deleted,
    desk,
    does,
    fees,
    ledger,
    literal,
    membership,
    one,
    paying,
    rangeday,
    roll,
    safety,
    unique_in,
    without_checks,
    yearend,
)

pytestmark = [pytest.mark.django_db, pytest.mark.world("unguarded")]

GUARDS = guards.registered()
KEEP = {f"{table}_keeps": table for table in sorted(guards.KEPT)}
REPLACE = {f"{table}_replaces_nothing": table for table in sorted(guards.REPLACED)}
BEGIN = {f"{table}_begins": table for table in states.GUARDED}
FOLLOW = {f"{table}_states_follow": table for table in states.GUARDED}
ALWAYS = {name: guard for name, guard in GUARDS.items() if not guard.when and not guard.does}
ROOMS = (desk, ledger, roll, fees, care, membership, courses, rangeday, safety, deciding, bank, paying, yearend)
CASES = {name: case for room in ROOMS for name, case in room.CASES.items()}


def refused(name, statement, before=()):
    """The guard alone refuses it in its own words, and without the guard nobody says them."""
    guard = GUARDS[name]
    assert answer(statement, guard, before) == guard.message, statement
    assert answer(statement, None, before) != guard.message, statement


def not_refused(name, statement, before=()):
    assert answer(statement, GUARDS[name], before) != GUARDS[name].message, statement


def value_of(table, column):
    """The column's value in the first row where it has one."""
    where = one(table, f'"{column}" IS NOT NULL')
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT "{column}" FROM {table} WHERE {where}')
        found = cursor.fetchone()
    return found[0] if found else None


def changes_of(table, column, field):
    """The column to another value, to none and from none, each with what must be done before."""
    filled, empty, null = f'"{column}" IS NOT NULL', f'"{column}" IS NULL', columns_null(table)[column]
    now = value_of(table, column)
    fresh = another(field, now)
    if now is None:
        assert null, f"{table} has no row"
        yield (f'UPDATE {table} SET "{column}" = %s WHERE {one(table)}', [fresh]), ()
        return
    yield (f'UPDATE {table} SET "{column}" = %s WHERE {one(table, filled)}', [fresh]), ()
    if null:
        emptied = changed(table, filled, **{column: "NULL"})
        yield emptied, ()
        yield (f'UPDATE {table} SET "{column}" = %s WHERE {one(table, empty)}', [now]), (emptied,)


def test_no_row_that_is_never_deleted_is_replaced():
    assert {guard.table for guard in ALWAYS.values() if guard.event == "DELETE"} <= guards.REPLACED


def columns_null(table):
    with connection.cursor() as cursor:
        return {each.name: each.null_ok for each in connection.introspection.get_table_description(cursor, table)}


@pytest.mark.parametrize("name", KEEP)
def test_what_a_document_keeps_is_changed_in_no_column_and_its_other_columns_are_free(name):
    table = KEEP[name]
    columns, kept = columns_of(table), guards.KEPT[table]
    with without_checks(table):
        for column in (*kept.columns, *kept.free):
            asked = refused if column in kept.columns else not_refused
            for statement, before in changes_of(table, column, columns[column]):
                asked(name, statement, before)


@pytest.mark.parametrize("name", REPLACE)
def test_no_new_row_takes_the_place_of_one_that_stands_by_anything_unique(name):
    table = REPLACE[name]
    columns, unique = columns_of(table), list(unique_in(table))
    new = {
        column: literal(another(columns[column], value_of(table, column)))
        for each in unique
        for column in each.columns
        if column not in ("id", "key")
    }
    with without_checks(table):
        for each in unique:
            where, before = each.row()
            same = {column: f'"{column}"' for column in each.columns}
            others = {column: value for column, value in new.items() if column not in each.decides}
            refused(name, added(table, where, **{**others, **same}), before)
        not_refused(name, added(table, **new))


@pytest.mark.parametrize("name", BEGIN)
def test_a_document_begins_in_no_state_but_a_first_one(name):
    table = BEGIN[name]
    found, column = states.GUARDED[table]
    with without_checks(table):
        for state in found.all:
            asked = not_refused if state in found.first else refused
            asked(name, added(table, **{column: f"'{state}'"}))


@pytest.mark.parametrize("name", FOLLOW)
def test_a_document_moves_from_state_to_state_only_along_their_table(name):
    table = FOLLOW[name]
    found, column = states.GUARDED[table]
    with without_checks(table):
        for before in found.all:
            stands = changed(table, **{column: f"'{before}'"})
            for after in found.all:
                asked = not_refused if after == before or found.may_follow(before, after) else refused
                asked(name, changed(table, **{column: f"'{after}'"}), (stands,))


@pytest.mark.parametrize("name", ALWAYS)
def test_what_is_never_changed_deleted_or_emptied_is_not(name):
    guard = ALWAYS[name]
    if guard.event == "TRUNCATE" and connection.vendor == "sqlite":
        pytest.skip("SQLite has no TRUNCATE")
    statements = {
        "UPDATE": changed(guard.table, id="id"),
        "DELETE": deleted(guard.table),
        "TRUNCATE": f"TRUNCATE {guard.table} CASCADE",
    }
    refused(name, statements[guard.event])


@pytest.mark.parametrize("name", CASES)
def test_a_guard_refuses_what_it_is_there_for_and_nothing_beside(name):
    cases = CASES[name] if isinstance(CASES[name], list) else [CASES[name]]
    for case in cases:
        if isinstance(case, Does):
            assert does(case, GUARDS[name])
            assert not does(case)
        elif case.only_on in ("", connection.vendor):
            for statement in case.statements:
                refused(name, statement, case.before)
            for statement in case.spares:
                not_refused(name, statement, case.before)
    assert any(isinstance(case, Does) or case.statements for case in cases)


def test_every_guard_is_seen_to_fire_and_every_case_is_of_a_guard():
    by_themselves = {*KEEP, *REPLACE, *BEGIN, *FOLLOW, *ALWAYS}
    assert by_themselves | CASES.keys() == GUARDS.keys()
    assert not by_themselves & CASES.keys()


def test_every_guard_stands_on_a_table_that_exists():
    tables = set(connection.introspection.table_names())
    assert [guard.name for guard in GUARDS.values() if guard.table not in tables] == []
