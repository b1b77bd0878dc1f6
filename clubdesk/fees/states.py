"""How a sport voucher goes on its way."""

from clubdesk.states import States

VOUCHER = States(
    "voucher",
    first=("accepted",),
    table={
        "accepted": {
            "lodged": "fees.lodge_vouchers",
            "refused": "fees.refuse_voucher",
            "released": "fees.release_voucher",
        },
        "lodged": {
            "accepted": "fees.unlodge_voucher",
            "paid": "fees.answer_lodgement",
            "refused": "fees.refuse_voucher",
        },
        "paid": {"returned": "fees.give_back"},
        "refused": {},
        "released": {},
        "returned": {"paid": "bank.undo_give_back"},
    },
)

GIVE_BACK = States(
    "voucher given back",
    first=("approved",),
    table={
        "approved": {"paid": "fees.pay_give_back", "undone": "bank.undo_give_back"},
        "paid": {"approved": "fees.take_give_back_back"},
        "undone": {},
    },
)
