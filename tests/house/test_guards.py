"""The database itself keeps the rows that the ledger follows, whatever program asks."""

import pytest
from django.db import IntegrityError, connection, transaction

from clubdesk import guards
from tests.worlds.season import Season

pytestmark = pytest.mark.django_db

# A table, and a change to one of its rows that would make the documents say something else than the ledger.
CHANGES = {
    "fees_charge": "amount = amount + 1",
    "fees_receipt": "amount = amount + 1",
    "fees_chargecredit": "amount = amount + 1",
    "fees_writeoff": "amount = amount + 1",
    "fees_repayment": "amount = amount - 1",
    "fees_voucher": "amount = amount - 1",
    "fees_lodgement": "lodged_on = '2026-07-02'",
    "membership_membership": "starts_on = '2026-07-02'",
    "membership_remittance": "amount = amount + 1",
    "membership_remittanceline": "amount = amount + 1",
    "fees_chargeshare": "amount = amount - 1",
    "rangeday_signon": "amount = amount + 1",
    "rangeday_banking": "amount = amount + 1",
    "rangeday_tillcount": "counted = counted + 1",
    "rangeday_countedpiece": "number = number + 1",
    "rangeday_kitloan": "kit_id = kit_id + 1",
    "entryfund_containerreturn": "amount = amount + 1",
    "entryfund_entryclaim": "amount = amount + 1",
    "bank_cardsettlement": "takings = takings + 1",
    "bank_statementline": "amount = amount + 1",
    "bank_clearing": "reasons = 'other'",
    "bank_clearedline": "stands = FALSE",
    "bank_clearedposting": "stands = FALSE",
    "bank_statementimport": "brought = brought + 1",
    "entryfund_bagcount": "containers = containers + 1",
    "expenses_expense": "amount = amount + 1",
    "bank_paymentrun": "pay_on = '2026-07-02'",
    "bank_paymentitem": "amount = amount + 1",
    "bank_paymentfile": "file_digest = '0'",
    "bank_bankdetails": "account_number = '99999'",
    "ledger_journal": "narration = 'other'",
    "courses_place": "person_id = person_id + 1",
    "courses_booking": "number = number + 100",
    "courses_bookingevent": "words = 'nothing happened'",
}


@pytest.fixture
def season(by, approver):
    season = Season(by, approver, seats=2).grow(5)
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


@pytest.mark.only_on("sqlite")
@pytest.mark.parametrize("table", [*CHANGES, "ledger_account"])
def test_nothing_takes_the_place_of_a_row_that_stands(season, table):
    with pytest.raises(IntegrityError):
        execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")


@pytest.mark.only_on("sqlite")
def test_a_line_of_a_sealed_entry_is_not_pushed_out_by_another(season):
    with pytest.raises(IntegrityError):
        execute(
            "UPDATE OR REPLACE ledger_posting SET id = (SELECT MIN(id) FROM ledger_posting)"
            " WHERE id = (SELECT MAX(id) FROM ledger_posting)"
        )


@pytest.mark.parametrize(
    "sql",
    [
        "DELETE FROM fees_allocation WHERE repayment_id IS NOT NULL",
        "DELETE FROM fees_allocation WHERE charge_id IS NOT NULL",
        "UPDATE fees_allocation SET used_on = '2027-06-30'",
        "UPDATE fees_allocation SET receipt_id = (SELECT MAX(id) FROM fees_receipt) WHERE charge_id IS NOT NULL",
        "UPDATE fees_feeitem SET income_account_id = (SELECT id FROM ledger_account WHERE code = '4060')",
        "UPDATE fees_vouchervalue SET amount = 1",
        "UPDATE fees_voucher SET lodgement_id = NULL WHERE lodgement_id IS NOT NULL",
        "UPDATE ledger_account SET role = NULL WHERE role = 'till'",
        "UPDATE rangeday_rangeday SET closed_on = NULL",
    ],
)
def test_what_would_let_the_books_say_something_else_is_refused(season, sql):
    with pytest.raises(IntegrityError):
        execute(sql)


def test_every_guard_stands_on_a_table_that_exists(season):
    assert guards.faults(connection) == []
