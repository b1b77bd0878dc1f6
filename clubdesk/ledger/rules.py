"""The rules about the ledger that the database itself keeps."""

from clubdesk.guards import Guard, kept, replaces_nothing
from clubdesk.ledger.states import UNLOCK

UNBALANCED = (
    "EXISTS (SELECT 1 FROM ledger_posting p WHERE p.entry_id = NEW.id GROUP BY p.fund_id HAVING SUM(p.amount) <> 0)"
)
UNCHANGED = " AND ".join(
    f"NEW.{column} = OLD.{column}"
    for column in (
        "id",
        "number",
        "date",
        "narration",
        "source_type",
        "source_id",
        "purpose",
        "is_closing",
        "posted_by_id",
        "posted_at",
        "previous_digest",
        "digest",
    )
)
FUND_EFFECT = (
    "(SELECT COALESCE(SUM(p.amount), 0) FROM ledger_posting p JOIN ledger_account a ON a.id = p.account_id"
    " WHERE p.entry_id = NEW.id AND p.fund_id = ledger_fund.code AND a.kind IN ('asset', 'liability'))"
)
THE_BOOK = "ledger_book b FOR NO KEY UPDATE"
"""What a guard holds that asks whether a month is locked or a year closed, as whoever locks or closes does."""
IN_AN_OPEN_MONTH = (
    "EXISTS (SELECT 1 FROM ledger_financialyear y WHERE y.id = NEW.year_id"
    " AND NEW.date BETWEEN y.first_day AND y.last_day AND y.closed_at IS NULL"
    " AND (NEW.is_closing OR y.locked_through IS NULL OR NEW.date > y.locked_through))"
)
BEFORE_THE_FIRST_MONTH = (
    "(NEW.year_id IS NULL AND NOT NEW.is_closing AND NEW.date < (SELECT MIN(y.first_day) FROM ledger_financialyear y)"
    " AND NOT EXISTS (SELECT 1 FROM ledger_financialyear y WHERE y.locked_through IS NOT NULL))"
)
IN_A_CLOSED_YEAR = (
    "EXISTS (SELECT 1 FROM ledger_financialyear y WHERE y.closed_at IS NOT NULL"
    " AND {row}.month_end BETWEEN y.first_day AND y.last_day)"
)
OPENS_MONTHS = (
    "(OLD.locked_through IS NOT NULL AND (NEW.locked_through IS NULL OR NEW.locked_through < OLD.locked_through))"
)


def _sealed(reference: str) -> str:
    return f"EXISTS (SELECT 1 FROM ledger_journalentry e WHERE e.id = {reference} AND e.sealed)"


def tax_stays(table: str, noun: str) -> Guard:
    """The GST in a document is posted with it, or found later where it was not; what was posted stays."""
    return Guard(
        f"{table}_tax_stays",
        table,
        "UPDATE",
        when="OLD.tax <> 0 AND NEW.tax <> OLD.tax",
        message=f"The GST that was posted of a {noun} stays.",
    )


GUARDS = [
    Guard(
        "entry_begins_unsealed",
        "ledger_journalentry",
        "INSERT",
        when="NEW.sealed",
        message="An entry is sealed after its lines are written.",
    ),
    replaces_nothing("ledger_journalentry", "entry"),
    Guard(
        "entry_keeps",
        "ledger_journalentry",
        "UPDATE",
        when=f"OLD.sealed OR NOT (NEW.sealed AND {UNCHANGED}"
        " AND COALESCE(NEW.year_id, 0) = COALESCE(OLD.year_id, 0)"
        " AND COALESCE(NEW.reverses_id, 0) = COALESCE(OLD.reverses_id, 0))",
        message="A journal entry is never changed; reverse it and post it again.",
    ),
    Guard(
        "entry_stays",
        "ledger_journalentry",
        "DELETE",
        when="OLD.sealed",
        message="A journal entry is never deleted; reverse it instead.",
    ),
    Guard(
        "entry_balances",
        "ledger_journalentry",
        "UPDATE",
        when=f"NEW.sealed AND NOT OLD.sealed AND ({UNBALANCED}"
        " OR NOT EXISTS (SELECT 1 FROM ledger_posting p WHERE p.entry_id = NEW.id))",
        message="An entry must sum to zero in each fund.",
    ),
    Guard(
        "entry_follows_the_last",
        "ledger_journalentry",
        "UPDATE",
        when="NEW.sealed AND NOT OLD.sealed AND NOT EXISTS (SELECT 1 FROM ledger_book b"
        " WHERE b.last_number = NEW.number - 1 AND b.last_digest = NEW.previous_digest)",
        message="An entry follows the one before it, by number and by digest.",
    ),
    Guard(
        "entry_becomes_the_last",
        "ledger_journalentry",
        "UPDATE",
        when="NEW.sealed AND NOT OLD.sealed",
        does="UPDATE ledger_book SET last_number = NEW.number, last_digest = NEW.digest",
    ),
    Guard(
        "entry_in_open_month",
        "ledger_journalentry",
        "INSERT",
        when=f"NOT ({IN_AN_OPEN_MONTH} OR {BEFORE_THE_FIRST_MONTH})",
        message="That date is in a locked month or a closed year.",
    ),
    Guard(
        "entry_moves_fund_balance",
        "ledger_journalentry",
        "UPDATE",
        when="NEW.sealed AND NOT OLD.sealed",
        does=f"UPDATE ledger_fund SET balance = balance + {FUND_EFFECT}"
        f" WHERE code IN (SELECT p.fund_id FROM ledger_posting p WHERE p.entry_id = NEW.id)"
        f" AND {FUND_EFFECT} <> 0",
    ),
    Guard(
        "posting_joins_open_entry",
        "ledger_posting",
        "INSERT",
        when=_sealed("NEW.entry_id"),
        message="No line can be added to a sealed entry.",
    ),
    replaces_nothing("ledger_posting", "line of an entry"),
    Guard(
        "posting_is_in_whole_cents",
        "ledger_posting",
        "INSERT",
        when="CAST(NEW.amount AS BIGINT) <> NEW.amount",
        message="A line is in whole cents.",
    ),
    Guard(
        "posting_names_its_party",
        "ledger_posting",
        "INSERT",
        when="NEW.party_id IS NULL"
        " AND EXISTS (SELECT 1 FROM ledger_account a WHERE a.id = NEW.account_id AND a.needs_party)",
        message="A line in this account must say who owes or is owed.",
    ),
    Guard(
        "posting_of_a_restricted_fund_is_money",
        "ledger_posting",
        "INSERT",
        when="EXISTS (SELECT 1 FROM ledger_fund f WHERE f.code = NEW.fund_id AND f.restricted)"
        " AND EXISTS (SELECT 1 FROM ledger_account a WHERE a.id = NEW.account_id"
        " AND a.role IN ('equipment', 'depreciated', 'prepayments', 'stock', 'allowance', 'gst_paid'))",
        message="A restricted fund holds money only; charge what it buys to an expense account of the fund.",
    ),
    Guard(
        "posting_keeps",
        "ledger_posting",
        "UPDATE",
        when=f"NEW.id <> OLD.id OR {_sealed('OLD.entry_id')} OR {_sealed('NEW.entry_id')}",
        message="A line of a sealed entry is never changed.",
    ),
    Guard(
        "posting_stays",
        "ledger_posting",
        "DELETE",
        when=_sealed("OLD.entry_id"),
        message="A line of a sealed entry is never deleted.",
    ),
    Guard(
        "year_never_reopens",
        "ledger_financialyear",
        "UPDATE",
        when="OLD.closed_at IS NOT NULL OR NEW.first_day <> OLD.first_day OR NEW.last_day <> OLD.last_day"
        f" OR ({OPENS_MONTHS} AND NOT EXISTS (SELECT 1 FROM ledger_monthunlock u WHERE u.year_id = OLD.id"
        " AND u.state = 'agreed' AND NOT u.done AND (u.stays_locked_through = NEW.locked_through"
        " OR (u.stays_locked_through IS NULL AND NEW.locked_through IS NULL))))",
        message="A closed year is never opened again, and a locked month only where two people want it.",
    ),
    Guard(
        "year_notes_that_months_were_opened",
        "ledger_financialyear",
        "UPDATE",
        when=OPENS_MONTHS,
        does="UPDATE ledger_monthunlock SET done = TRUE WHERE year_id = NEW.id AND state = 'agreed' AND NOT done",
    ),
    Guard(
        "year_stays",
        "ledger_financialyear",
        "DELETE",
        message="A financial year is never deleted.",
    ),
    replaces_nothing("ledger_financialyear", "financial year"),
    Guard(
        "month_balance_keeps",
        "ledger_monthbalance",
        "UPDATE",
        message="What is stored of a locked month is never changed.",
    ),
    *(
        Guard(
            f"month_balance_{event.lower()}_before_the_close",
            "ledger_monthbalance",
            event,
            when=IN_A_CLOSED_YEAR.format(row=row),
            message="What is stored of a closed year stays as it is.",
        )
        for event, row in (("INSERT", "NEW"), ("DELETE", "OLD"))
    ),
    replaces_nothing("ledger_monthbalance", "stored balance"),
    Guard(
        "years_do_not_overlap",
        "ledger_financialyear",
        "INSERT",
        when="EXISTS (SELECT 1 FROM ledger_financialyear y"
        " WHERE y.first_day <= NEW.last_day AND y.last_day >= NEW.first_day)",
        message="Two financial years cannot share a day.",
    ),
    Guard(
        "account_kind_keeps",
        "ledger_account",
        "UPDATE",
        when="(NEW.id <> OLD.id OR NEW.kind <> OLD.kind OR NEW.needs_party <> OLD.needs_party"
        " OR NEW.is_money <> OLD.is_money OR COALESCE(NEW.role, '') <> COALESCE(OLD.role, ''))"
        " AND EXISTS (SELECT 1 FROM ledger_posting p WHERE p.account_id = OLD.id)",
        message="An account that has been posted to keeps its kind and role.",
    ),
    replaces_nothing("ledger_account", "account"),
    Guard(
        "book_stays_registered",
        "ledger_book",
        "UPDATE OF gst_from",
        when="OLD.gst_from IS NOT NULL AND (NEW.gst_from IS NULL OR NEW.gst_from <> OLD.gst_from) AND EXISTS"
        " (SELECT 1 FROM ledger_posting p JOIN ledger_account a ON a.id = p.account_id"
        " WHERE a.role IN ('gst', 'gst_collected', 'gst_paid'))",
        message="The club has posted GST; the day from which it is registered stays.",
    ),
    *kept(
        "ledger_journal",
        "journal",
        "date",
        "narration",
        "origin",
        "reference",
        "reverse_on",
        "receipt_digest",
        "file_digest",
        "corrects_year_id",
        free=("receipt", "receipt_type", "undone_reason"),
    ),
    Guard(
        "entry_of_a_journal_spares_accumulated_funds",
        "ledger_journalentry",
        "UPDATE OF sealed",
        when="NEW.sealed AND NOT OLD.sealed AND NEW.source_type = 'ledger.journal' AND NEW.reverses_id IS NULL"
        " AND EXISTS (SELECT 1 FROM ledger_posting p JOIN ledger_account a ON a.id = p.account_id"
        " WHERE p.entry_id = NEW.id AND a.role = 'accumulated')"
        " AND EXISTS (SELECT 1 FROM ledger_financialyear y WHERE y.closed_at IS NOT NULL)"
        " AND NOT EXISTS (SELECT 1 FROM ledger_journal j WHERE j.id = NEW.source_id"
        " AND j.origin IN ('opening', 'correction'))",
        message="Once a year is closed, Accumulated funds are moved by the correction of an earlier year alone.",
    ),
    *kept("ledger_monthlock", "lock", "year_id", "month_end", "locked_on", "lacking", "reason"),
    *kept(
        "ledger_monthunlock",
        "month to be unlocked",
        "year_id",
        "month_end",
        "stays_locked_through",
        "reason",
        "asked_on",
        free=("state", "decided_by_id", "decided_on", "answer", "done"),
    ),
    *UNLOCK.guards("ledger_monthunlock"),
    Guard(
        "ledger_unlock_is_done_once",
        "ledger_monthunlock",
        "UPDATE",
        when="(OLD.done AND NOT NEW.done) OR (NEW.done AND NEW.state <> 'agreed') OR (OLD.decided_by_id IS NOT NULL"
        " AND (NEW.decided_by_id IS NULL OR NEW.decided_by_id <> OLD.decided_by_id"
        " OR NEW.decided_on <> OLD.decided_on OR NEW.answer <> OLD.answer))",
        message="What was decided about a locked month stays.",
    ),
    Guard(
        "ledger_unlock_begins_undone",
        "ledger_monthunlock",
        "INSERT",
        when="NEW.done",
        message="A month is unlocked after it was agreed to.",
    ),
]
