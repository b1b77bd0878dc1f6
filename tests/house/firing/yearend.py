"""What makes the guards of the year's end and of the reports fire. Of the equipment the bows are gone."""

from tests.house.firing import Cases, Fires, added, changed, deleted
from tests.house.firing.ledger import ANOTHER, CLOSED, ENTRY

BUDGET, THING, GONE, LOST = "yearend_budgetmonth", "yearend_equipment", "yearend_disposal", "yearend_depreciationline"
GST, BESIDE, TRACE, JOURNAL = "yearend_gstreturn", "yearend_comparative", "reports_monthtrace", "ledger_journal"
ITS_JOURNAL = f"{ENTRY}.source_type = 'ledger.journal' AND {ENTRY}.source_id ="
OF_DISPOSAL, OF_DEPRECIATION, OF_GST = (
    f"(SELECT MIN(e.id) FROM {ENTRY} e WHERE e.source_type = 'ledger.journal' AND e.purpose = 'journal'"
    f" AND e.source_id = (SELECT MIN(journal_id) FROM {table}))"
    for table in (GONE, LOST, GST)
)
BY_HAND = f"(SELECT MIN(id) FROM {JOURNAL} WHERE origin = 'hand')"
IS_GONE = f"id IN (SELECT equipment_id FROM {GONE})"
WITHDRAWN = {"withdrawn_on": "'2026-09-12'", "withdraw_reason": "'typed wrongly'"}
NOTHING_LOST = f"DELETE FROM {LOST}"
BUTTS_LOST = f"equipment_id NOT IN (SELECT equipment_id FROM {GONE})"
BOWS_LOST = f"equipment_id IN (SELECT equipment_id FROM {GONE})"
LEFT = f"(SELECT e.cost - e.residual - e.brought_in - {LOST}.amount FROM {THING} e WHERE e.id = {LOST}.equipment_id)"


def reversed_(entry):
    """The entry is reversed by a newer one."""
    return added(ENTRY, f"id = {entry}", **{**ANOTHER, "reverses_id": "id"}, source_type="'ledger.journalentry'")


def before_the_close(name, table):
    statements = {"insert": added(table), "update": changed(table, amount="amount + 1"), "delete": deleted(table)}
    return {
        f"yearend_{name}_{event}_before_the_close": [Fires(statement, before=[CLOSED]), Fires(spares=[statement])]
        for event, statement in statements.items()
    }


CASES: Cases = {
    **before_the_close("budget", BUDGET),
    **before_the_close("comparative", BESIDE),
    "yearend_budget_in_its_year": Fires(
        added(BUDGET, month="'2027-07-01'"),
        added(BUDGET, month="'2026-06-01'"),
        added(BUDGET, year_id=99),
        spares=[added(BUDGET, month="'2027-06-01'")],
    ),
    "yearend_budget_keeps": Fires(
        changed(BUDGET, year_id="year_id + 1"),
        changed(BUDGET, month="'2026-08-01'"),
        changed(BUDGET, account_id="account_id + 1"),
        spares=[changed(BUDGET, amount="amount + 1")],
    ),
    "yearend_equipment_withdrawn_before_anything_hangs_on_it": [
        Fires(changed(THING, f"NOT {IS_GONE}", **WITHDRAWN), spares=[changed(THING, name="'other'")]),
        Fires(
            changed(THING, IS_GONE, **WITHDRAWN),
            before=[NOTHING_LOST],
            spares=[changed(THING, f"NOT {IS_GONE}", **WITHDRAWN)],
        ),
        Fires(before=[NOTHING_LOST, reversed_(OF_DISPOSAL)], spares=[changed(THING, IS_GONE, **WITHDRAWN)]),
        Fires(before=[reversed_(OF_DEPRECIATION)], spares=[changed(THING, f"NOT {IS_GONE}", **WITHDRAWN)]),
        Fires(
            changed(THING, "withdrawn_on IS NOT NULL", withdrawn_on="NULL"),
            changed(THING, "withdrawn_on IS NOT NULL", withdrawn_on="'2026-09-13'"),
            changed(THING, "withdrawn_on IS NOT NULL", withdraw_reason="'other'"),
            before=[NOTHING_LOST, changed(THING, f"NOT {IS_GONE}", **WITHDRAWN)],
        ),
    ],
    "yearend_gst_once": [
        Fires(
            added(GST),
            added(GST, first_day="last_day", last_day="'2026-12-31'"),
            added(GST, first_day="'2026-04-01'", last_day="first_day"),
            spares=[added(GST, first_day="'2026-10-01'", last_day="'2026-12-31'")],
        ),
        Fires(before=[reversed_(OF_GST)], spares=[added(GST)]),
    ],
    "yearend_depreciation_by_its_journal": Fires(
        added(LOST, journal_id=BY_HAND), added(LOST, until="'2026-09-30'"), spares=[added(LOST)]
    ),
    "yearend_depreciation_of_what_is_there": [
        Fires(added(LOST, BOWS_LOST), spares=[added(LOST, BUTTS_LOST)]),
        Fires(before=[reversed_(OF_DISPOSAL)], spares=[added(LOST, BOWS_LOST)]),
    ],
    "yearend_depreciation_within_cost": [
        Fires(
            added(LOST, amount=f"{LEFT} + 1"),
            spares=[added(LOST, amount=LEFT)],
        ),
        Fires(
            before=[reversed_(OF_DEPRECIATION)],
            spares=[added(LOST, amount=f"{LEFT} + 1")],
        ),
    ],
    "yearend_disposal_by_its_journal": Fires(added(GONE, journal_id=BY_HAND), spares=[added(GONE)]),
    "yearend_disposal_once": [
        Fires(added(GONE), spares=[added(GONE, equipment_id="equipment_id + 1")]),
        Fires(before=[reversed_(OF_DISPOSAL)], spares=[added(GONE)]),
    ],
    "yearend_depreciation_of_what_is_gone_stands": [
        Fires(reversed_(OF_DEPRECIATION), spares=[reversed_(OF_GST), reversed_(OF_DISPOSAL)]),
        Fires(before=[reversed_(OF_DISPOSAL)], spares=[reversed_(OF_DEPRECIATION)]),
    ],
    "reports_trace_stays": [
        Fires(deleted(TRACE)),
        Fires(before=["UPDATE ledger_financialyear SET locked_through = NULL"], spares=[deleted(TRACE)]),
    ],
    "reports_trace_before_the_close": [Fires(added(TRACE), before=[CLOSED]), Fires(spares=[added(TRACE)])],
}
