"""How each invariant of the books is broken behind Django's back, in every way that it looks for.

The statements run in the world `unguarded`. What a table's own conditions hold as well is broken without them.
"""

from tests.house.firing import added, changed
from tests.house.firing.ledger import CLOSED, UNLOCK

ENTRY, CHARGE, RECEIPT, ALLOCATION = "ledger_journalentry", "fees_charge", "fees_receipt", "fees_allocation"
VOUCHER, MEMBERSHIP, PLACE, BOOKING = "fees_voucher", "membership_membership", "courses_place", "courses_booking"
SIGNON, CLAIM, EXPENSE, ITEM = "rangeday_signon", "entryfund_entryclaim", "expenses_expense", "bank_paymentitem"
RUN, LINE, CLEARING, COHORT = "bank_paymentrun", "bank_statementline", "bank_clearing", "courses_cohort"
SIGNED_OFF = "bank_reconciliation"
SEATED = "state IN ('held', 'offered')"
MORE_THAN_OWED = {"amount": f"(SELECT c.amount + 1 FROM {CHARGE} c WHERE c.id = charge_id)"}
MORE_THAN_CAME = {"amount": f"(SELECT r.amount + 1 FROM {RECEIPT} r WHERE r.id = receipt_id)"}
OF_ANOTHER = {
    "charge_id": f"(SELECT MIN(c.id) FROM {CHARGE} c JOIN {RECEIPT} r ON r.id = receipt_id"
    " WHERE c.household_id <> r.household_id)"
}
MORE = {"amount": "amount + 1"}
LAST_BOOKING = f"id = (SELECT MAX(id) FROM {BOOKING})"
ENDED = {"state": "'withdrawn'", "ended_on": "'2026-09-12'"}
RETURNED = changed("fees_repayment", returned_on="'2026-09-12'", return_reason="'no such account'")

RELEASED = (
    f"(SELECT i.household_id, r.released_by_id, COALESCE(c.recorded_at, e.recorded_at, r.recorded_at) AS asked_for"
    f" FROM {ITEM} i JOIN {RUN} r ON r.id = i.run_id LEFT JOIN {CLAIM} c ON c.id = i.claim_id"
    f" LEFT JOIN {EXPENSE} e ON e.id = i.expense_id) d"
)


def since_the_beginning(table, who, ended_at="NULL"):
    """Whoever decided belongs to each family of which they decided something, or did until it was asked for."""
    ended_at = ended_at if ended_at == "NULL" else f"MAX({ended_at})"
    by = "NULL" if ended_at == "NULL" else f"(SELECT MIN(u.id) FROM auth_user u WHERE u.id <> {who})"
    return (
        "INSERT INTO roll_belonging (household_id, user_id, added_at, added_by_id, ended_at, ended_by_id)"
        f" SELECT household_id, {who}, '2020-01-01 00:00:00', NULL, {ended_at}, {by}"
        f" FROM {table} WHERE {who} IS NOT NULL GROUP BY household_id, {who}"
    )


FILE_WHOLE, GUARDS_STAND = "The database's file is whole", "The database guards stand"
"""How the first is broken stands in tests/faults."""
Ways = dict[str, list[str | tuple[str, ...]]]

WAYS: Ways = {
    "Every entry sums to zero in each fund and is sealed": [
        changed("ledger_posting", **MORE),
        changed("ledger_posting", fund_id="(SELECT code FROM ledger_fund WHERE restricted)"),
        changed(ENTRY, "number = 5", sealed="FALSE"),
    ],
    "The trial balance sums to zero on every date": [changed("ledger_posting", **MORE)],
    "Entry numbers have no gap": [
        changed(ENTRY, "number = 4", number=999),
        changed(ENTRY, "number = 2", number=0),
        (
            f"DELETE FROM ledger_posting WHERE entry_id = (SELECT id FROM {ENTRY} WHERE number = 4)",
            f"DELETE FROM {ENTRY} WHERE number = 4",
        ),
    ],
    "The book's head is its last entry": [
        "UPDATE ledger_book SET last_number = 9",
        "UPDATE ledger_book SET last_digest = 'other'",
    ],
    "The chain of digests holds from the first entry to the last": [
        changed(ENTRY, narration="'other'"),
        changed(ENTRY, "number = 2", previous_digest="'other'"),
        "UPDATE ledger_posting SET amount = amount * 2 WHERE entry_id = 3",
    ],
    "Stored month balances equal the postings": [
        changed("ledger_monthbalance", balance="balance + 1"),
        changed("ledger_monthbalance", closing="closing + 1"),
        changed("ledger_monthbalance", month_end="'2026-09-30'"),
        "DELETE FROM ledger_monthbalance",
    ],
    "Each fund's balance is what its postings make it, and no restricted fund is overdrawn": [
        "UPDATE ledger_fund SET balance = balance + 1 WHERE code = 'general'",
    ],
    "Nothing is posted into a closed year after its closing entry": [
        changed(ENTRY, date="'2020-01-01'"),
        (CLOSED, changed(ENTRY, "number = 3", is_closing="TRUE")),
        changed(ENTRY, "number = 5", year_id="NULL"),
    ],
    "A month that was opened again was asked for by one and agreed to by another, and then opened": [
        changed(UNLOCK, done="TRUE"),
        changed(UNLOCK, state="'agreed'", decided_by_id=2, decided_on="'2026-09-12'"),
        changed(UNLOCK, state="'agreed'", decided_by_id="recorded_by_id", decided_on="'2026-09-12'", done="TRUE"),
    ],
    "Each document attached to a journal is the file that was uploaded": [
        changed("ledger_journal", "receipt <> ''", receipt_digest="'other'"),
    ],
    "Each document has the entries its state calls for, once, and no entry lacks its document": [
        changed(ENTRY, source_id=4711),
        changed(ENTRY, source_type="'fees.bookshelf'"),
        changed("fees_writeoff", cancelled_on="'2026-09-12'"),
        added(CHARGE, charged_on="'2026-09-12'"),
        changed(ENTRY, source_type="'ledger.journalentry'", source_id=1),
        changed(ENTRY, source_type="'ledger.financialyear'", source_id=1),
        changed(ENTRY, "number = 5", reverses_id=1),
    ],
    "Fees owed equals charges less credits, vouchers and receipts, family by family": [
        changed(RECEIPT, **MORE),
        changed(CHARGE, **MORE),
        changed(VOUCHER, **MORE),
        changed("fees_chargecredit", **MORE),
    ],
    "No charge is settled by more than its amount, no receipt spent twice": [
        changed(ALLOCATION, "charge_id IS NOT NULL", **MORE_THAN_OWED),
        changed(ALLOCATION, "repayment_id IS NOT NULL", **MORE_THAN_CAME),
        changed(VOUCHER, "state = 'accepted'", **MORE_THAN_OWED),
    ],
    "What is repaid was received or is owed again, and a receipt pays only its own family's charges": [
        RETURNED,
        changed("fees_repayment", **MORE),
        changed(ALLOCATION, "repayment_id IS NOT NULL", freed_on="'2026-09-12'"),
        changed(ALLOCATION, "charge_id IS NOT NULL", **OF_ANOTHER),
        changed(ALLOCATION, used_on="'2026-07-01'"),
    ],
    "Fees in advance equals the charges whose thing has not started, and what was written by hand": [
        changed(CHARGE, "recognised_on IS NULL AND starts_on > charged_on", starts_on="charged_on"),
        changed(CHARGE, "starts_on <= charged_on", starts_on="'2027-05-01'"),
    ],
    "The GST in each fee, and in what was credited or written off of it, is an eleventh of the club's part": [
        changed(CHARGE, "tax > 0", tax="tax + 1"),
        changed(CHARGE, "id IN (SELECT charge_id FROM fees_chargecredit WHERE tax > 0)", tax=0),
        changed("fees_chargecredit", "tax > 0", tax="tax + 1"),
        changed("fees_writeoff", tax=1),
    ],
    "Vouchers owed equals the vouchers accepted and unpaid, and what was written by hand, department by department": [
        changed(VOUCHER, "state = 'accepted'", amount="amount - 1"),
        changed(VOUCHER, "state = 'accepted'", **{**ENDED, "state": "'refused'", "end_reason": "'other'"}),
    ],
    "What is owed back to each department equals the vouchers that were given back and not paid yet": [
        changed("fees_giveback", **MORE),
        changed("fees_giveback", state="'paid'", paid_on="'2026-09-12'"),
        changed("fees_giveback", household_id="household_id - 1"),
        changed("fees_giveback", state="'undone'", undone_on="'2026-09-12'"),
        changed(VOUCHER, "given_back > 0", given_back="given_back + 1"),
        changed(VOUCHER, "given_back > 0", state="'returned'", ended_on="'2026-09-12'"),
    ],
    "No more vouchers a child, scheme and year than the scheme allows, never more than the fee or its value": [
        "UPDATE fees_voucher SET person_id = 1",
        changed(VOUCHER, "state = 'accepted'", **MORE_THAN_OWED),
        "UPDATE fees_vouchervalue SET amount = 1",
    ],
    "Each file of a voucher claim is the one that was sent, or that the department answered": [
        changed("fees_claimfile", file_digest="'other'"),
        changed("fees_claimfile", file="'evidence/lost'"),
    ],
    "No credit that a voucher made is paid back as money, where its scheme forbids that": [
        changed("fees_tiedcredit", amount=f"(SELECT r.amount + 1 FROM {RECEIPT} r WHERE r.id = receipt_id)"),
        changed(VOUCHER, "window_id IS NOT NULL", **{**ENDED, "state": "'refused'", "end_reason": "'other'"}),
        changed("fees_tiedcredit", receipt_id=f"(SELECT MIN(id) FROM {RECEIPT})"),
    ],
    "What is left of an arrangement's parts never comes to more than the family owes": [
        changed("fees_arrangementpart", amount="amount + 100000"),
    ],
    "Affiliation payable equals the shares not passed on and what was written by hand, each association": [
        changed("fees_chargeshare", **MORE),
        changed("membership_remittanceline", **MORE),
    ],
    "Nobody is a member twice on one day, and each membership has its own charge": [
        added(MEMBERSHIP, starts_on="'2026-10-01'", charge_id="NULL"),
        changed(MEMBERSHIP, "charge_id IS NOT NULL", person_id="(SELECT MAX(id) FROM roll_person)"),
        changed(MEMBERSHIP, "charge_id IS NOT NULL", cancelled_on="'2026-09-12'"),
    ],
    "What is passed on is the sum of its members' shares": [changed("membership_remittance", **MORE)],
    "A cohort never holds more places than its capacity, and a cancelled one none": [
        f"UPDATE {COHORT} SET capacity = 1",
        f"UPDATE {COHORT} SET cancelled_on = '2026-09-12', cancel_reason = 'other'",
    ],
    "Each waitlist is in the order of arrival, but for moves with a reason": [
        changed(BOOKING, LAST_BOOKING, number=0),
        changed(BOOKING, rank="rank + 1"),
    ],
    "Nobody was passed over in a waitlist without a reason": [
        (
            changed(BOOKING, "id > 1", state="'waiting'"),
            changed(BOOKING, LAST_BOOKING, state="'offered'", offer_lapses_on="'2026-09-30'"),
            added("courses_bookingevent", booking_id=f"(SELECT MAX(id) FROM {BOOKING})", kind="'offered'"),
        ),
    ],
    "A booking stands as its places do": [
        changed(BOOKING, seats="seats + 1"),
        changed(BOOKING, state="'waiting'"),
        changed(PLACE, **ENDED),
        changed(PLACE, course_id="course_id + 1"),
    ],
    "Each held place is charged, and each ended one credited by its course's rule": [
        changed(PLACE, SEATED, **ENDED),
        changed(PLACE, "state = 'held'", person_id="person_id + 1000"),
        changed(PLACE, "state = 'held'", charge_id=f"(SELECT MAX(id) FROM {CHARGE})"),
    ],
    "A cancelled cohort has no income": [changed(COHORT, cancelled_on="'2026-09-12'")],
    "Each sign-on costs what the schedule says, and each one on account has its charge": [
        changed(SIGNON, **MORE),
        changed(SIGNON, price_id="NULL"),
        f"UPDATE {CHARGE} SET amount = amount + 1 WHERE id IN (SELECT charge_id FROM {SIGNON})",
        changed(SIGNON, "paid = 'cash'", paid="'account'"),
    ],
    "The GST in a fee paid at the range is an eleventh of the club's part": [
        changed(SIGNON, "paid = 'cash'", tax=1),
    ],
    "Refunds payable equals approved and unpaid refund requests, family by family": [
        changed(CLAIM, "state = 'approved'", **MORE),
        changed(CLAIM, "state = 'recorded'", state="'approved'", decided_by_id=3, decided_on="'2026-09-12'"),
    ],
    "One standing refund request a junior and event": [
        ("DROP INDEX entryfund_one_claim_a_junior_and_event", f"UPDATE {CLAIM} SET person_id = 1"),
    ],
    "Nobody decided a refund request of a family that they belonged to when it was made or since": [
        since_the_beginning(CLAIM, "decided_by_id"),
        since_the_beginning(CLAIM, "decided_by_id", ended_at="recorded_at"),
    ],
    "Nobody decided what they recorded": [changed(CLAIM, "state = 'approved'", recorded_by_id="decided_by_id")],
    "Each receipt is the file that was uploaded, until its person is erased": [
        changed(CLAIM, receipt_digest="'other'"),
        changed("entryfund_moreevidence", file_digest="'other'"),
        changed("entryfund_containerreturn", receipt="'lost.pdf'"),
    ],
    "Other payables equals expenses and vouchers given back that are not paid yet, and what was written by hand": [
        changed(EXPENSE, "state = 'approved'", **MORE),
        changed(EXPENSE, "state = 'paid'", state="'approved'", paid_on="NULL"),
    ],
    "Nobody decided about an expense that they recorded": [
        changed(EXPENSE, "state = 'approved'", recorded_by_id="decided_by_id"),
    ],
    "Nobody decided an expense of a family that they belonged to when it was recorded or since": [
        since_the_beginning(EXPENSE, "decided_by_id"),
        since_the_beginning(EXPENSE, "decided_by_id", ended_at="recorded_at"),
    ],
    "Each expense's receipt is the file that was uploaded": [changed(EXPENSE, receipt_digest="'other'")],
    "Families pay into the account that two people agreed on": [
        changed("bank_bankaccount", **{column: "'1'"}) for column in ("holder", "bsb", "account_number", "iban", "bic")
    ],
    "Bank details are gone only where those of the family’s last person were erased": [
        changed("bank_bankdetails", account_number="''"),
    ],
    "The cash box equals its takings less bankings and counted differences": [
        changed("rangeday_banking", **MORE),
        changed(SIGNON, "paid = 'cash'", cancelled_on="'2026-09-12'"),
        changed("rangeday_tillcount", counted="counted + 1"),
    ],
    "Card takings equal what the readers took less what was settled": [
        changed("bank_cardsettlement", takings="takings + 1"),
        changed(RECEIPT, "method = 'card'", **MORE),
    ],
    "A payment that went out stands behind a document that says it is paid, and no two behind one": [
        changed(EXPENSE, "state = 'paid'", state="'approved'", paid_on="NULL"),
        changed(ITEM, **MORE),
        changed(ITEM, "expense_id IS NOT NULL", household_id="household_id + 1"),
        changed(ITEM, "state = 'paid'", state="'returned'", expense_id="NULL", repayment_id=1),
        changed(ITEM, "state = 'paid'", expense_id="NULL"),
    ],
    "A run that was released was released by a second person, and its file is always the same": [
        changed(RUN, "state = 'released'", recorded_by_id="released_by_id"),
        changed(ITEM, "state = 'paid'", run_id=f"(SELECT id FROM {RUN} WHERE state = 'made')"),
        added("bank_paymentfile", file_digest="'other'"),
    ],
    "Nobody released a payment to a family that they belonged to when it was asked for or since": [
        since_the_beginning(RELEASED, "released_by_id"),
        since_the_beginning(RELEASED, "released_by_id", ended_at="asked_for"),
    ],
    "What a clearing says is the same money comes to the same sum, in one account": [
        changed(CLEARING, complete="FALSE"),
        changed(CLEARING, settled_on="'2026-09-12'"),
        f"UPDATE {LINE} SET amount = amount + 1",
        f"UPDATE {LINE} SET bank_account_id = bank_account_id + 1",
        (changed("ledger_posting", "id IN (SELECT posting_id FROM bank_clearedposting)", account_id="account_id + 1"),),
        changed("bank_clearedline", stands="FALSE"),
        changed(CLEARING, undone_on="'2026-09-12'", undone_by_id=1, undo_reason="'other'"),
    ],
    "A month that is signed off still reconciles to 0.00, with the balances that were signed": [
        *(
            (changed("bank_reconciliation", **{column: f"{column} + 1"}),)
            for column in ("deposits", "payments", "book_balance", "recorded_later")
        ),
        f"UPDATE {LINE} SET date = '2026-08-15' WHERE id NOT IN (SELECT line_id FROM bank_clearedline)",
    ],
    "Each journal of depreciation is the sum of its lines, thing by thing": [
        changed("yearend_depreciationline", **MORE),
    ],
    "A month of the budget lies in its own year": [changed("yearend_budgetmonth", month="'2027-07-01'")],
    "GST collected is the tax of what was charged and paid, and what was written by hand": [
        changed(CHARGE, "tax > 0", tax="tax + 1"),
        changed("fees_chargecredit", "tax > 0", tax="tax + 1"),
        changed("fees_writeoff", tax=1),
        changed(SIGNON, "paid = 'cash'", tax=1),
        changed("yearend_foundtaxline", tax="tax + 1"),
    ],
    "GST paid is the tax of the bills that were approved, and what was written by hand": [
        changed(EXPENSE, "state = 'approved'", tax=1),
    ],
    "Each GST return is what its journal posted": [changed("yearend_gstreturn", collected="collected + 1")],
    "Cash and accrual agree line by line: nothing lies between them that the bridge does not name": [
        changed("reports_monthtrace", "what = 'cash'", **MORE),
    ],
    "Stored traces equal what the postings, receipts and vouchers say": [
        changed("reports_monthtrace", **MORE),
        "DELETE FROM reports_monthtrace WHERE id = (SELECT MIN(id) FROM reports_monthtrace)",
    ],
    "Accounts, the club’s bank accounts and sign-offs are as their last recorded change left them": [
        changed("ledger_account", "role IS NULL", code="'9999'"),
        changed("ledger_account", "role = 'donations'", role="NULL"),
        changed("bank_bankaccount", account_id="(SELECT id FROM ledger_account WHERE role = 'till')"),
        changed(SIGNED_OFF, reopened_on="'2026-09-12'", reopened_by_id="recorded_by_id", reopen_reason="'late'"),
        added("ledger_account", "role IS NULL", code="'9998'"),
        f"DELETE FROM {SIGNED_OFF}",
    ],
}
