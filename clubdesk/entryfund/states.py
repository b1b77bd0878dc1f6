"""How a request for an entry fee goes on its way."""

from clubdesk.states import States

CLAIM = States(
    "claim",
    first=("recorded",),
    table={
        "recorded": {
            "asked": "entryfund.ask_for_more",
            "approved": "entryfund.approve_claim",
            "declined": "entryfund.decline_claim",
        },
        "asked": {"recorded": "entryfund.answer_claim", "declined": "entryfund.decline_claim"},
        "approved": {"paid": "entryfund.pay_claim"},
        "paid": {"approved": "entryfund.take_claim_back"},
        "declined": {},
    },
)
UNDECIDED = CLAIM.before("declined")
