"""Verbs of the fees room: charging, receiving and vouchers; and a family's account over time."""

from clubdesk.fees.services.accepting import accept_voucher
from clubdesk.fees.services.accounts import (
    pay_with,
    send_new_link,
    send_statement,
    send_statements,
    statements_to_send,
    take_up_again,
    write_off,
)
from clubdesk.fees.services.beginning import NewFee, begin_fees
from clubdesk.fees.services.carrying import call_off, carry_along, charge_instead, charge_next, lock_carried, set_again
from clubdesk.fees.services.charging import (
    cancel_receipt,
    charge,
    lock_charges,
    move_start,
    queue,
    queue_all,
    recognise,
    recognise_due,
    record_receipt,
    release,
    settle,
)
from clubdesk.fees.services.claiming import forget_files, make_claim_file
from clubdesk.fees.services.crediting import charge_again, credit_charge, release_voucher, take_back
from clubdesk.fees.services.each_night import erase_numbers, tell_deadlines
from clubdesk.fees.services.givingback import (
    give_back,
    lock_give_back,
    pay_give_back,
    take_give_back_back,
    undo_giving_back,
)
from clubdesk.fees.services.opening import OpenItem, bring_in_balances
from clubdesk.fees.services.parts import agree_parts, end_arrangement
from clubdesk.fees.services.repaying import repay_credit, take_repayment_back
from clubdesk.fees.services.taking import take_answer
from clubdesk.fees.services.vouchers import (
    answer_lodgement,
    lodge_vouchers,
    note_reference,
    record_lodgement_paid,
    refuse_voucher,
    unlodge_voucher,
)

__all__ = [
    "NewFee",
    "OpenItem",
    "accept_voucher",
    "agree_parts",
    "answer_lodgement",
    "begin_fees",
    "bring_in_balances",
    "call_off",
    "cancel_receipt",
    "carry_along",
    "charge",
    "charge_again",
    "charge_instead",
    "charge_next",
    "credit_charge",
    "end_arrangement",
    "erase_numbers",
    "forget_files",
    "give_back",
    "lock_carried",
    "lock_charges",
    "lock_give_back",
    "lodge_vouchers",
    "make_claim_file",
    "move_start",
    "note_reference",
    "pay_give_back",
    "pay_with",
    "queue",
    "queue_all",
    "recognise",
    "recognise_due",
    "record_lodgement_paid",
    "record_receipt",
    "refuse_voucher",
    "release",
    "release_voucher",
    "repay_credit",
    "send_new_link",
    "send_statement",
    "send_statements",
    "set_again",
    "settle",
    "statements_to_send",
    "take_answer",
    "take_back",
    "take_give_back_back",
    "take_repayment_back",
    "take_up_again",
    "tell_deadlines",
    "undo_giving_back",
    "unlodge_voucher",
    "write_off",
]
