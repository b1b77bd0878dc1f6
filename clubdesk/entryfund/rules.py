"""The rules about the entry fund that the database itself keeps."""

from clubdesk.guards import Guard, kept, replaces_nothing

GUARDS = [
    Guard(
        "entryfund_nobody_decides_for_their_household",
        "entryfund_entryclaim",
        "UPDATE",
        when="NEW.decided_by_id IS NOT NULL AND OLD.decided_by_id IS NULL"
        " AND EXISTS (SELECT 1 FROM roll_household_users u"
        " WHERE u.household_id = NEW.household_id AND u.user_id = NEW.decided_by_id)",
        message="Nobody decides about a claim of their own household.",
    ),
    Guard(
        "entryfund_claim_begins_undecided",
        "entryfund_entryclaim",
        "INSERT",
        when="NEW.state <> 'recorded'",
        message="A claim is recorded first and decided after.",
    ),
    Guard(
        "entryfund_claim_keeps",
        "entryfund_entryclaim",
        "UPDATE",
        when="NEW.amount <> OLD.amount OR NEW.person_id <> OLD.person_id OR NEW.event_id <> OLD.event_id"
        " OR NEW.household_id <> OLD.household_id OR NEW.receipt_digest <> OLD.receipt_digest"
        " OR NEW.recorded_by_id <> OLD.recorded_by_id"
        " OR (OLD.state = 'declined' AND NEW.state <> 'declined')"
        " OR (OLD.state = 'paid' AND NEW.state <> 'paid' AND NEW.state <> 'approved')"
        " OR (OLD.state = 'paid' AND NEW.state = 'approved') <> (NEW.times_returned <> OLD.times_returned)"
        " OR NEW.times_returned NOT IN (OLD.times_returned, OLD.times_returned + 1)"
        " OR (OLD.state = 'paid' AND NEW.state = 'paid' AND NEW.paid_on <> OLD.paid_on)"
        " OR (OLD.decided_by_id IS NOT NULL"
        " AND (NEW.decided_by_id <> OLD.decided_by_id OR NEW.decided_on <> OLD.decided_on))"
        " OR (OLD.state = 'approved' AND NEW.state <> 'paid')"
        " OR (OLD.state IN ('recorded', 'asked') AND NEW.state = 'paid')",
        message="A claim that was decided stays as it is.",
    ),
    replaces_nothing("entryfund_entryclaim", "claim", "id", "key"),
    Guard(
        "entryfund_claim_stands_once",
        "entryfund_entryclaim",
        "INSERT",
        when="EXISTS (SELECT 1 FROM entryfund_entryclaim c WHERE c.person_id = NEW.person_id"
        " AND c.event_id = NEW.event_id AND c.state <> 'declined')",
        message="The child has a claim for this event already.",
    ),
    Guard(
        "entryfund_claim_stays",
        "entryfund_entryclaim",
        "DELETE",
        message="A claim is declined, never deleted.",
    ),
    *kept("entryfund_moreevidence", "piece of evidence", "claim_id"),
    *kept("entryfund_fundtransfer", "transfer between funds", "from_fund_id", "to_fund_id", "amount", "moved_on"),
    *kept(
        "entryfund_containerreturn",
        "container return",
        "amount",
        "paid_into",
        "returned_on",
        "containers",
        "receipt_digest",
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
