"""The database itself keeps the rows that the ledger follows, whatever program asks."""

import pytest
from django.db import IntegrityError, connection, transaction

from clubdesk import guards
from tests.season import Season

pytestmark = pytest.mark.django_db

# A table, and a change to one of its rows that would make the documents say something else than the ledger.
CHANGES = {
    "fees_charge": "amount = amount + 1",
    "fees_receipt": "amount = amount + 1",
    "fees_chargecredit": "amount = amount + 1",
    "fees_repayment": "amount = amount - 1",
    "fees_voucher": "amount = amount - 1",
    "fees_lodgement": "lodged_on = '2026-07-02'",
    "membership_membership": "starts_on = '2026-07-02'",
    "membership_remittance": "amount = amount + 1",
    "rangeday_signon": "amount = amount + 1",
    "rangeday_banking": "amount = amount + 1",
    "rangeday_tillcount": "counted = counted + 1",
    "entryfund_containerreturn": "amount = amount + 1",
    "entryfund_entryclaim": "amount = amount + 1",
    "bank_cardsettlement": "takings = takings + 1",
    "bank_statementline": "amount = amount + 1",
    "ledger_journal": "narration = 'other'",
    "courses_place": "queue_number = queue_number + 100",
}


@pytest.fixture
def season(by, approver):
    season = Season(by, approver).grow(23)
    season.close_and_credit()
    return season


def execute(sql):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql)


@pytest.mark.parametrize("table", CHANGES)
def test_a_row_that_the_ledger_follows_is_neither_changed_nor_deleted(season, table):
    with pytest.raises(IntegrityError):
        execute(f"UPDATE {table} SET {CHANGES[table]}")
    with pytest.raises(IntegrityError):
        execute(f"DELETE FROM {table}")


def test_every_guard_stands_on_a_table_that_exists(season):
    assert guards.faults(connection) == []
