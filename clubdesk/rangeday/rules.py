"""The rules about range days that the database itself keeps."""

from clubdesk.guards import Guard, kept, replaces_nothing

GUARDS = [
    Guard(
        "rangeday_sign_on_on_an_open_day",
        "rangeday_signon",
        "INSERT",
        when="EXISTS (SELECT 1 FROM rangeday_rangeday d WHERE d.id = NEW.range_day_id AND d.closed_on IS NOT NULL)",
        message="This range day is closed and counted.",
    ),
    Guard(
        "rangeday_sign_on_keeps",
        "rangeday_signon",
        "UPDATE",
        when="NEW.amount <> OLD.amount OR NEW.rounding <> OLD.rounding OR NEW.paid <> OLD.paid"
        " OR NEW.range_day_id <> OLD.range_day_id OR (OLD.cancelled_on IS NOT NULL AND NEW.cancelled_on IS NULL)",
        message="A sign-on is never changed; cancel it and record it again.",
    ),
    replaces_nothing("rangeday_signon", "sign-on", "id", "key"),
    Guard(
        "rangeday_sign_on_stays",
        "rangeday_signon",
        "DELETE",
        message="A sign-on is cancelled, never deleted.",
    ),
    Guard(
        "rangeday_day_stays_closed",
        "rangeday_rangeday",
        "UPDATE",
        when="OLD.closed_on IS NOT NULL AND (NEW.closed_on IS NULL OR NEW.date <> OLD.date)",
        message="A range day that was counted stays closed.",
    ),
    *kept("rangeday_tillcount", "till count", "expected", "counted", "range_day_id"),
    *kept("rangeday_banking", "banking", "amount", "banked_on"),
]
