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
        "paid": {},
        "refused": {},
        "released": {},
    },
)
