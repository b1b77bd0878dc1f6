"""The rules about the entry fund that the database itself keeps."""

from clubdesk.entryfund.states import CLAIM
from clubdesk.guards import Guard, kept
from clubdesk.roll.rules import not_erased, of_the_family

GUARDS = [
    not_erased("entryfund_entryclaim"),
    *kept(
        "entryfund_entryclaim",
        "claim",
        "person_id",
        "household_id",
        "event_id",
        "amount",
        "receipt_amount",
        "by_family",
        "claimed_on",
        "receipt_type",
        "receipt_digest",
        "upload_digest",
        free=(
            "entry_shown",
            "receipt",
            "question",
            "answer",
            "state",
            "decided_by_id",
            "decided_on",
            "decision_reason",
            "paid_on",
            "payment_reference",
            "times_returned",
        ),
    ),
    *CLAIM.guards("entryfund_entryclaim"),
    Guard(
        "entryfund_nobody_decides_for_their_household",
        "entryfund_entryclaim",
        "UPDATE",
        when="NEW.decided_by_id IS NOT NULL AND OLD.decided_by_id IS NULL AND "
        + of_the_family("NEW.household_id", "NEW.decided_by_id", "NEW.recorded_at"),
        message="Nobody decides about a refund request of their own family.",
    ),
    Guard(
        "entryfund_decision_stays",
        "entryfund_entryclaim",
        "UPDATE",
        when="OLD.decided_by_id IS NOT NULL"
        " AND (NEW.decided_by_id <> OLD.decided_by_id OR NEW.decided_on <> OLD.decided_on)",
        message="A refund request that was decided stays as it is.",
    ),
    Guard(
        "entryfund_payment_comes_back_once",
        "entryfund_entryclaim",
        "UPDATE",
        when="(OLD.state = 'paid' AND NEW.state = 'approved') <> (NEW.times_returned <> OLD.times_returned)"
        " OR NEW.times_returned NOT IN (OLD.times_returned, OLD.times_returned + 1)"
        " OR (OLD.state = 'paid' AND NEW.state = 'paid' AND NEW.paid_on <> OLD.paid_on)",
        message="Only a payment that the bank returned is counted as returned, once.",
    ),
    *kept(
        "entryfund_moreevidence",
        "piece of evidence",
        "claim_id",
        "file_type",
        "file_digest",
        free=("file",),
    ),
    *kept(
        "entryfund_fundtransfer", "transfer between funds", "from_fund_id", "to_fund_id", "amount", "moved_on", "minute"
    ),
    *kept(
        "entryfund_containerreturn",
        "container return",
        "returned_on",
        "containers",
        "amount",
        "paid_into",
        "depot_receipt",
        "receipt_type",
        "receipt_digest",
        free=("receipt", "cancelled_on", "cancel_reason"),
    ),
    Guard(
        "entryfund_return_stays_cancelled",
        "entryfund_containerreturn",
        "UPDATE",
        when="OLD.cancelled_on IS NOT NULL AND (NEW.cancelled_on IS NULL OR NEW.cancelled_on <> OLD.cancelled_on)",
        message="A container return that was cancelled stays so.",
    ),
    *kept("entryfund_bagcount", "count of bags", "counted_on", "bags", "containers"),
]
