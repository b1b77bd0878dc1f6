"""What makes the ledger's guards fire. July is locked in the world; its one year is 2026-27."""

from tests.house.firing import Cases, Does, Fires, added, changed, deleted

ENTRY, LINE, YEAR, ACCOUNT = "ledger_journalentry", "ledger_posting", "ledger_financialyear", "ledger_account"
LAST_ENTRY = f"(SELECT MAX(id) FROM {ENTRY})"
NEXT = f"(SELECT MAX(number) + 1 FROM {ENTRY})"
ANOTHER = {"number": NEXT, "source_id": "source_id + 100000", "reverses_id": "NULL"}
CLOSED = f"UPDATE {YEAR} SET locked_through = last_day, closed_at = '2027-08-01 00:00:00', closed_by_id = 1"


UNLOCK = "ledger_monthunlock"
AGREED = f"UPDATE {UNLOCK} SET state = 'agreed', decided_by_id = 2, decided_on = '2026-09-12'"


def entry(**values):
    """An unsealed entry that could be sealed as the next, once it has lines."""
    chained = {"previous_digest": "(SELECT last_digest FROM ledger_book)", "sealed": "FALSE", "digest": "'of the next'"}
    return added(ENTRY, **{**ANOTHER, **chained, **values})


def line_of_it(account="bank", amount=500, where="TRUE", **values):
    found = f"(SELECT id FROM {ACCOUNT} WHERE role = '{account}')"
    return added(LINE, where, entry_id=LAST_ENTRY, account_id=found, amount=amount, **values)


BALANCED = [entry(), line_of_it(), line_of_it("donations", -500, party_id="NULL")]
SEAL = {"sealed": "TRUE"}
WITH_EACH_COLUMN = {
    "id": "id + 1000",
    "number": "number + 1",
    "date": "'2026-07-03'",
    "year_id": "year_id + 1",
    "narration": "'other'",
    "source_type": "'other'",
    "source_id": "source_id + 1",
    "purpose": "'other'",
    "is_closing": "NOT is_closing",
    "posted_by_id": "posted_by_id + 1",
    "posted_at": "'2026-01-02 00:00:00'",
    "previous_digest": "'other'",
    "digest": "'other'",
    "reverses_id": "1",
}
A_JOURNAL = entry(
    source_type="'ledger.journal'", source_id="(SELECT MIN(id) FROM ledger_journal)", purpose="'another'",
    reverses_id="NULL",
)  # fmt: skip
AGAINST_ACCUMULATED = [A_JOURNAL, line_of_it(), line_of_it("accumulated", -500, party_id="NULL")]
BY_HAND = "UPDATE ledger_journal SET origin = 'hand', corrects_year_id = NULL"
UNSEALED_LINE = f"entry_id = {LAST_ENTRY}"
POSTED_TO = f"EXISTS (SELECT 1 FROM {LINE} p WHERE p.account_id = {ACCOUNT}.id)"
RESTRICTED = "(SELECT code FROM ledger_fund WHERE restricted)"

CASES: Cases = {
    "book_stays_registered": [
        Fires(
            "UPDATE ledger_book SET gst_from = NULL",
            "UPDATE ledger_book SET gst_from = '2026-07-02'",
            spares=["UPDATE ledger_book SET gst_from = gst_from, gst_basis = 'cash'"],
        ),
        Fires(
            before=["UPDATE ledger_account SET role = NULL WHERE role LIKE 'gst%'"],
            spares=["UPDATE ledger_book SET gst_from = NULL"],
        ),
    ],
    "entry_of_a_journal_spares_accumulated_funds": [
        Fires(changed(ENTRY, "NOT sealed", **SEAL), before=[*AGAINST_ACCUMULATED, BY_HAND, CLOSED]),
        Fires(before=[*AGAINST_ACCUMULATED, BY_HAND], spares=[changed(ENTRY, "NOT sealed", **SEAL)]),
        Fires(
            before=[*AGAINST_ACCUMULATED, f"{BY_HAND.replace('hand', 'opening')}", CLOSED],
            spares=[changed(ENTRY, "NOT sealed", **SEAL)],
        ),
        Fires(before=[*BALANCED, BY_HAND, CLOSED], spares=[changed(ENTRY, "NOT sealed", **SEAL)]),
    ],
    "entry_begins_unsealed": Fires(entry(sealed="TRUE"), spares=[entry()]),
    "entry_keeps": Fires(
        changed(ENTRY, "sealed", narration="'other'"),
        changed(ENTRY, "sealed", sealed="FALSE"),
        changed(ENTRY, "NOT sealed", narration="'other'"),
        *(changed(ENTRY, "NOT sealed", **{**SEAL, column: value}) for column, value in WITH_EACH_COLUMN.items()),
        before=BALANCED,
        spares=[changed(ENTRY, "NOT sealed", **SEAL)],
    ),
    "entry_stays": Fires(deleted(ENTRY)),
    "entry_balances": [
        Fires(changed(ENTRY, "NOT sealed", **SEAL), before=[entry()]),
        Fires(changed(ENTRY, "NOT sealed", **SEAL), before=[entry(), line_of_it()]),
        Fires(
            changed(ENTRY, "NOT sealed", **SEAL),
            before=[entry(), line_of_it(fund_id="'general'"), line_of_it(amount=-500, fund_id=RESTRICTED)],
        ),
    ],
    "entry_follows_the_last": [
        Fires(changed(ENTRY, "NOT sealed", **SEAL), before=[entry(number=f"{NEXT} + 1")]),
        Fires(changed(ENTRY, "NOT sealed", **SEAL), before=[entry(previous_digest="'other'")]),
    ],
    "entry_becomes_the_last": Does(
        changed(ENTRY, "NOT sealed", **SEAL),
        then="(SELECT last_digest FROM ledger_book) = 'of the next'"
        f" AND (SELECT last_number FROM ledger_book) = (SELECT MAX(number) FROM {ENTRY})",
        before=BALANCED,
    ),
    "entry_in_open_month": [
        Fires(
            entry(date="'2026-07-31'"),
            entry(date="'2027-07-01'"),
            entry(year_id=99, date="'2026-08-01'"),
            spares=[entry(date="'2026-08-01'"), entry(date="'2026-07-31'", is_closing="TRUE")],
        ),
        Fires(entry(date="'2026-08-01'"), entry(date="'2026-08-01'", is_closing="TRUE"), before=[CLOSED]),
    ],
    "entry_moves_fund_balance": Does(
        changed(ENTRY, "NOT sealed", **SEAL),
        then="(SELECT balance FROM ledger_fund WHERE code = 'general') = 500"
        f" AND (SELECT balance FROM ledger_fund WHERE code = {RESTRICTED}) = 0",
        before=["UPDATE ledger_fund SET balance = 0", *BALANCED],
    ),
    "posting_joins_open_entry": Fires(added(LINE), before=[entry()], spares=[line_of_it()]),
    "posting_is_in_whole_cents": Fires(added(LINE, amount="amount + 0.5"), spares=[added(LINE)], only_on="sqlite"),
    "posting_names_its_party": Fires(line_of_it("fees_owed", party_id="NULL"), spares=[line_of_it(party_id="NULL")]),
    "posting_of_a_restricted_fund_is_money": Fires(
        *(
            line_of_it(role, fund_id=RESTRICTED)
            for role in ("equipment", "depreciated", "prepayments", "stock", "allowance")
        ),
        spares=[line_of_it(fund_id=RESTRICTED), line_of_it("stock", fund_id="'general'")],
    ),
    "posting_keeps": [
        Fires(changed(LINE, amount="amount + 1")),
        Fires(
            changed(LINE, UNSEALED_LINE, id="id + 1000"),
            changed(LINE, UNSEALED_LINE, entry_id=1),
            before=BALANCED,
            spares=[changed(LINE, UNSEALED_LINE, amount="amount + 1")],
        ),
    ],
    "posting_stays": Fires(deleted(LINE), before=BALANCED, spares=[deleted(LINE, UNSEALED_LINE)]),
    "year_never_reopens": [
        Fires(
            changed(YEAR, first_day="'2026-06-30'"),
            changed(YEAR, last_day="'2027-07-01'"),
            changed(YEAR, locked_through="NULL"),
            changed(YEAR, locked_through="'2026-07-30'"),
            spares=[changed(YEAR, locked_through="'2026-08-31'"), CLOSED],
        ),
        Fires(changed(YEAR, closed_at="NULL"), before=[CLOSED]),
        Fires(changed(YEAR, locked_through="NULL"), before=[f"{AGREED}, stays_locked_through = '2026-06-30'"]),
        Fires(changed(YEAR, locked_through="NULL"), before=[f"{AGREED}, done = TRUE"]),
        Fires(changed(YEAR, locked_through="NULL"), before=[f"{AGREED}, year_id = year_id + 1"]),
        Fires(before=[AGREED], spares=[changed(YEAR, locked_through="NULL")]),
        Fires(
            before=[f"{AGREED}, stays_locked_through = '2026-06-30'"],
            spares=[changed(YEAR, locked_through="'2026-06-30'")],
        ),
    ],
    "year_notes_that_months_were_opened": Does(
        changed(YEAR, locked_through="NULL"),
        then=f"(SELECT COUNT(*) FROM {UNLOCK} WHERE done) = 1",
        before=[AGREED],
    ),
    "ledger_unlock_is_done_once": [
        Fires(changed(UNLOCK, done="TRUE"), spares=[AGREED]),
        Fires(
            changed(UNLOCK, done="FALSE"),
            changed(UNLOCK, decided_by_id="decided_by_id + 1"),
            changed(UNLOCK, decided_by_id="NULL"),
            changed(UNLOCK, decided_on="'2026-09-13'"),
            changed(UNLOCK, answer="'other'"),
            before=[f"{AGREED}, done = TRUE"],
        ),
        Fires(before=[AGREED], spares=[changed(UNLOCK, done="TRUE")]),
    ],
    "ledger_unlock_begins_undone": Fires(added(UNLOCK, done="TRUE"), spares=[added(UNLOCK)]),
    "month_balance_insert_before_the_close": [
        Fires(added("ledger_monthbalance"), before=[CLOSED]),
        Fires(spares=[added("ledger_monthbalance")]),
    ],
    "month_balance_delete_before_the_close": [
        Fires(deleted("ledger_monthbalance"), before=[CLOSED]),
        Fires(spares=[deleted("ledger_monthbalance")]),
    ],
    "years_do_not_overlap": Fires(
        added(YEAR, first_day="'2027-06-30'", last_day="'2028-06-30'"),
        added(YEAR, first_day="'2025-07-01'", last_day="'2026-07-01'"),
        added(YEAR, first_day="'2026-08-01'", last_day="'2026-08-31'"),
        spares=[added(YEAR, first_day="'2027-07-01'", last_day="'2028-06-30'")],
    ),
    "account_kind_keeps": Fires(
        changed(ACCOUNT, POSTED_TO, id="id + 1000"),
        changed(ACCOUNT, POSTED_TO, kind="'equity'"),
        changed(ACCOUNT, POSTED_TO, needs_party="NOT needs_party"),
        changed(ACCOUNT, POSTED_TO, is_money="NOT is_money"),
        changed(ACCOUNT, f"role IS NOT NULL AND {POSTED_TO}", role="NULL"),
        changed(ACCOUNT, f"role IS NULL AND {POSTED_TO}", role="'other'"),
        before=[
            line_of_it(),
            f"UPDATE {LINE} SET account_id = (SELECT id FROM {ACCOUNT} WHERE code = '5040') WHERE id = 1",
        ],
        spares=[changed(ACCOUNT, f"NOT {POSTED_TO}", kind="'equity'"), changed(ACCOUNT, POSTED_TO, name="'other'")],
    ),
}
