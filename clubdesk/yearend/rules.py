"""The rules of the year's end that the database itself keeps."""

from clubdesk.guards import Guard, kept, replaces_nothing
from clubdesk.ledger.rules import THE_BOOK

_STANDS = (
    "EXISTS (SELECT 1 FROM ledger_journalentry j WHERE j.source_type = 'ledger.journal' AND j.source_id = {journal}"
    " AND j.purpose = 'journal' AND NOT EXISTS (SELECT 1 FROM ledger_journalentry r WHERE r.reverses_id = j.id))"
)
_GONE = (
    "EXISTS (SELECT 1 FROM yearend_disposal d WHERE d.equipment_id = {equipment} AND "
    + _STANDS.format(journal="d.journal_id")
    + ")"
)
_ORIGIN = "NOT EXISTS (SELECT 1 FROM ledger_journal o WHERE o.id = NEW.journal_id AND o.origin = '{origin}'{more})"
_CLOSED = "EXISTS (SELECT 1 FROM ledger_financialyear y WHERE y.id = {row}.year_id AND y.closed_at IS NOT NULL)"
_BESIDE_CLOSED = (
    "EXISTS (SELECT 1 FROM ledger_financialyear y WHERE y.closed_at IS NOT NULL AND y.first_day > {row}.year_end)"
)

GUARDS = [
    *(
        Guard(
            f"yearend_budget_{event.lower()}_before_the_close",
            "yearend_budgetmonth",
            event,
            when=_CLOSED.format(row=row),
            message="The budget of a closed year stays as it was.",
            holds=THE_BOOK,
        )
        for event, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD"))
    ),
    Guard(
        "yearend_budget_in_its_year",
        "yearend_budgetmonth",
        "INSERT",
        when="NOT EXISTS (SELECT 1 FROM ledger_financialyear y WHERE y.id = NEW.year_id"
        " AND NEW.month BETWEEN y.first_day AND y.last_day)",
        message="A month of the budget lies in its own year.",
    ),
    Guard(
        "yearend_budget_keeps",
        "yearend_budgetmonth",
        "UPDATE",
        when="NEW.year_id <> OLD.year_id OR NEW.month <> OLD.month OR NEW.account_id <> OLD.account_id",
        message="A month of the budget keeps its account and its month.",
    ),
    replaces_nothing("yearend_budgetmonth", "month of the budget"),
    *kept(
        "yearend_equipment",
        "thing of the register",
        "name",
        "bought_on",
        "cost",
        "residual",
        "years",
        "fund_id",
        "brought_in",
        free=("withdrawn_on", "withdraw_reason"),
    ),
    Guard(
        "yearend_equipment_withdrawn_before_anything_hangs_on_it",
        "yearend_equipment",
        "UPDATE",
        when="(OLD.withdrawn_on IS NOT NULL AND (NEW.withdrawn_on IS NULL OR NEW.withdrawn_on <> OLD.withdrawn_on"
        " OR NEW.withdraw_reason <> OLD.withdraw_reason))"
        " OR (NEW.withdrawn_on IS NOT NULL AND (EXISTS (SELECT 1 FROM yearend_depreciationline l"
        " WHERE l.equipment_id = NEW.id AND "
        + _STANDS.format(journal="l.journal_id")
        + ") OR "
        + _GONE.format(equipment="NEW.id")
        + "))",
        message="A thing is removed from the register while nothing that stands was posted of it, and stays out.",
    ),
    *kept("yearend_gstreturn", "period of GST", "first_day", "last_day", "journal_id", "collected", "credits", "basis"),
    Guard(
        "yearend_gst_once",
        "yearend_gstreturn",
        "INSERT",
        when="EXISTS (SELECT 1 FROM yearend_gstreturn g JOIN ledger_journalentry j ON j.source_type = 'ledger.journal'"
        " AND j.source_id = g.journal_id AND j.purpose = 'journal' WHERE g.first_day <= NEW.last_day"
        " AND g.last_day >= NEW.first_day AND NOT EXISTS"
        " (SELECT 1 FROM ledger_journalentry r WHERE r.reverses_id = j.id))",
        message="The GST of some of these days is posted already; reverse that journal first.",
    ),
    *kept("yearend_foundtax", "posting of GST", "until", "posted_on", "collected", "credits", "is_posted"),
    Guard(
        "yearend_found_tax_keeps",
        "yearend_foundtaxline",
        "UPDATE",
        message="The GST that was found in an entry is never changed; reverse the entry.",
    ),
    Guard(
        "yearend_found_tax_stays",
        "yearend_foundtaxline",
        "DELETE",
        message="The GST that was found in an entry is never deleted; reverse the entry.",
    ),
    replaces_nothing("yearend_foundtaxline", "GST of an entry"),
    Guard(
        "yearend_depreciation_keeps",
        "yearend_depreciationline",
        "UPDATE",
        message="What was depreciated is never changed; reverse the journal.",
    ),
    Guard(
        "yearend_depreciation_stays",
        "yearend_depreciationline",
        "DELETE",
        message="What was depreciated is never deleted; reverse the journal.",
    ),
    replaces_nothing("yearend_depreciationline", "line of depreciation"),
    Guard(
        "yearend_depreciation_by_its_journal",
        "yearend_depreciationline",
        "INSERT",
        when=_ORIGIN.format(origin="depreciation", more=" AND o.date >= NEW.until"),
        message="A line of depreciation belongs to a journal of depreciation of its day or later.",
    ),
    Guard(
        "yearend_depreciation_of_what_is_there",
        "yearend_depreciationline",
        "INSERT",
        when=_GONE.format(equipment="NEW.equipment_id"),
        message="What is gone is not depreciated any more.",
    ),
    *kept("yearend_disposal", "disposal", "equipment_id", "gone_on", "reason", "proceeds", "journal_id"),
    Guard(
        "yearend_disposal_by_its_journal",
        "yearend_disposal",
        "INSERT",
        when=_ORIGIN.format(origin="disposal", more=""),
        message="A disposal belongs to a journal of disposal.",
    ),
    Guard(
        "yearend_disposal_once",
        "yearend_disposal",
        "INSERT",
        when=_GONE.format(equipment="NEW.equipment_id"),
        message="This thing is gone already; reverse that journal first.",
    ),
    Guard(
        "yearend_depreciation_of_what_is_gone_stands",
        "ledger_journalentry",
        "INSERT",
        when="NEW.reverses_id IS NOT NULL AND EXISTS (SELECT 1 FROM ledger_journalentry u"
        " JOIN yearend_depreciationline l ON l.journal_id = u.source_id"
        " JOIN yearend_disposal d ON d.equipment_id = l.equipment_id"
        " WHERE u.id = NEW.reverses_id AND u.source_type = 'ledger.journal' AND "
        + _STANDS.format(journal="d.journal_id")
        + ")",
        message="Something that was depreciated here is gone since; reverse the journal of its disposal first.",
    ),
    *(
        Guard(
            f"yearend_comparative_{event.lower()}_before_the_close",
            "yearend_comparative",
            event,
            when=_BESIDE_CLOSED.format(row=row),
            message="Last year’s figures stand beside a closed year; they stay as they were.",
            holds=THE_BOOK,
        )
        for event, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD"))
    ),
    replaces_nothing("yearend_comparative", "figure of the year before"),
    Guard(
        "yearend_depreciation_within_cost",
        "yearend_depreciationline",
        "INSERT",
        when="(SELECT e.cost - e.residual - e.brought_in - NEW.amount - COALESCE((SELECT SUM(d.amount)"
        " FROM yearend_depreciationline d JOIN ledger_journalentry j ON j.source_type = 'ledger.journal'"
        " AND j.source_id = d.journal_id AND j.purpose = 'journal' WHERE d.equipment_id = e.id AND NOT EXISTS"
        " (SELECT 1 FROM ledger_journalentry r WHERE r.reverses_id = j.id)), 0)"
        " FROM yearend_equipment e WHERE e.id = NEW.equipment_id) < 0",
        message="Nothing loses more than what it cost.",
    ),
]
