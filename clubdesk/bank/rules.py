"""The rules about the bank that the database itself keeps."""

from clubdesk.bank.states import ACCOUNT_CHANGE, PAYMENT, RUN
from clubdesk.guards import Guard, changes, differs, kept, replaces_nothing
from clubdesk.roll.rules import of_the_family
from clubdesk.rooms import ERASED

OF_THE_RUN = "FROM bank_paymentitem i {join} WHERE i.run_id = NEW.id AND i.state = 'waiting'"
ASKED_FOR = (
    "COALESCE((SELECT c.recorded_at FROM entryfund_entryclaim c WHERE c.id = i.claim_id),"
    " (SELECT e.recorded_at FROM expenses_expense e WHERE e.id = i.expense_id),"
    " (SELECT g.recorded_at FROM fees_giveback g WHERE g.id = i.give_back_id), NEW.recorded_at)"
)
"""When what a payment is for was asked for; a credit when the run was made."""
OWN_HOUSEHOLD = (
    "EXISTS (SELECT 1 "
    + OF_THE_RUN.format(join="")
    + f" AND {of_the_family('i.household_id', 'NEW.released_by_id', ASKED_FOR)})"
)
OWN_DETAILS = (
    "EXISTS (SELECT 1 "
    + OF_THE_RUN.format(join="JOIN bank_bankdetails d ON d.id = i.details_id")
    + " AND d.recorded_by_id = NEW.released_by_id)"
)

LINES_OF_CLEARING = (
    "(SELECT COALESCE(SUM(l.amount), 0) FROM bank_clearedline x"
    " JOIN bank_statementline l ON l.id = x.line_id WHERE x.clearing_id = NEW.id"
    " AND l.bank_account_id = NEW.bank_account_id)"
)
POSTINGS_OF_CLEARING = (
    "(SELECT COALESCE(SUM(p.amount), 0) FROM bank_clearedposting x"
    " JOIN ledger_posting p ON p.id = x.posting_id JOIN bank_bankaccount b ON b.account_id = p.account_id"
    " WHERE x.clearing_id = NEW.id AND b.id = NEW.bank_account_id)"
)

NUMBERS = ("holder", "bsb", "account_number", "iban", "bic")
AS_AGREED = (
    "EXISTS (SELECT 1 FROM bank_accountchange c WHERE c.id = (SELECT MAX(m.id) FROM bank_accountchange m"
    " WHERE m.bank_account_id = NEW.id AND m.state = 'agreed') AND "
    + " AND ".join(f"c.{each} = NEW.{each}" for each in NUMBERS)
    + ")"
)


def _differs(kind: str, table: str) -> str:
    """True where the new payment is not of the amount and household of the claim or expense that it names."""
    return (
        f"(NEW.{kind}_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {table} o WHERE o.id = NEW.{kind}_id"
        " AND o.household_id = NEW.household_id"
        " AND o.amount = NEW.amount))"
    )


WITH_LINES = "EXISTS (SELECT 1 FROM bank_clearedline x WHERE x.clearing_id = NEW.id)"
WITH_POSTINGS = "EXISTS (SELECT 1 FROM bank_clearedposting x WHERE x.clearing_id = NEW.id)"
POSTED_LATER = (
    "EXISTS (SELECT 1 FROM bank_clearedposting x JOIN ledger_posting p ON p.id = x.posting_id"
    " JOIN ledger_journalentry e ON e.id = p.entry_id WHERE x.clearing_id = NEW.id AND e.date > NEW.settled_on)"
)

SIGNED_OFF = (
    "EXISTS (SELECT 1 FROM bank_reconciliation r JOIN bank_bankaccount b ON b.id = r.bank_account_id{join}"
    " WHERE r.reopened_on IS NULL AND {where})"
)

GUARDS = [
    *kept(
        "bank_reconciliation",
        "month that was signed off",
        "bank_account_id",
        "month_end",
        "statement_balance",
        "deposits",
        "payments",
        "book_balance",
        "recorded_later",
        "signed_on",
        free=("reopened_on", "reopened_by_id", "reopen_reason"),
    ),
    Guard(
        "bank_reconciliation_differs_by_nil",
        "bank_reconciliation",
        "INSERT",
        when="NEW.statement_balance + NEW.deposits - NEW.payments <> NEW.book_balance + NEW.recorded_later",
        message="Only a month that differs by 0.00 is signed off.",
    ),
    Guard(
        "bank_reconciliation_stays_reopened",
        "bank_reconciliation",
        "UPDATE",
        when="OLD.reopened_on IS NOT NULL AND (NEW.reopened_on IS NULL OR NEW.reopened_on <> OLD.reopened_on)",
        message="A month that was reopened is signed off anew.",
    ),
    Guard(
        "bank_signed_off_months_take_no_entry",
        "ledger_posting",
        "INSERT",
        when=SIGNED_OFF.format(
            join=" JOIN ledger_journalentry e ON e.id = NEW.entry_id",
            where="b.account_id = NEW.account_id AND r.month_end >= e.date",
        ),
        message="That month of the bank account is signed off; use a later date, or reopen the month first.",
    ),
    Guard(
        "bank_signed_off_months_take_no_line",
        "bank_statementline",
        "INSERT",
        when=SIGNED_OFF.format(join="", where="b.id = NEW.bank_account_id AND r.month_end >= NEW.date"),
        message="That month of the bank account is signed off; it takes no more lines.",
    ),
    Guard(
        "bank_signed_off_months_stay_explained",
        "bank_clearedline",
        "UPDATE",
        when="OLD.stands AND NOT NEW.stands AND "
        + SIGNED_OFF.format(
            join=" JOIN bank_statementline l ON l.id = NEW.line_id",
            where="b.id = l.bank_account_id AND r.month_end >= l.date",
        ),
        message="A line of a month that is signed off stays matched; reopen the month first.",
    ),
    Guard(
        "bank_signed_off_months_take_no_pair",
        "bank_clearing",
        "INSERT",
        when="NEW.settled_on IS NOT NULL AND "
        + SIGNED_OFF.format(join="", where="b.id = NEW.bank_account_id AND r.month_end >= NEW.settled_on"),
        message="That month of the bank account is signed off; match the two from a later day on.",
    ),
    Guard(
        "bank_signed_off_months_keep_their_pairs",
        "bank_clearedposting",
        "UPDATE",
        when="OLD.stands AND NOT NEW.stands AND "
        + SIGNED_OFF.format(
            join=" JOIN bank_clearing c ON c.id = NEW.clearing_id",
            where="b.id = c.bank_account_id AND c.settled_on IS NOT NULL AND r.month_end >= c.settled_on",
        ),
        message="Entries of a month that is signed off stay matched; reopen the month first.",
    ),
    *kept("bank_cardsettlement", "card settlement", "takings", "fee", "settled_on"),
    *kept(
        "bank_statementline",
        "statement line",
        "bank_account_id",
        "brought_by_id",
        "bank_id",
        "balance",
        "date",
        "amount",
        free=("text",),
    ),
    Guard(
        "bank_statementline_keeps_its_words",
        "bank_statementline",
        "UPDATE",
        when=f"NEW.text <> OLD.text AND NEW.text <> '{ERASED}'",
        message="A statement line keeps the bank's words, until the family they name is erased.",
    ),
    *kept(
        "bank_clearing",
        "clearing",
        "bank_account_id",
        "reasons",
        "how_sure",
        "settled_on",
        free=("complete", "why_never", "undone_on", "undone_by_id", "undo_reason"),
    ),
    Guard(
        "bank_clearing_keeps_why",
        "bank_clearing",
        "UPDATE",
        when=f"NEW.why_never <> OLD.why_never AND NEW.why_never <> '{ERASED}'",
        message="Why two entries were matched stays written, until the family that it names is erased.",
    ),
    Guard(
        "bank_clearing_is_even",
        "bank_clearing",
        "UPDATE",
        when=f"NEW.complete AND NOT OLD.complete AND ({LINES_OF_CLEARING} <> {POSTINGS_OF_CLEARING}"
        f" OR (NEW.settled_on IS NULL) <> ({WITH_LINES}) OR NOT ({WITH_LINES} OR {WITH_POSTINGS}) OR {POSTED_LATER})",
        message="A statement's lines and what matches them must come to the same sum.",
    ),
    Guard(
        "bank_clearing_stays_as_it_was",
        "bank_clearing",
        "UPDATE",
        when="(OLD.complete AND NOT NEW.complete) OR (OLD.undone_on IS NOT NULL"
        " AND (NEW.undone_on IS NULL OR NEW.undone_on <> OLD.undone_on))",
        message="A clearing is undone once; then the lines are matched anew.",
    ),
    *(
        guard
        for table, what in (("bank_clearedline", "line_id"), ("bank_clearedposting", "posting_id"))
        for guard in (
            Guard(
                f"{table}_joins_an_open_clearing",
                table,
                "INSERT",
                when="NOT NEW.stands OR EXISTS"
                " (SELECT 1 FROM bank_clearing c WHERE c.id = NEW.clearing_id AND c.complete)",
                message="A clearing that is complete takes nothing more.",
            ),
            Guard(
                f"{table}_keeps",
                table,
                "UPDATE",
                when=f"NEW.clearing_id <> OLD.clearing_id OR NEW.{what} <> OLD.{what}"
                " OR (NEW.stands AND NOT OLD.stands)"
                " OR (OLD.stands AND NOT NEW.stands AND NOT EXISTS"
                " (SELECT 1 FROM bank_clearing c WHERE c.id = NEW.clearing_id AND c.undone_on IS NOT NULL))",
                message="What a clearing joined stays its history.",
            ),
            Guard(f"{table}_stays", table, "DELETE", message="What a clearing joined is never deleted."),
            replaces_nothing(table, "part of a clearing"),
        )
    ),
    *kept(
        "bank_statementimport",
        "statement file",
        "bank_account_id",
        "file_name",
        "file_digest",
        "form",
        "first_day",
        "last_day",
        "opening",
        "closing",
        "brought",
        "known",
        "note",
    ),
    *kept(
        "bank_paymentrun",
        "payment run",
        "number",
        "bank_account_id",
        "method",
        "made_on",
        "pay_on",
        free=("state", "released_by_id", "released_on", "withdraw_reason"),
    ),
    *RUN.guards("bank_paymentrun"),
    *kept("bank_paymentfile", "file made", "run_id", "file_digest"),
    Guard(
        "bank_run_is_released_by_somebody_else",
        "bank_paymentrun",
        "UPDATE",
        when=f"NEW.released_by_id IS NOT NULL AND OLD.released_by_id IS NULL AND ({OWN_HOUSEHOLD} OR {OWN_DETAILS})",
        message="Nobody releases a payment to their own family, or to bank details that they entered.",
    ),
    Guard(
        "bank_run_stays_released",
        "bank_paymentrun",
        "UPDATE",
        when="(OLD.released_by_id IS NOT NULL AND (NEW.released_by_id IS NULL"
        " OR NEW.released_by_id <> OLD.released_by_id OR NEW.released_on <> OLD.released_on))"
        " OR (NEW.state = 'withdrawn' AND EXISTS (SELECT 1 FROM bank_paymentitem i WHERE i.run_id = NEW.id"
        " AND i.state IN ('waiting', 'paid', 'returned')))",
        message="A run is made, then released; one of which something was paid is not withdrawn.",
    ),
    Guard(
        "bank_file_is_of_a_released_run",
        "bank_paymentfile",
        "INSERT",
        when="NOT EXISTS (SELECT 1 FROM bank_paymentrun r WHERE r.id = NEW.run_id AND r.state = 'released')",
        message="Only a released run has a file.",
    ),
    Guard(
        "bank_payment_is_what_its_document_says",
        "bank_paymentitem",
        "INSERT",
        when=f"{_differs('claim', 'entryfund_entryclaim')} OR {_differs('expense', 'expenses_expense')}"
        f" OR {_differs('give_back', 'fees_giveback')}"
        " OR (NEW.details_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM bank_bankdetails d"
        " WHERE d.id = NEW.details_id AND d.household_id = NEW.household_id))",
        message="A payment has the amount and the family of what it pays, and that family's bank details.",
    ),
    Guard(
        "bank_payment_is_of_a_voucher_owed_back",
        "bank_paymentitem",
        "INSERT",
        when="EXISTS (SELECT 1 FROM fees_giveback g WHERE g.id = NEW.give_back_id AND g.state = 'undone')",
        message="This voucher is not given back any more; nothing is owed of it.",
    ),
    Guard(
        "bank_voucher_in_a_run_is_given_back",
        "fees_giveback",
        "UPDATE",
        when="NEW.state = 'undone' AND OLD.state <> 'undone' AND EXISTS (SELECT 1 FROM bank_paymentitem i"
        " WHERE i.give_back_id = NEW.id AND i.state IN ('waiting', 'paid'))",
        message="It stands in a payment run; remove it from that first.",
    ),
    *PAYMENT.guards("bank_paymentitem"),
    Guard(
        "bank_payment_joins_an_unreleased_run",
        "bank_paymentitem",
        "INSERT",
        when="EXISTS (SELECT 1 FROM bank_paymentrun r WHERE r.id = NEW.run_id AND r.state <> 'made')",
        message="A payment joins a run before the run is released.",
    ),
    Guard(
        "bank_payment_keeps",
        "bank_paymentitem",
        "UPDATE",
        when=f"NEW.run_id <> OLD.run_id OR {changes('bank_paymentitem', 'household_id')} OR NEW.amount <> OLD.amount"
        " OR COALESCE(NEW.claim_id, 0) <> COALESCE(OLD.claim_id, 0)"
        " OR COALESCE(NEW.expense_id, 0) <> COALESCE(OLD.expense_id, 0)"
        " OR COALESCE(NEW.give_back_id, 0) <> COALESCE(OLD.give_back_id, 0)"
        " OR COALESCE(NEW.details_id, 0) <> COALESCE(OLD.details_id, 0)"
        " OR (OLD.repayment_id IS NOT NULL AND (NEW.repayment_id IS NULL OR NEW.repayment_id <> OLD.repayment_id))"
        " OR (OLD.paid_on IS NOT NULL AND NEW.paid_on <> OLD.paid_on)",
        message="A payment keeps what it is for, to whom and where it goes.",
    ),
    Guard(
        "bank_payment_is_paid_from_a_released_run",
        "bank_paymentitem",
        "UPDATE",
        when="OLD.state = 'waiting' AND NEW.state = 'paid' AND NOT EXISTS"
        " (SELECT 1 FROM bank_paymentrun r WHERE r.id = NEW.run_id AND r.state = 'released')",
        message="A payment is paid only from a released run, and returned only once it was paid.",
    ),
    Guard("bank_payment_stays", "bank_paymentitem", "DELETE", message="A payment is left out, never deleted."),
    replaces_nothing("bank_paymentitem", "payment"),
    *kept(
        "bank_bankdetails",
        "row of bank details",
        "household_id",
        "noted_on",
        free=("title", "bsb", "account_number", "reason"),
    ),
    Guard(
        "bank_details_lead_to_an_account",
        "bank_bankdetails",
        "INSERT",
        when="NEW.bsb IN ('000-000', '999-999') OR (NEW.account_number <> '' AND LTRIM(NEW.account_number, '0') = '')",
        message="No bank has this BSB, or an account number of zeros.",
    ),
    Guard(
        "bank_details_never_change",
        "bank_bankdetails",
        "UPDATE",
        when="(NEW.title <> OLD.title OR NEW.bsb <> OLD.bsb OR NEW.account_number <> OLD.account_number"
        " OR NEW.reason <> OLD.reason) AND NEW.account_number <> ''",
        message="Bank details are never changed; note new ones with a reason.",
    ),
    *kept(
        "bank_accountchange",
        "change of the club’s account",
        "bank_account_id",
        *NUMBERS,
        "replaces",
        "reason",
        "asked_on",
        free=("state", "decided_by_id", "decided_on", "answer"),
    ),
    *ACCOUNT_CHANGE.guards("bank_accountchange"),
    Guard(
        "bank_account_change_stays_decided",
        "bank_accountchange",
        "UPDATE",
        when="OLD.decided_by_id IS NOT NULL AND (NEW.decided_by_id IS NULL OR NEW.decided_by_id <> OLD.decided_by_id"
        " OR NEW.decided_on <> OLD.decided_on OR NEW.answer <> OLD.answer)",
        message="What was decided about the club’s account stays.",
    ),
    Guard(
        "bank_account_changes_as_agreed",
        "bank_bankaccount",
        "UPDATE",
        when=f"({differs(*NUMBERS)}) AND NOT {AS_AGREED}",
        message="The club’s account changes only as one person asked and another agreed.",
    ),
    Guard(
        "bank_account_begins_without_a_number",
        "bank_bankaccount",
        "INSERT",
        when=" OR ".join(f"NEW.{each} <> ''" for each in NUMBERS),
        message="An account begins without its number: one person asks for it, another agrees.",
    ),
]
