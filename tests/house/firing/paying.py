"""What makes the guards of payment runs fire: one run of the world is made, one released, of one something is paid."""

from tests.house.firing import Cases, Fires, added, changed
from tests.house.firing.deciding import OF_EVERY_HOUSEHOLD

RUN, ITEM, FILE, DETAILS = "bank_paymentrun", "bank_paymentitem", "bank_paymentfile", "bank_bankdetails"
BANK, CHANGE = "bank_bankaccount", "bank_accountchange"
ASKED = {"state": "'asked'", "decided_by_id": "NULL", "decided_on": "NULL"}
DECLINED = {"state": "'declined'", "decided_by_id": "3", "decided_on": "'2026-09-13'", "answer": "'no'"}
NO_NUMBER = dict.fromkeys(("holder", "bsb", "account_number", "iban", "bic"), "''")
MADE, RELEASED = "state = 'made'", "state = 'released'"
THE_MADE, THE_RELEASED = (f"(SELECT MIN(id) FROM {RUN} WHERE {state})" for state in (MADE, RELEASED))
ITEM_MADE, ITEM_RELEASED = f"run_id = {THE_MADE}", f"run_id = {THE_RELEASED} AND state = 'waiting'"
RELEASE = {"state": "'released'", "released_by_id": "1", "released_on": "'2026-09-12'"}
OTHERS_DETAILS = f"UPDATE {DETAILS} SET recorded_by_id = 2"
WITHDRAW = {"state": "'withdrawn'", "withdraw_reason": "'wrong'"}
LEFT_OUT = f"UPDATE {ITEM} SET state = 'left_out', paid_on = NULL, ended_on = '2026-09-12', reason = 'wrong'"
CLAIM = "(SELECT MIN(id) FROM entryfund_entryclaim)"
OF_CLAIM = {
    "claim_id": CLAIM,
    "expense_id": "NULL",
    "repayment_id": "NULL",
    "details_id": "NULL",
    "household_id": f"(SELECT c.household_id FROM entryfund_entryclaim c WHERE c.id = {CLAIM})",
    "amount": f"(SELECT c.amount FROM entryfund_entryclaim c WHERE c.id = {CLAIM})",
}
OF_A_REPAYMENT = {"claim_id": "NULL", "expense_id": "NULL"}
NO_OTHERS_HOUSEHOLD = {**OF_A_REPAYMENT, "household_id": "household_id + 1000"}

BACK = "fees_giveback"
OF_A_VOUCHER = {
    "give_back_id": f"(SELECT MIN(id) FROM {BACK})",
    "claim_id": "NULL",
    "expense_id": "NULL",
    "details_id": "NULL",
}
UNDONE = f"UPDATE {BACK} SET state = 'undone', undone_on = '2026-09-12'"

CASES: Cases = {
    "bank_run_is_released_by_somebody_else": [
        Fires(
            changed(RUN, MADE, **RELEASE),
            before=[OTHERS_DETAILS, OF_EVERY_HOUSEHOLD],
            spares=[changed(RUN, MADE, **{**RELEASE, "released_by_id": "3"})],
        ),
        Fires(
            changed(RUN, MADE, **{**RELEASE, "released_by_id": "2"}),
            before=[OTHERS_DETAILS],
            spares=[changed(RUN, MADE, **{**RELEASE, "released_by_id": "3"})],
        ),
        Fires(before=[OTHERS_DETAILS, OF_EVERY_HOUSEHOLD, LEFT_OUT], spares=[changed(RUN, MADE, **RELEASE)]),
    ],
    "bank_run_stays_released": [
        Fires(
            changed(RUN, RELEASED, released_by_id="NULL"),
            changed(RUN, RELEASED, released_by_id="released_by_id + 1"),
            changed(RUN, RELEASED, released_on="'2026-09-30'"),
            changed(RUN, RELEASED, **WITHDRAW),
            changed(RUN, MADE, **WITHDRAW),
            spares=[changed(RUN, MADE, **RELEASE)],
        ),
        Fires(before=[LEFT_OUT], spares=[changed(RUN, MADE, **WITHDRAW), changed(RUN, RELEASED, **WITHDRAW)]),
        *(
            Fires(changed(RUN, MADE, **WITHDRAW), before=[f"UPDATE {ITEM} SET state = '{state}', {more}"])
            for state, more in (
                ("paid", "paid_on = '2026-09-12'"),
                ("returned", "paid_on = '2026-09-12', ended_on = '2026-09-12', reason = 'wrong'"),
            )
        ),
    ],
    "bank_file_is_of_a_released_run": [
        Fires(added(FILE, run_id=THE_MADE), spares=[added(FILE, run_id=THE_RELEASED)]),
        Fires(added(FILE), before=[f"UPDATE {RUN} SET state = 'withdrawn', withdraw_reason = 'wrong'"]),
    ],
    "bank_payment_is_what_its_document_says": Fires(
        added(ITEM, amount="amount + 1"),
        added(ITEM, household_id="household_id + 1", details_id="NULL"),
        added(ITEM, **{**OF_CLAIM, "amount": "amount"}),
        added(ITEM, **{**OF_CLAIM, "household_id": "household_id"}),
        added(ITEM, **OF_A_REPAYMENT, household_id="household_id + 1", details_id=f"(SELECT MIN(id) FROM {DETAILS})"),
        spares=[added(ITEM), added(ITEM, **OF_CLAIM)],
    ),
    "bank_payment_is_of_a_voucher_owed_back": Fires(added(ITEM, **OF_A_VOUCHER), before=[UNDONE], spares=[added(ITEM)]),
    "bank_voucher_in_a_run_is_given_back": [
        Fires(
            UNDONE,
            before=[added(ITEM, **OF_A_VOUCHER, state="'waiting'", paid_on="NULL")],
            spares=[f"UPDATE {BACK} SET reason = 'left'"],
        ),
        Fires(UNDONE, before=[added(ITEM, **OF_A_VOUCHER, state="'paid'", paid_on="'2026-09-12'")]),
        Fires(
            before=[added(ITEM, **OF_A_VOUCHER, state="'left_out'", reason="'twice'", paid_on="NULL")], spares=[UNDONE]
        ),
    ],
    "bank_payment_joins_an_unreleased_run": Fires(
        added(ITEM, run_id=THE_RELEASED), spares=[added(ITEM, run_id=THE_MADE)]
    ),
    "bank_payment_keeps": [
        Fires(
            changed(ITEM, run_id="run_id + 1"),
            changed(ITEM, household_id="household_id + 1"),
            changed(ITEM, amount="amount + 1"),
            changed(ITEM, claim_id=CLAIM),
            changed(ITEM, "expense_id IS NOT NULL", expense_id="expense_id + 1"),
            changed(ITEM, "expense_id IS NOT NULL", expense_id="NULL"),
            changed(ITEM, "details_id IS NOT NULL", details_id="details_id + 1"),
            changed(ITEM, "details_id IS NOT NULL", details_id="NULL"),
            changed(ITEM, "paid_on IS NOT NULL", paid_on="'2026-09-30'"),
            spares=[changed(ITEM, ITEM_RELEASED, state="'paid'", paid_on="'2026-09-12'", repayment_id=1)],
        ),
        Fires(
            changed(ITEM, "repayment_id IS NOT NULL", repayment_id="NULL"),
            changed(ITEM, "repayment_id IS NOT NULL", repayment_id="repayment_id + 1"),
            changed(ITEM, "claim_id IS NOT NULL", claim_id="claim_id + 1"),
            changed(ITEM, "claim_id IS NOT NULL", claim_id="NULL"),
            before=[
                added(ITEM, "state = 'paid'", **{**OF_CLAIM, **NO_OTHERS_HOUSEHOLD, "repayment_id": 1}),
                added(ITEM, "state = 'waiting'", **OF_CLAIM),
            ],
        ),
    ],
    "bank_payment_is_paid_from_a_released_run": Fires(
        changed(ITEM, ITEM_MADE, state="'paid'", paid_on="'2026-09-12'"),
        spares=[changed(ITEM, ITEM_RELEASED, state="'paid'", paid_on="'2026-09-12'")],
    ),
    "bank_details_lead_to_an_account": Fires(
        added(DETAILS, bsb="'000-000'"),
        added(DETAILS, bsb="'999-999'"),
        added(DETAILS, account_number="'00'"),
        added(DETAILS, account_number="'000000000'"),
        spares=[added(DETAILS), added(DETAILS, account_number="'1000'"), added(DETAILS, bsb="''", account_number="''")],
    ),
    "bank_details_never_change": Fires(
        changed(DETAILS, title="'Other'"),
        changed(DETAILS, bsb="'012-003'"),
        changed(DETAILS, account_number="'99999'"),
        changed(DETAILS, reason="'other'"),
        spares=[changed(DETAILS, title="''", bsb="''", account_number="''", reason="''")],
    ),
    "bank_account_changes_as_agreed": [
        Fires(
            changed(BANK, holder="'Other'"),
            changed(BANK, bsb="'062-000'"),
            changed(BANK, account_number="'99999'"),
            changed(BANK, iban="'DE89370400440532013000'"),
            changed(BANK, bic="'COBADEFFXXX'"),
            spares=[changed(BANK, name="'Main account'", remitter="'OTHER'")],
        ),
        Fires(changed(BANK, bsb="'062-000'"), before=[changed(CHANGE, **ASKED, bsb="'062-000'")]),
        Fires(
            changed(BANK, bsb="'062-001'"),
            before=[changed(CHANGE, "state = 'agreed'", bsb="'062-000'")],
            spares=[changed(BANK, bsb="'062-000'")],
        ),
        Fires(
            changed(BANK, bsb="'062-000'"),
            before=[
                changed(CHANGE, "state = 'agreed'", bsb="'062-000'"),
                added(CHANGE, "state = 'agreed'", bsb="'062-001'"),
            ],
        ),
        Fires(
            changed(BANK, bsb="'062-000'"),
            before=[changed(CHANGE, "state = 'agreed'", bsb="'062-000'", bank_account_id="bank_account_id + 1")],
        ),
    ],
    "bank_account_begins_without_a_number": Fires(
        *(added(BANK, **{**NO_NUMBER, name: "'1'"}) for name in NO_NUMBER), spares=[added(BANK, **NO_NUMBER)]
    ),
    "bank_account_change_stays_decided": [
        Fires(before=[changed(CHANGE, **ASKED)], spares=[changed(CHANGE, **DECLINED)]),
        Fires(
            changed(CHANGE, decided_by_id="decided_by_id + 1"),
            changed(CHANGE, decided_by_id="NULL"),
            changed(CHANGE, decided_on="'2026-09-13'"),
            changed(CHANGE, answer="'other'"),
        ),
    ],
}
