"""What makes the guards of statements, clearings and signed-off months fire. August is signed off in the world."""

from clubdesk.rooms import ERASED
from tests.house.firing import Cases, Fires, added, changed

SIGNED, LINE, CLEARING = "bank_reconciliation", "bank_statementline", "bank_clearing"
JOINED, POSTED = "bank_clearedline", "bank_clearedposting"
ON, LATER, IN_AUGUST = "'2026-09-12'", "'2026-09-13'", "'2026-08-15'"
REOPENED = changed(SIGNED, reopened_on=ON, reopened_by_id=1, reopen_reason="'typed wrongly'")
INCOMPLETE = changed(CLEARING, complete="FALSE")
COMPLETE = changed(CLEARING, complete="TRUE")
UNDONE = changed(CLEARING, undone_on=ON, undone_by_id=1, undo_reason="'wrong'")
LINES_IN_AUGUST = f"UPDATE {LINE} SET date = {IN_AUGUST}"
AT_THE_BANK = "account_id = (SELECT account_id FROM bank_bankaccount)"
IN = "entry_id IN (SELECT e.id FROM ledger_journalentry e WHERE e.date {} '2026-08-31')"
ANOTHER_LINE = f"(SELECT MAX(id) FROM {LINE})"
ANOTHER_POSTING = "(SELECT MAX(id) FROM ledger_posting)"
PAIRED = (
    f"DELETE FROM {JOINED}",
    added(POSTED, posting_id=ANOTHER_POSTING),
    f"UPDATE ledger_posting SET account_id = (SELECT account_id FROM bank_bankaccount),"
    f" amount = -(SELECT p.amount FROM ledger_posting p WHERE p.id = (SELECT MIN(posting_id) FROM {POSTED}))"
    f" WHERE id = {ANOTHER_POSTING}",
    f"UPDATE {CLEARING} SET settled_on = '2027-06-30'",
)
"""The clearing joins two entries that cancel each other, and no line."""


def joined(table, column, another):
    """The guards of what a clearing joins, lines and postings alike."""
    other = {column: another}
    fallen = changed(table, stands="FALSE")
    return {
        f"{table}_joins_an_open_clearing": [
            Fires(added(table, **other)),
            Fires(added(table, stands="FALSE", **other), before=[INCOMPLETE], spares=[added(table, **other)]),
        ],
        f"{table}_keeps": [
            Fires(
                changed(table, clearing_id="clearing_id + 1"),
                changed(table, **{column: f"{column} + 1000"}),
                fallen,
            ),
            Fires(before=[UNDONE], spares=[fallen]),
            Fires(changed(table, stands="TRUE"), before=[fallen]),
        ],
    }


CASES: Cases = {
    "bank_reconciliation_differs_by_nil": Fires(
        *(
            added(SIGNED, **{column: f"{column} + 1"})
            for column in ("statement_balance", "deposits", "payments", "book_balance")
        ),
        spares=[added(SIGNED)],
    ),
    "bank_reconciliation_stays_reopened": Fires(
        changed(SIGNED, reopened_on="NULL"), changed(SIGNED, reopened_on=LATER), before=[REOPENED]
    ),
    "bank_signed_off_months_take_no_entry": [
        Fires(
            added("ledger_posting", f"{AT_THE_BANK} AND {IN.format('<=')}"),
            spares=[
                added("ledger_posting", f"{AT_THE_BANK} AND {IN.format('>')}"),
                added("ledger_posting", f"NOT {AT_THE_BANK} AND {IN.format('<=')}"),
            ],
        ),
        Fires(before=[REOPENED], spares=[added("ledger_posting", f"{AT_THE_BANK} AND {IN.format('<=')}")]),
    ],
    "bank_signed_off_months_take_no_line": [
        Fires(added(LINE, date=IN_AUGUST), added(LINE, date="'2026-08-31'"), spares=[added(LINE, date="'2026-09-01'")]),
        Fires(before=[REOPENED], spares=[added(LINE, date=IN_AUGUST)]),
    ],
    "bank_signed_off_months_stay_explained": [
        Fires(changed(JOINED, stands="FALSE"), before=[LINES_IN_AUGUST]),
        Fires(spares=[changed(JOINED, stands="FALSE")]),
        Fires(before=[LINES_IN_AUGUST, REOPENED], spares=[changed(JOINED, stands="FALSE")]),
    ],
    "bank_signed_off_months_take_no_pair": [
        Fires(
            added(CLEARING, settled_on=IN_AUGUST),
            added(CLEARING, settled_on="'2026-08-31'"),
            spares=[added(CLEARING, settled_on="'2026-09-01'")],
        ),
        Fires(before=[REOPENED], spares=[added(CLEARING, settled_on=IN_AUGUST)]),
    ],
    "bank_signed_off_months_keep_their_pairs": [
        Fires(changed(POSTED, stands="FALSE"), before=[UNDONE, f"UPDATE {CLEARING} SET settled_on = {IN_AUGUST}"]),
        Fires(before=[UNDONE, f"UPDATE {CLEARING} SET settled_on = {ON}"], spares=[changed(POSTED, stands="FALSE")]),
        Fires(
            before=[UNDONE, f"UPDATE {CLEARING} SET settled_on = {IN_AUGUST}", REOPENED],
            spares=[changed(POSTED, stands="FALSE")],
        ),
    ],
    "bank_statementline_keeps_its_words": Fires(
        changed(LINE, text="'other'"), spares=[changed(LINE, text=f"'{ERASED}'")]
    ),
    "bank_clearing_keeps_why": Fires(
        changed(CLEARING, why_never="'other'"), spares=[changed(CLEARING, why_never=f"'{ERASED}'")]
    ),
    "bank_clearing_is_even": [
        Fires(before=[INCOMPLETE], spares=[COMPLETE]),
        Fires(COMPLETE, before=[INCOMPLETE, f"UPDATE {LINE} SET amount = amount + 1"]),
        Fires(COMPLETE, before=[INCOMPLETE, f"DELETE FROM {POSTED}"]),
        Fires(COMPLETE, before=[INCOMPLETE, f"UPDATE {CLEARING} SET settled_on = {ON}"]),
        Fires(COMPLETE, before=[INCOMPLETE, *PAIRED, f"UPDATE {CLEARING} SET settled_on = NULL"]),
        Fires(COMPLETE, before=[INCOMPLETE, *PAIRED, f"UPDATE {CLEARING} SET settled_on = '2026-01-01'"]),
        Fires(before=[INCOMPLETE, *PAIRED], spares=[COMPLETE]),
        Fires(COMPLETE, before=[INCOMPLETE, f"DELETE FROM {JOINED}", f"DELETE FROM {POSTED}"]),
        Fires(COMPLETE, before=[INCOMPLETE, f"UPDATE {LINE} SET bank_account_id = bank_account_id + 1"]),
        Fires(COMPLETE, before=[INCOMPLETE, "UPDATE ledger_posting SET account_id = account_id + 1"]),
    ],
    "bank_clearing_stays_as_it_was": [
        Fires(INCOMPLETE, spares=[UNDONE]),
        Fires(changed(CLEARING, undone_on="NULL"), changed(CLEARING, undone_on=LATER), before=[UNDONE]),
    ],
    **joined(JOINED, "line_id", ANOTHER_LINE),
    **joined(POSTED, "posting_id", ANOTHER_POSTING),
}
