"""How a payment run and each of its payments go on their way, and what two people decide about the club's account."""

from clubdesk.states import States

RUN = States(
    "payment run",
    first=("made",),
    table={
        "made": {"released": "bank.release_run", "withdrawn": "bank.withdraw_run"},
        "released": {"withdrawn": "bank.withdraw_run"},
        "withdrawn": {},
    },
)
PAYMENT = States(
    "payment",
    first=("waiting",),
    table={
        "waiting": {"paid": "bank.record_paid", "refused": "bank.leave_out", "left_out": "bank.leave_out"},
        "paid": {"returned": "bank.record_returned"},
        "returned": {},
        "refused": {},
        "left_out": {},
    },
)
ACCOUNT_CHANGE = States(
    "change of the club’s account",
    first=("asked",),
    table={
        "asked": {"agreed": "bank.agree_to_account", "declined": "bank.decline_account"},
        "agreed": {},
        "declined": {},
    },
)
