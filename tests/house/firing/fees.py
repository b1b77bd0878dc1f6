"""What makes the guards of the fees fire. July is locked in the world."""

from tests.house.firing import Cases, Fires, added, changed, deleted

CHARGE, RECEIPT, ALLOCATION, VOUCHER = "fees_charge", "fees_receipt", "fees_allocation", "fees_voucher"
OF_CHARGE, OF_REPAYMENT = "charge_id IS NOT NULL", "repayment_id IS NOT NULL"
ANOTHERS = (
    f"(SELECT MIN(c.id) FROM {CHARGE} c WHERE c.household_id <>"
    f" (SELECT r.household_id FROM {RECEIPT} r WHERE r.id = receipt_id))"
)
ANOTHERS_RECEIPT = (
    f"(SELECT MIN(r.id) FROM {RECEIPT} r JOIN fees_repayment p ON p.id = repayment_id"
    " WHERE r.household_id <> p.household_id)"
)
CHARGED_PRICE = f"EXISTS (SELECT 1 FROM {CHARGE} c WHERE c.price_id = fees_feeprice.id)"
CHARGED_ITEM = (
    f"EXISTS (SELECT 1 FROM {CHARGE} c JOIN fees_feeprice p ON p.id = c.price_id WHERE p.item_id = fees_feeitem.id)"
)
UNCHARGED_PRICE = f"UPDATE {CHARGE} SET price_id = price_id + 1000"
ON, LATER, IN_JULY = "'2026-09-12'", "'2026-09-13'", "'2026-07-15'"
RETURNED = changed("fees_repayment", returned_on=ON, return_reason="'no such account'")
BACK = "fees_giveback"
OF_ONE = {"voucher_id": "voucher_id", "undone_on": "NULL", "credit_id": "NULL"}
OF_BACK = "id IN (SELECT credit_id FROM fees_giveback)"
OF_A_BACK = "id IN (SELECT voucher_id FROM fees_giveback)"
CAME = {"came_with": 1, "came_from_id": "(SELECT MIN(id) FROM roll_household)"}
UNDONE = changed("fees_giveback", state="'undone'", undone_on=ON)
NOT_YET = changed(VOUCHER, "given_back > 0", amount="amount + given_back", given_back=0)
GONE = changed("fees_claimfile", file="''", erased_on=ON)
FAR_TOO_MUCH = 100_000_000

A_NEW_CHARGE = added(CHARGE, amount=10_000)
IT = f"(SELECT MAX(id) FROM {CHARGE})"
COUNTS = {
    ALLOCATION: OF_CHARGE,
    VOUCHER: "state = 'accepted'",
    "fees_chargecredit": "TRUE",
    "fees_writeoff": "TRUE",
}
COUNTS_NO_MORE = {
    ALLOCATION: {"freed_on": ON},
    VOUCHER: {"state": "'refused'"},
    "fees_writeoff": {"cancelled_on": ON},
    "fees_chargecredit": {"cancelled_on": ON},
}


def settles(table, amount, **values):
    """A row that takes so much from the new charge."""
    code = {"code": f"(SELECT MAX(id) + 1 FROM {VOUCHER})"} if table == VOUCHER else {}
    untaxed = {"tax": 0} if table in ("fees_chargecredit", "fees_writeoff") else {}
    return added(table, COUNTS[table], charge_id=IT, amount=amount, **code, **untaxed, **values)


def within_charge(table, event):
    """With each of what settles a charge: it is whole already, and one cent more comes or grows."""
    for settler in COUNTS:
        settled = [A_NEW_CHARGE, settles(settler, 9_999), settles(table, 1)]
        newest = f"id = (SELECT MAX(id) FROM {table})"
        more = settles(table, 1) if event == "insert" else changed(table, newest, amount=2)
        same = [] if event == "insert" else [changed(table, newest, amount=1)]
        yield Fires(more, before=settled, spares=same)
    for settler, ended in COUNTS_NO_MORE.items():
        more = settles(table, 1) if event == "insert" else changed(table, newest, amount=2)
        yield Fires(spares=[more], before=[A_NEW_CHARGE, settles(settler, 9_999, **ended), settles(table, 1)])


ONE_A_YEAR = ["UPDATE fees_voucherscheme SET per_year = 1", f"UPDATE {VOUCHER} SET person_id = 1, calendar_year = 2026"]
USED = f"(SELECT SUM(a.amount) FROM {ALLOCATION} a WHERE a.receipt_id = {RECEIPT}.id)"
ALL_USED = f"UPDATE {RECEIPT} SET amount = {USED} WHERE {USED} > 0"
CANCELLED = f"UPDATE {RECEIPT} SET amount = {FAR_TOO_MUCH}, cancelled_on = {ON} WHERE opening_id IS NULL"
OF_THE_VOUCHER = f"SELECT v.charge_id FROM {VOUCHER} v WHERE v.id = (SELECT MIN(id) FROM {VOUCHER})"
OWN_NEW_FEE = added(CHARGE, f"id = ({OF_THE_VOUCHER})")
OWN_NEXT_FEE, ANOTHERS_FEE = (
    f"(SELECT MAX(id) FROM {CHARGE})",
    (f"(SELECT MAX(c.id) FROM {CHARGE} c WHERE c.person_id <> {VOUCHER}.person_id)"),
)
NOTHING_ANSWERED = f"UPDATE {VOUCHER} SET state = 'lodged' WHERE lodgement_id IS NOT NULL"
RECOGNISED = changed(CHARGE, recognised_on=ON)
TAKEN_BACK = changed(CHARGE, taken_back_on=ON, kept=10)

LIST = "fees_lodgement"
NEWEST_LIST = f"(SELECT MAX(id) FROM {LIST})"
UNPAID_LISTS = f"UPDATE {LIST} SET paid_on = NULL, part_of_id = NULL"
ONE_LIST = f"UPDATE {VOUCHER} SET lodgement_id = (SELECT MIN(id) FROM {LIST}) WHERE lodgement_id IS NOT NULL"

SCHEME, TIED = "fees_voucherscheme", "fees_tiedcredit"
WINDOWED = f"window_id IS NOT NULL AND id = (SELECT MIN(id) FROM {VOUCHER} WHERE window_id IS NOT NULL)"
OF_TIED = "tied_id IS NOT NULL"
OF_TIED_RECEIPT = f"{OF_TIED} AND charge_id IS NOT NULL"
TIED_RECEIPT = f"id IN (SELECT receipt_id FROM {TIED})"
TIED_OF_IT = f"(SELECT SUM(t.amount) FROM {TIED} t WHERE t.receipt_id = {RECEIPT}.id)"
ALL_TIED = changed(RECEIPT, TIED_RECEIPT, amount=TIED_OF_IT)
OWN_PAYS = (
    f"(SELECT COALESCE(SUM(a.amount), 0) FROM {ALLOCATION} a WHERE a.receipt_id = {RECEIPT}.id AND a.tied_id IS NULL"
    " AND a.charge_id IS NOT NULL AND a.freed_on IS NULL)"
)
ALL_BUT_TIED = changed(RECEIPT, TIED_RECEIPT, amount=f"{TIED_OF_IT} + {OWN_PAYS}")
A_REPAYMENT = "(SELECT MIN(id) FROM fees_repayment)"
REPAID_TIED = added(ALLOCATION, OF_TIED_RECEIPT, tied_id="NULL", charge_id="NULL", repayment_id=A_REPAYMENT, amount=1)

CASES: Cases = {
    "fees_allocation_insert_in_one_household": Fires(
        added(ALLOCATION, OF_CHARGE, charge_id=ANOTHERS), spares=[added(ALLOCATION, OF_CHARGE)]
    ),
    "fees_allocation_update_in_one_household": Fires(
        changed(ALLOCATION, OF_CHARGE, charge_id=ANOTHERS), spares=[changed(ALLOCATION, OF_CHARGE, amount=1)]
    ),
    "fees_allocation_within_its_repayment": [
        Fires(
            added(ALLOCATION, OF_REPAYMENT, amount=1),
            spares=[added(ALLOCATION, OF_CHARGE)],
        ),
        Fires(
            added(ALLOCATION, OF_REPAYMENT, receipt_id=ANOTHERS_RECEIPT),
            before=[changed("fees_repayment", amount="amount * 3")],
            spares=[added(ALLOCATION, OF_REPAYMENT)],
        ),
        Fires(before=[changed(ALLOCATION, OF_REPAYMENT, freed_on=ON)], spares=[added(ALLOCATION, OF_REPAYMENT)]),
    ],
    "fees_allocation_of_a_repayment_stays": [
        Fires(changed(ALLOCATION, OF_REPAYMENT, freed_on=ON), spares=[changed(ALLOCATION, OF_CHARGE, freed_on=ON)]),
        Fires(before=[RETURNED], spares=[changed(ALLOCATION, OF_REPAYMENT, freed_on=ON)]),
    ],
    "fees_allocation_keeps": [
        Fires(
            changed(ALLOCATION, receipt_id="receipt_id + 1"),
            changed(ALLOCATION, OF_CHARGE, charge_id="charge_id + 1"),
            changed(ALLOCATION, OF_CHARGE, charge_id="NULL"),
            changed(ALLOCATION, OF_REPAYMENT, repayment_id="repayment_id + 1"),
            changed(ALLOCATION, OF_CHARGE, repayment_id=1),
            changed(ALLOCATION, amount="amount - 1"),
            changed(ALLOCATION, used_on=LATER),
            spares=[changed(ALLOCATION, freed_on=ON)],
        ),
        Fires(changed(ALLOCATION, "freed_on IS NOT NULL", freed_on="NULL"), before=[changed(ALLOCATION, freed_on=ON)]),
    ],
    "fees_allocation_begins_standing": Fires(added(ALLOCATION, freed_on=ON), spares=[added(ALLOCATION)]),
    "fees_claimfile_stays_erased": [
        Fires(changed("fees_claimfile", file="'evidence/other'"), spares=[GONE]),
        Fires(
            changed("fees_claimfile", file="'evidence/other'", erased_on="NULL"),
            changed("fees_claimfile", erased_on=LATER),
            before=[GONE],
        ),
    ],
    "fees_giveback_of_what_was_paid": [
        Fires(
            added(BACK, household_id="household_id - 1", **OF_ONE),
            added(BACK, amount=f"(SELECT v.amount + 1 FROM {VOUCHER} v WHERE v.id = voucher_id)", **OF_ONE),
            before=[NOT_YET],
            spares=[added(BACK, amount=1, **OF_ONE)],
        ),
        Fires(added(BACK, amount=1, **OF_ONE)),
    ],
    "fees_giveback_keeps_its_credit": [
        Fires(
            changed(BACK, "credit_id IS NOT NULL", credit_id="NULL"),
            changed(BACK, "credit_id IS NOT NULL", credit_id="(SELECT MIN(id) FROM fees_chargecredit)"),
            spares=[changed(BACK, "credit_id IS NOT NULL", reason="'left'")],
        ),
        Fires(
            changed(BACK, "credit_id IS NOT NULL", reason="'left'"),
            before=[changed("fees_chargecredit", OF_BACK, amount=10_000)],
        ),
    ],
    "fees_chargecredit_undone_with_its_voucher": [
        Fires(
            changed("fees_chargecredit", OF_BACK, cancelled_on=ON),
            spares=[changed("fees_chargecredit", OF_BACK, reason="'left'")],
        ),
        Fires(before=[UNDONE], spares=[changed("fees_chargecredit", OF_BACK, cancelled_on=ON)]),
        Fires(
            changed("fees_chargecredit", OF_BACK, cancelled_on="NULL"),
            changed("fees_chargecredit", OF_BACK, cancelled_on=LATER),
            before=[UNDONE, changed("fees_chargecredit", OF_BACK, cancelled_on=ON)],
        ),
    ],
    "fees_giveback_payment_comes_back_once": Fires(
        changed(BACK, "state = 'paid'", state="'approved'", paid_on="NULL"),
        changed(BACK, "state = 'paid'", state="'approved'", paid_on="NULL", times_returned="times_returned + 2"),
        changed(BACK, "state = 'paid'", times_returned="times_returned + 1"),
        changed(BACK, "state = 'paid'", paid_on=LATER),
        before=[changed(BACK, state="'paid'", paid_on=ON)],
        spares=[
            changed(BACK, "state = 'paid'", state="'approved'", paid_on="NULL", times_returned="times_returned + 1")
        ],
    ),
    "fees_voucher_given_back_by_an_invoice": Fires(
        changed(VOUCHER, "given_back > 0", given_back="given_back + 1", amount="amount - 1"),
        changed(VOUCHER, "given_back > 0", state="'returned'"),
        spares=[changed(VOUCHER, "given_back > 0", end_reason="'left'")],
    ),
    "fees_voucher_comes_with_the_child_once": [
        Fires(
            changed(VOUCHER, came_on=ON, **CAME), spares=[changed(VOUCHER, charge_id=OWN_NEXT_FEE, came_on=ON, **CAME)]
        ),
        Fires(
            changed(VOUCHER, charge_id=OWN_NEXT_FEE, came_on=LATER),
            changed(VOUCHER, charge_id=OWN_NEXT_FEE, came_with=2),
            before=[changed(VOUCHER, charge_id=OWN_NEXT_FEE, came_on=ON, **CAME)],
        ),
    ],
    "fees_voucher_given_back_until_undone": [
        Fires(
            changed(VOUCHER, "given_back > 0", given_back=0, amount="amount + given_back"),
            spares=[changed(VOUCHER, "given_back > 0", end_reason="'left'")],
        ),
        Fires(changed(VOUCHER, OF_A_BACK, state="'paid'"), before=[changed(VOUCHER, OF_A_BACK, state="'returned'")]),
        Fires(
            changed(VOUCHER, "given_back > 0", given_back="given_back - 1"),
            before=[UNDONE],
            spares=[changed(VOUCHER, "given_back > 0", given_back=0)],
        ),
    ],
    "fees_lodgement_paid_stays": Fires(
        changed("fees_lodgement", paid_on="NULL"),
        changed("fees_lodgement", paid_on=LATER),
        before=[changed("fees_lodgement", paid_on=ON)],
    ),
    "fees_allocation_insert_in_an_open_month": Fires(
        added(ALLOCATION, used_on=IN_JULY), spares=[added(ALLOCATION, used_on="'2026-08-01'")]
    ),
    "fees_allocation_update_in_an_open_month": Fires(
        changed(ALLOCATION, freed_on=IN_JULY), spares=[changed(ALLOCATION, freed_on="'2026-08-01'")]
    ),
    "fees_item_keeps_its_account": [
        Fires(
            changed("fees_feeitem", CHARGED_ITEM, income_account_id="income_account_id + 1"),
            spares=[changed("fees_feeitem", CHARGED_ITEM, name="'other'")],
        ),
        Fires(before=[UNCHARGED_PRICE], spares=[changed("fees_feeitem", income_account_id="income_account_id + 1")]),
    ],
    "fees_voucher_value_covers_its_vouchers": Fires(
        changed("fees_vouchervalue", "calendar_year = 2026", amount="amount - 1"),
        changed("fees_vouchervalue", "calendar_year = 2026", calendar_year=2030),
        before=[f"UPDATE {VOUCHER} SET amount = 10000 WHERE state <> 'refused'"],
        spares=[
            changed("fees_vouchervalue", "calendar_year = 2026", amount="amount + 1"),
            changed("fees_vouchervalue", "calendar_year = 2027", amount="amount - 1"),
        ],
    ),
    "fees_chargeshare_within_charge": Fires(
        added("fees_chargeshare", charge_id=IT, amount=5_001),
        before=[A_NEW_CHARGE, added("fees_chargeshare", charge_id=IT, amount=5_000)],
        spares=[added("fees_chargeshare", charge_id=IT, amount=5_000)],
    ),
    "fees_writeoff_stays_cancelled": Fires(
        changed("fees_writeoff", cancelled_on="NULL"), before=[changed("fees_writeoff", cancelled_on=ON)]
    ),
    "fees_repayment_stays_returned": Fires(
        changed("fees_repayment", returned_on="NULL"),
        changed("fees_repayment", returned_on=LATER),
        before=[RETURNED],
    ),
    "fees_voucher_keeps_its_claim": Fires(
        changed(VOUCHER, "state = 'lodged'", amount="amount - 1"),
        changed(VOUCHER, "state = 'lodged'", state="'paid'", amount="amount - 1"),
        changed(VOUCHER, "state = 'lodged'", amount="amount - 1", short_by="short_by + 1"),
        changed(VOUCHER, "state = 'accepted'", state="'paid'", amount="amount - 1", short_by="short_by + 1"),
        spares=[changed(VOUCHER, "state = 'lodged'", state="'paid'", amount="amount - 1", short_by="short_by + 1")],
    ),
    "fees_voucher_goes_with_the_child": [
        Fires(
            changed(VOUCHER, charge_id=ANOTHERS_FEE, first_charge_id="charge_id"),
            changed(VOUCHER, first_charge_id=1),
            spares=[changed(VOUCHER, amount=1)],
        ),
        Fires(
            changed(VOUCHER, charge_id=OWN_NEXT_FEE),
            changed(VOUCHER, charge_id=ANOTHERS_FEE, first_charge_id="charge_id"),
            before=[OWN_NEW_FEE, f"UPDATE {CHARGE} SET taken_back_on = {ON}, kept = 0, carried_on = NULL"],
            spares=[changed(VOUCHER, charge_id=OWN_NEXT_FEE, first_charge_id="charge_id")],
        ),
        Fires(
            changed(VOUCHER, charge_id=OWN_NEXT_FEE, first_charge_id="charge_id"),
            before=[OWN_NEW_FEE, f"UPDATE {CHARGE} SET taken_back_on = {ON}, kept = 1, carried_on = NULL"],
        ),
        Fires(
            changed(VOUCHER, charge_id=OWN_NEXT_FEE, first_charge_id="charge_id"),
            before=[OWN_NEW_FEE, f"UPDATE {CHARGE} SET taken_back_on = NULL, carried_on = NULL"],
        ),
    ],
    "fees_voucher_stays_lodged": [
        Fires(
            changed(VOUCHER, "lodgement_id IS NOT NULL", lodgement_id="NULL"),
            changed(VOUCHER, "lodgement_id IS NOT NULL", lodgement_id="lodgement_id + 1"),
            changed(VOUCHER, "state = 'lodged'", state="'accepted'"),
            spares=[changed(VOUCHER, "lodgement_id IS NULL", lodgement_id=1, state="'lodged'")],
        ),
        Fires(
            changed(VOUCHER, "state = 'paid'", lodgement_id=NEWEST_LIST),
            before=[
                ONE_LIST,
                added(LIST, part_of_id="id", paid_on="NULL"),
                changed(VOUCHER, "state = 'lodged'", state="'paid'"),
            ],
        ),
        Fires(
            changed(VOUCHER, "state = 'lodged'", lodgement_id=NEWEST_LIST),
            before=[ONE_LIST, added(LIST, part_of_id="id", paid_on=ON)],
        ),
        Fires(
            before=[ONE_LIST, added(LIST, part_of_id="id", paid_on="NULL")],
            spares=[changed(VOUCHER, "state = 'lodged'", lodgement_id=NEWEST_LIST)],
        ),
        Fires(
            changed(VOUCHER, "state = 'lodged'", lodgement_id="NULL"),
            before=[NOTHING_ANSWERED],
            spares=[changed(VOUCHER, "state = 'lodged'", state="'accepted'", lodgement_id="NULL")],
        ),
        *(
            Fires(
                changed(VOUCHER, "state = 'lodged'", state="'accepted'", lodgement_id="NULL"),
                before=[NOTHING_ANSWERED, another],
            )
            for another in (
                added(VOUCHER, "state = 'lodged'", state=f"'{state}'", code=f"'{state}'")
                for state in ("paid", "refused")
            )
        ),
    ],
    "fees_lodgement_part_is_of_its_list": [
        Fires(
            added(LIST, part_of_id="id", lodged_on=IN_JULY),
            added(LIST, part_of_id="id", scheme_id="scheme_id + 1"),
            before=[UNPAID_LISTS],
            spares=[added(LIST), added(LIST, part_of_id="id")],
        ),
        Fires(added(LIST, part_of_id="id"), before=[UNPAID_LISTS.replace("NULL", ON, 1)]),
        Fires(added(LIST, part_of_id=NEWEST_LIST), before=[UNPAID_LISTS, added(LIST, part_of_id="id")]),
    ],
    "fees_voucher_not_before_its_fee": Fires(
        added(VOUCHER, "state = 'accepted'", accepted_on="'2020-01-01'"),
        spares=[added(VOUCHER, "state = 'accepted'"), added(VOUCHER, "state = 'accepted'", accepted_on="'2027-01-01'")],
    ),
    "fees_voucher_insert_within_the_year": Fires(
        added(VOUCHER, "state = 'accepted'"),
        before=ONE_A_YEAR,
        spares=[
            added(VOUCHER, "state = 'accepted'", **{column: value})
            for column, value in (("person_id", 2), ("calendar_year", 2027), ("state", "'refused'"))
        ],
    ),
    "fees_voucher_insert_within_its_window": Fires(
        added(VOUCHER, WINDOWED, code="'other'"),
        spares=[
            added(VOUCHER, WINDOWED, code="'other'", **{column: value})
            for column, value in (
                ("person_id", 1),
                ("calendar_year", 2030),
                ("state", "'refused'"),
                ("window_id", "NULL"),
            )
        ],
    ),
    "fees_voucher_update_within_its_window": Fires(
        changed(VOUCHER, "code = 'other'", state="'accepted'"),
        before=[added(VOUCHER, WINDOWED, code="'other'", state="'refused'")],
        spares=[
            changed(VOUCHER, "code = 'other'", state="'accepted'", person_id=1),
            changed(VOUCHER, WINDOWED, state="'lodged'"),
        ],
    ),
    "fees_voucher_known_as_its_scheme_says": [
        Fires(
            added(VOUCHER, WINDOWED, code="'other'", of_child="TRUE"),
            spares=[added(VOUCHER, WINDOWED, code="'other'")],
        ),
        Fires(
            added(VOUCHER, WINDOWED, of_child="FALSE", code="'other'"),
            added(VOUCHER, WINDOWED, person_id=1),
            before=[f"UPDATE {SCHEME} SET key_kind = 'child'", changed(VOUCHER, WINDOWED, of_child="TRUE")],
            spares=[added(VOUCHER, WINDOWED), added(VOUCHER, WINDOWED, person_id=1, code="'other'")],
        ),
    ],
    "fees_voucher_one_on_a_fee": [
        Fires(
            added(VOUCHER, WINDOWED, code="'other'"),
            before=[f"UPDATE {SCHEME} SET one_a_fee = TRUE"],
            spares=[
                added(VOUCHER, WINDOWED, code="'other'", state="'refused'"),
                added(VOUCHER, WINDOWED, code="'other'", charge_id=f"(SELECT MIN(id) FROM {CHARGE})"),
                added(VOUCHER, WINDOWED, code="'other'", scheme_id=f"(SELECT MIN(id) FROM {SCHEME})"),
            ],
        ),
        Fires(spares=[added(VOUCHER, WINDOWED, code="'other'")]),
    ],
    "fees_voucherscheme_keeps_its_key": [
        Fires(
            changed(SCHEME, key_kind="'child'"),
            changed(SCHEME, year_begins=7),
            spares=[changed(SCHEME, one_a_fee="TRUE")],
        ),
        Fires(
            before=[f"UPDATE {VOUCHER} SET scheme_id = scheme_id + 1000"],
            spares=[changed(SCHEME, key_kind="'child'")],
        ),
    ],
    "fees_tiedcredit_keeps": [
        Fires(
            changed(TIED, freed_on=ON),
            changed(TIED, amount="amount - 1"),
        ),
        Fires(
            changed(TIED, receipt_id="receipt_id + 1"),
            changed(TIED, voucher_id=1),
            changed(TIED, amount="amount - 1"),
            changed(TIED, tied_on=LATER),
            before=[changed(VOUCHER, WINDOWED, state="'refused'")],
            spares=[changed(TIED, freed_on=ON)],
        ),
        Fires(before=[changed(VOUCHER, WINDOWED, short_by=1)], spares=[changed(TIED, freed_on=ON)]),
        Fires(
            changed(TIED, freed_on="NULL"),
            before=[changed(VOUCHER, WINDOWED, short_by=1), changed(TIED, freed_on=ON)],
        ),
    ],
    "fees_tiedcredit_of_what_was_not_paid_back": [
        Fires(added(TIED, amount=1), added(TIED, freed_on=ON), before=[ALL_TIED]),
        Fires(before=[ALL_TIED, changed(TIED, freed_on=ON)], spares=[added(TIED, freed_on="NULL", amount=1)]),
        Fires(added(TIED, amount=1), before=[REPAID_TIED, ALL_BUT_TIED]),
    ],
    "fees_allocation_pays_no_tied_credit_back": [
        Fires(REPAID_TIED, before=[ALL_BUT_TIED], spares=[added(ALLOCATION, OF_TIED_RECEIPT, charge_id=1)]),
        Fires(before=[ALL_BUT_TIED, changed(TIED, freed_on=ON)], spares=[REPAID_TIED]),
        Fires(REPAID_TIED, before=[ALL_TIED]),
    ],
    "fees_allocation_insert_within_what_is_tied": Fires(
        added(ALLOCATION, OF_TIED),
        added(ALLOCATION, OF_TIED, amount=1, receipt_id=1),
        added(ALLOCATION, OF_TIED, amount=1, charge_id="NULL", repayment_id=1),
        before=[changed(TIED, amount=f"(SELECT a.amount + 1 FROM {ALLOCATION} a WHERE a.tied_id = {TIED}.id)")],
        spares=[added(ALLOCATION, OF_TIED, amount=1), added(ALLOCATION, OF_TIED, tied_id="NULL")],
    ),
    "fees_allocation_update_within_what_is_tied": Fires(
        changed(ALLOCATION, OF_TIED_RECEIPT, tied_id=f"(SELECT MIN(id) FROM {TIED}) + 1000"),
        changed(ALLOCATION, "tied_id IS NULL AND charge_id IS NOT NULL", tied_id=f"(SELECT MIN(id) FROM {TIED})"),
        spares=[changed(ALLOCATION, OF_TIED, tied_id="NULL"), changed(ALLOCATION, OF_TIED, tied_id="tied_id")],
    ),
    "fees_voucher_update_within_the_year": Fires(
        changed(VOUCHER, "state = 'refused'", state="'accepted'"),
        before=ONE_A_YEAR,
        spares=[
            changed(VOUCHER, "state = 'refused'", state="'accepted'", person_id=2),
            changed(VOUCHER, "state = 'refused'", code="'other'"),
            changed(VOUCHER, "state = 'accepted'", state="'lodged'"),
        ],
    ),
    **{
        f"{table}_{event}_within_charge": list(within_charge(table, event))
        for table in COUNTS
        for event in ("insert", "update")
    },
    "fees_allocation_insert_within_receipt": [
        Fires(added(ALLOCATION, amount=1), before=[ALL_USED], spares=[added(ALLOCATION, freed_on=ON)]),
        Fires(added(ALLOCATION, amount=1), before=[CANCELLED]),
    ],
    "fees_allocation_update_within_receipt": [
        Fires(
            changed(ALLOCATION, amount="amount + 1"),
            before=[ALL_USED],
            spares=[changed(ALLOCATION, used_on=LATER), changed(ALLOCATION, freed_on=ON)],
        ),
        Fires(changed(ALLOCATION, used_on=LATER), before=[CANCELLED]),
    ],
    "fees_price_keeps": [
        Fires(
            changed("fees_feeprice", CHARGED_PRICE, amount="amount + 1"),
            changed("fees_feeprice", CHARGED_PRICE, item_id="item_id + 1"),
            changed("fees_feeprice", CHARGED_PRICE, valid_from=LATER),
            spares=[changed("fees_feeprice", CHARGED_PRICE, valid_until=LATER)],
        ),
        Fires(before=[UNCHARGED_PRICE], spares=[changed("fees_feeprice", amount="amount + 1")]),
    ],
    **{
        f"fees_share_{event}_before_charging": [Fires(statement), Fires(before=[UNCHARGED_PRICE], spares=[statement])]
        for event, statement in (
            ("insert", added("fees_feeshare", amount=1)),
            ("update", changed("fees_feeshare", amount="amount - 1")),
            ("delete", deleted("fees_feeshare")),
        )
    },
    "fees_share_insert_within_price": Fires(
        added("fees_feeshare", amount="(SELECT p.amount FROM fees_feeprice p WHERE p.id = price_id) - amount + 1"),
        spares=[added("fees_feeshare", amount="(SELECT p.amount FROM fees_feeprice p WHERE p.id = price_id) - amount")],
    ),
    "fees_share_update_within_price": Fires(
        changed("fees_feeshare", amount="(SELECT p.amount FROM fees_feeprice p WHERE p.id = price_id) + 1"),
        spares=[changed("fees_feeshare", amount="(SELECT p.amount FROM fees_feeprice p WHERE p.id = price_id)")],
    ),
    **{
        f"{table}_tax_stays": Fires(changed(table, "tax > 0", tax="tax + 1"), spares=[changed(table, "tax = 0", tax=1)])
        for table in (CHARGE, "fees_chargecredit")
    },
    "fees_charge_goes_forward": [
        Fires(
            changed(CHARGE, recognised_on="NULL"),
            changed(CHARGE, recognised_on=LATER),
            changed(CHARGE, starts_on=LATER),
            before=[RECOGNISED],
        ),
        Fires(
            changed(CHARGE, taken_back_on="NULL"),
            changed(CHARGE, kept=11),
            before=[TAKEN_BACK],
            spares=[changed(CHARGE, kept=9)],
        ),
        Fires(
            changed(CHARGE, "carried_on IS NOT NULL", carried_on="NULL"),
            before=[changed(CHARGE, "recognised_on IS NULL", carried_on=ON, taken_back_on=ON)],
        ),
    ],
    "fees_receipt_stays_cancelled": Fires(
        changed(RECEIPT, cancelled_on="NULL"), before=[changed(RECEIPT, cancelled_on=ON)]
    ),
}
