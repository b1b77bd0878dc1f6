"""How it goes on with what two people decide about a locked month."""

from clubdesk.states import States

UNLOCK = States(
    "month to be unlocked",
    first=("asked",),
    table={
        "asked": {"agreed": "ledger.agree_to_unlock", "declined": "ledger.decline_unlock"},
        "agreed": {},
        "declined": {},
    },
)
