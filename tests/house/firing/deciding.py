"""What makes the guards of claims and expenses fire: who decides, and how a payment comes back."""

from tests.house.firing import Cases, Fires, changed

CLAIM, EXPENSE, RETURN = "entryfund_entryclaim", "expenses_expense", "entryfund_containerreturn"
ON, LATER = "'2026-09-12'", "'2026-09-13'"
OF_EVERY_HOUSEHOLD = (
    "INSERT INTO roll_belonging (household_id, user_id, added_at, added_by_id) SELECT h.id, 1, '2026-01-01', 2"
    " FROM roll_household h"
)


def decided_by_others(table):
    return [
        Fires(
            changed(table, "decided_by_id IS NULL", decided_by_id=1),
            before=[OF_EVERY_HOUSEHOLD],
            spares=[
                changed(table, "decided_by_id IS NULL", decided_by_id=2),
                changed(table, "decided_by_id IS NOT NULL", decided_by_id=1),
            ],
        ),
        Fires(spares=[changed(table, "decided_by_id IS NULL", decided_by_id=1)]),
    ]


def comes_back_once(table):
    paid = changed(table, "state = 'approved'", state="'paid'", paid_on=ON)
    return Fires(
        changed(table, "state = 'paid'", state="'approved'", paid_on="NULL"),
        changed(table, "state = 'paid'", state="'approved'", paid_on="NULL", times_returned="times_returned + 2"),
        changed(table, "state = 'paid'", times_returned="times_returned + 1"),
        changed(table, "state <> 'paid'", times_returned="times_returned + 1"),
        changed(table, "state = 'paid'", paid_on=LATER),
        before=[paid],
        spares=[
            changed(table, "state = 'paid'", state="'approved'", paid_on="NULL", times_returned="times_returned + 1")
        ],
    )


CASES: Cases = {
    "entryfund_nobody_decides_for_their_household": decided_by_others(CLAIM),
    "expenses_nobody_decides_for_their_household": decided_by_others(EXPENSE),
    "entryfund_decision_stays": Fires(
        changed(CLAIM, "decided_by_id IS NOT NULL", decided_by_id="decided_by_id + 1"),
        changed(CLAIM, "decided_by_id IS NOT NULL", decided_on=LATER),
        spares=[changed(CLAIM, "decided_by_id IS NULL", decided_by_id=1, decided_on=LATER)],
    ),
    "expenses_decision_stays": Fires(
        changed(EXPENSE, "state = 'approved'", account_id="account_id + 1"),
        changed(EXPENSE, "state = 'approved'", fund_id="'other'"),
        changed(EXPENSE, "state = 'approved'", decided_by_id="decided_by_id + 1"),
        changed(EXPENSE, "state = 'approved'", decided_on=LATER),
        spares=[changed(EXPENSE, "state = 'recorded'", account_id="account_id + 1", decided_on=ON, decided_by_id=1)],
    ),
    "entryfund_payment_comes_back_once": comes_back_once(CLAIM),
    "expenses_payment_comes_back_once": comes_back_once(EXPENSE),
    "entryfund_return_stays_cancelled": Fires(
        changed(RETURN, cancelled_on="NULL"),
        changed(RETURN, cancelled_on=LATER),
        before=[changed(RETURN, cancelled_on=ON, cancel_reason="'typed twice'")],
    ),
}
