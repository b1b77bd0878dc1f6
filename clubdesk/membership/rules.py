"""The rules about memberships that the database itself keeps."""

from clubdesk.guards import Guard, kept, replaces_nothing
from clubdesk.membership.states import LEAVING
from clubdesk.roll.rules import not_erased

TWICE = (
    "NEW.cancelled_on IS NULL AND EXISTS (SELECT 1 FROM membership_membership m WHERE m.person_id = NEW.person_id"
    " AND m.id <> {own} AND m.cancelled_on IS NULL AND m.starts_on <= NEW.ends_on AND m.ends_on >= NEW.starts_on)"
)
REMITTED = (
    "(SELECT COALESCE(SUM(l.amount), 0) FROM membership_remittanceline l WHERE l.share_id = NEW.share_id) + NEW.amount"
)

GUARDS = [
    not_erased("membership_membership"),
    *kept(
        "membership_membership",
        "membership",
        "person_id",
        "plan_id",
        "payer_id",
        "charge_id",
        "starts_on",
        "months",
        "fee",
        "passed_on",
        "working",
        "sibling",
        "changed_from_id",
        free=("ends_on", "ended_on", "cancelled_on", "end_reason"),
    ),
    not_erased("membership_leaverequest"),
    *kept(
        "membership_leaverequest",
        "request to leave",
        "person_id",
        "asked_on",
        free=("reason", "state", "answered_by_id", "answered_on", "answer"),
    ),
    *LEAVING.guards("membership_leaverequest"),
    Guard(
        "membership_only_shortens",
        "membership_membership",
        "UPDATE",
        when="NEW.ends_on > OLD.ends_on OR (OLD.cancelled_on IS NOT NULL AND NEW.cancelled_on IS NULL)",
        message="A membership is never made longer, and a cancelled one not put in force again; take out another.",
    ),
    *(
        Guard(
            f"membership_{event.lower()}_once_a_day",
            "membership_membership",
            event,
            when=TWICE.format(own=own),
            message="A membership of this person covers one of those days already.",
        )
        for event, own in (("INSERT", "-1"), ("UPDATE", "OLD.id"))
    ),
    *kept("membership_remittance", "remittance", "amount", "association_id", "through", "paid_on"),
    Guard(
        "membership_share_remitted_once",
        "membership_remittanceline",
        "INSERT",
        when=f"{REMITTED} < 0 OR {REMITTED} > (SELECT s.amount FROM fees_chargeshare s WHERE s.id = NEW.share_id)",
        message="A member's share is passed on once.",
    ),
    Guard(
        "membership_remits_its_own_shares",
        "membership_remittanceline",
        "INSERT",
        when="(SELECT s.party_id FROM fees_chargeshare s WHERE s.id = NEW.share_id)"
        " <> (SELECT r.association_id FROM membership_remittance r WHERE r.id = NEW.remittance_id)",
        message="Fees are passed on for the shares of that association alone.",
    ),
    replaces_nothing("membership_remittanceline", "line of fees passed on"),
    Guard(
        "membership_remittanceline_keeps",
        "membership_remittanceline",
        "UPDATE",
        message="A line of fees passed on is never changed.",
    ),
    Guard(
        "membership_remittanceline_stays",
        "membership_remittanceline",
        "DELETE",
        message="A line of fees passed on is never deleted.",
    ),
]
