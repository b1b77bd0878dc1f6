"""The rules about range days that the database itself keeps."""

from clubdesk.guards import Guard, kept, replaces_nothing
from clubdesk.rangeday.states import KIT, TAP
from clubdesk.roll.rules import not_erased

GUARDS = [
    not_erased("rangeday_signon"),
    Guard(
        "rangeday_sign_on_on_an_open_day",
        "rangeday_signon",
        "INSERT",
        when="EXISTS (SELECT 1 FROM rangeday_rangeday d WHERE d.id = NEW.range_day_id"
        " AND (d.closed_on IS NOT NULL OR d.called_off_on IS NOT NULL))",
        message="This range day is closed and counted, or was called off.",
    ),
    *kept(
        "rangeday_signon",
        "sign-on",
        "amount",
        "rounding",
        "paid",
        "range_day_id",
        "person_id",
        "gear",
        "price_id",
        "charge_id",
        "safety_id",
        "tap_id",
        "corrects_id",
        "moved_from_id",
        free=("visitor_name", "visitor_guardian", "visitor_phone", "cancelled_on", "cancel_reason"),
    ),
    Guard(
        "rangeday_sign_on_stays_cancelled",
        "rangeday_signon",
        "UPDATE",
        when="OLD.cancelled_on IS NOT NULL AND NEW.cancelled_on IS NULL",
        message="A cancelled sign-on stays cancelled; record it again.",
    ),
    Guard(
        "rangeday_sign_on_stays_once_counted",
        "rangeday_signon",
        "UPDATE",
        when="OLD.cancelled_on IS NULL AND NEW.cancelled_on IS NOT NULL AND EXISTS (SELECT 1 FROM rangeday_rangeday d"
        " WHERE d.id = NEW.range_day_id AND d.closed_on IS NOT NULL)",
        message="This range day is counted; its sign-ons stay as they are until it is reopened.",
    ),
    replaces_nothing("rangeday_rangeday", "range day"),
    replaces_nothing("rangeday_kit", "piece of kit"),
    Guard(
        "rangeday_kit_takes_no_others_place",
        "rangeday_kit",
        "INSERT",
        when="EXISTS (SELECT 1 FROM rangeday_kit x WHERE UPPER(x.number) = UPPER(NEW.number))",
        message="A piece of kit carries this number already.",
    ),
    Guard(
        "rangeday_day_stays_closed",
        "rangeday_rangeday",
        "UPDATE",
        when="OLD.closed_on IS NOT NULL AND (NEW.date <> OLD.date OR NEW.closed_on IS NULL AND EXISTS"
        " (SELECT 1 FROM rangeday_tillcount c WHERE c.range_day_id = NEW.id AND c.reopened_on IS NULL))",
        message="A range day stays closed while its count stands; reopen it with a reason.",
    ),
    Guard(
        "rangeday_day_stays_called_off",
        "rangeday_rangeday",
        "UPDATE",
        when="OLD.called_off_on IS NOT NULL AND (NEW.called_off_on IS NULL OR NEW.date <> OLD.date)",
        message="A range day that was called off stays so; begin another.",
    ),
    Guard(
        "rangeday_called_off_with_nobody_left",
        "rangeday_rangeday",
        "UPDATE",
        when="NEW.called_off_on IS NOT NULL AND OLD.called_off_on IS NULL AND EXISTS"
        " (SELECT 1 FROM rangeday_signon s WHERE s.range_day_id = NEW.id AND s.cancelled_on IS NULL)",
        message="Somebody is still signed on; calling the day off takes that back first.",
    ),
    Guard(
        "rangeday_closed_as_counted",
        "rangeday_rangeday",
        "UPDATE",
        when="NEW.closed_on IS NOT NULL AND OLD.closed_on IS NULL AND NOT EXISTS"
        " (SELECT 1 FROM rangeday_tillcount c WHERE c.range_day_id = NEW.id AND c.reopened_on IS NULL"
        " AND c.counted ="
        " (SELECT COALESCE(SUM(p.cents * p.number), 0) FROM rangeday_countedpiece p WHERE p.till_count_id = c.id))",
        message="A day is closed by a count, and its notes and coins come to what was counted.",
    ),
    *kept(
        "rangeday_tillcount",
        "till count",
        "opening",
        "expected",
        "counted",
        "card_receipts",
        "card_expected",
        "card_slip",
        "range_day_id",
        "reason",
        "second_counter_id",
        free=("reopened_on", "reopen_reason", "reopened_by_id"),
    ),
    Guard(
        "rangeday_count_stays_reopened",
        "rangeday_tillcount",
        "UPDATE",
        when="OLD.reopened_on IS NOT NULL AND (NEW.reopened_on IS NULL OR NEW.reopened_on <> OLD.reopened_on"
        " OR NEW.reopen_reason <> OLD.reopen_reason OR NEW.reopened_by_id <> OLD.reopened_by_id)",
        message="Who reopened a day, when and why, is never changed.",
    ),
    Guard("rangeday_piece_keeps", "rangeday_countedpiece", "UPDATE", message="What was counted is never changed."),
    Guard("rangeday_piece_stays", "rangeday_countedpiece", "DELETE", message="What was counted is never changed."),
    replaces_nothing("rangeday_countedpiece", "counted piece"),
    Guard(
        "rangeday_piece_of_an_open_count",
        "rangeday_countedpiece",
        "INSERT",
        when="EXISTS (SELECT 1 FROM rangeday_tillcount c JOIN rangeday_rangeday d ON d.id = c.range_day_id"
        " WHERE c.id = NEW.till_count_id AND (d.closed_on IS NOT NULL OR c.reopened_on IS NOT NULL))",
        message="This count is finished.",
    ),
    *kept("rangeday_banking", "banking", "amount", "banked_on", free=("cancelled_on", "cancel_reason")),
    Guard(
        "rangeday_banking_stays_cancelled",
        "rangeday_banking",
        "UPDATE",
        when="OLD.cancelled_on IS NOT NULL AND NEW.cancelled_on IS NULL",
        message="A cancelled banking stays cancelled; record it again.",
    ),
    Guard(
        "rangeday_safety_text_stays",
        "rangeday_safetytext",
        "UPDATE",
        when="NEW.text <> OLD.text OR NEW.in_force_from <> OLD.in_force_from",
        message="Safety rules stay as families read them; add new ones.",
    ),
    Guard("rangeday_safety_text_is_kept", "rangeday_safetytext", "DELETE", message="Safety rules are never deleted."),
    replaces_nothing("rangeday_safetytext", "set of safety rules"),
    Guard(
        "rangeday_only_fit_kit_is_given_out",
        "rangeday_kitloan",
        "INSERT",
        when="EXISTS (SELECT 1 FROM rangeday_kit k WHERE k.id = NEW.kit_id AND k.state <> 'usable')",
        message="This piece of kit is set aside or retired; it is not given out.",
    ),
    Guard(
        "rangeday_kit_goes_to_who_is_signed_on",
        "rangeday_kitloan",
        "INSERT",
        when="EXISTS (SELECT 1 FROM rangeday_signon s WHERE s.id = NEW.sign_on_id AND s.cancelled_on IS NOT NULL)",
        message="That sign-on was cancelled; sign them on again before kit is given to them.",
        holds="rangeday_signon s WHERE s.id = NEW.sign_on_id FOR NO KEY UPDATE",
    ),
    *kept("rangeday_kitloan", "loan of kit", "kit_id", "given_at", free=("sign_on_id", "back_at")),
    Guard(
        "rangeday_loan_stays_with_its_sign_on",
        "rangeday_kitloan",
        "UPDATE",
        when="NEW.sign_on_id <> OLD.sign_on_id AND NOT EXISTS"
        " (SELECT 1 FROM rangeday_signon s WHERE s.id = NEW.sign_on_id AND s.corrects_id = OLD.sign_on_id)",
        message="Kit given out is noted for good; note it again.",
    ),
    *kept("rangeday_kitcheck", "check of kit", "kit_id", "state", "checked_on", "note", "checked_by"),
    *KIT.guards("rangeday_kit"),
    *kept(
        "rangeday_tap",
        "tap",
        "range_day_id",
        "tapped_at",
        "act",
        "kit_id",
        "holder",
        "gear",
        "paid",
        "people",
        free=(
            "safety_id",
            "visitor_name",
            "visitor_guardian",
            "visitor_phone",
            "state",
            "question",
            "answer",
            "answered_on",
            "answered_by_id",
        ),
    ),
    *TAP.guards("rangeday_tap"),
    Guard(
        "rangeday_kit_is_what_a_check_found",
        "rangeday_kit",
        "UPDATE",
        when="NEW.state <> OLD.state AND NEW.state <> COALESCE((SELECT c.state FROM rangeday_kitcheck c"
        " WHERE c.kit_id = NEW.id ORDER BY c.id DESC LIMIT 1), '')",
        message="Kit is set aside and put back into use only by a check that says who or why.",
    ),
]
