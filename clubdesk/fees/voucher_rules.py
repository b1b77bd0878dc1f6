"""The rules about vouchers and the claims for them that the database itself keeps."""

from clubdesk.fees.states import GIVE_BACK, VOUCHER
from clubdesk.guards import Guard, differs, kept, replaces_nothing

NOTHING_CLAIMED = "('refused', 'released', 'returned')"
FAMILY_OF_THE_CHILD = (
    "roll_household h WHERE h.id = (SELECT p.household_id FROM roll_person p WHERE p.id = NEW.person_id)"
    " FOR NO KEY UPDATE"
)
"""Its vouchers are accepted one at a time, also those that fees of another family name it for."""
TAKEN_OUT = (
    "NEW.lodgement_id IS NULL AND OLD.state = 'lodged' AND NEW.state = 'accepted' AND NOT EXISTS (SELECT 1"
    " FROM fees_voucher v WHERE v.lodgement_id = OLD.lodgement_id AND v.state IN ('paid', 'refused', 'returned'))"
)
MOVED = (
    "OLD.came_on IS NULL AND NEW.came_on IS NOT NULL AND NEW.came_from_id = a.household_id"
    " AND NEW.came_with = NEW.amount AND a.carried_on IS NOT NULL"
    " AND b.household_id = (SELECT p.household_id FROM roll_person p WHERE p.id = b.person_id)"
)
"""How it goes along where its child belongs to another family, while it waits for the child's next fee."""
GOES_ASTRAY = (
    "(NEW.charge_id <> OLD.charge_id AND (COALESCE(NEW.first_charge_id, 0) <> COALESCE(OLD.first_charge_id,"
    " OLD.charge_id) OR NOT EXISTS (SELECT 1 FROM fees_charge a, fees_charge b WHERE a.id = OLD.charge_id"
    " AND b.id = NEW.charge_id AND a.taken_back_on IS NOT NULL AND a.kept = 0"
    f" AND (a.household_id = b.household_id OR {MOVED}) AND a.person_id = b.person_id)))"
    " OR (NEW.charge_id = OLD.charge_id AND COALESCE(NEW.first_charge_id, 0) <> COALESCE(OLD.first_charge_id, 0))"
)

STANDING = (
    "(SELECT COUNT(*) FROM fees_voucher v WHERE v.scheme_id = NEW.scheme_id AND v.person_id = NEW.person_id"
    f" AND v.calendar_year = NEW.calendar_year AND v.state NOT IN {NOTHING_CLAIMED} AND v.id <> {{own}}"
)
TOO_MANY = (
    (
        "within_the_year",
        f"{STANDING}) >= (SELECT s.per_year FROM fees_voucherscheme s WHERE s.id = NEW.scheme_id)",
        "The child has used this year's vouchers of the scheme already.",
    ),
    (
        "within_its_window",
        f"NEW.window_id IS NOT NULL AND {STANDING} AND v.window_id = NEW.window_id)"
        " >= (SELECT w.allows FROM fees_voucherwindow w WHERE w.id = NEW.window_id)",
        "The child has used the voucher of this window already.",
    ),
)
"""How a child's vouchers that stand, but for the row itself, come to more than the scheme allows."""
STANDING_GIVE_BACK = "FROM fees_giveback g WHERE g.voucher_id = NEW.id AND g.state <> 'undone'"
TIED = (
    "COALESCE((SELECT SUM(t.amount) FROM fees_tiedcredit t WHERE t.receipt_id = NEW.receipt_id"
    " AND t.freed_on IS NULL), 0)"
)
OWN_USED = (
    "COALESCE((SELECT SUM(a.amount) FROM fees_allocation a WHERE a.receipt_id = NEW.receipt_id"
    " AND a.charge_id IS NOT NULL AND a.freed_on IS NULL AND NOT EXISTS (SELECT 1 FROM fees_tiedcredit t"
    " WHERE t.id = a.tied_id AND t.freed_on IS NULL)), 0)"
)
REPAID = (
    "COALESCE((SELECT SUM(a.amount) FROM fees_allocation a WHERE a.receipt_id = NEW.receipt_id"
    " AND a.repayment_id IS NOT NULL AND a.freed_on IS NULL), 0)"
)
RECEIVED = "(SELECT r.amount FROM fees_receipt r WHERE r.id = NEW.receipt_id)"

VOUCHER_GUARDS = [
    *kept(
        "fees_voucher",
        "voucher",
        "scheme_id",
        "person_id",
        "accepted_on",
        "calendar_year",
        "of_child",
        "window_id",
        "issued_on",
        "lapses_on",
        "claim_by",
        free=(
            "charge_id",
            "first_charge_id",
            "code",
            "code_erased_on",
            "amount",
            "short_by",
            "given_back",
            "state",
            "lodgement_id",
            "ended_on",
            "end_reason",
            "came_from_id",
            "came_on",
            "came_with",
        ),
    ),
    Guard(
        "fees_voucher_comes_with_the_child_once",
        "fees_voucher",
        "UPDATE",
        when=f"(OLD.came_on IS NOT NULL OR NEW.charge_id = OLD.charge_id) AND ({differs('came_on', 'came_with')})",
        message="A voucher goes along to another family once, with its child, and that stays written.",
    ),
    Guard(
        "fees_voucher_goes_with_the_child",
        "fees_voucher",
        "UPDATE",
        when=GOES_ASTRAY,
        message="A voucher stays with its fee; once that was called off it goes with the child to the next.",
    ),
    Guard(
        "fees_voucher_keeps_its_claim",
        "fees_voucher",
        "UPDATE",
        when="NEW.amount + NEW.short_by + NEW.given_back <> OLD.amount + OLD.short_by + OLD.given_back"
        " OR (NEW.short_by <> OLD.short_by AND (OLD.state <> 'lodged' OR NEW.state <> 'paid'))",
        message="A voucher keeps what was claimed; what the department paid less is written with its answer.",
    ),
    Guard(
        "fees_voucher_given_back_by_an_invoice",
        "fees_voucher",
        "UPDATE",
        when="(NEW.given_back > OLD.given_back OR NEW.state = 'returned' AND OLD.state <> 'returned')"
        f" AND (OLD.state <> 'paid' OR NOT EXISTS (SELECT 1 {STANDING_GIVE_BACK}"
        " AND g.amount = CASE WHEN NEW.state = 'returned' THEN NEW.amount ELSE NEW.given_back END))",
        message="A voucher is given back once it was paid, by an invoice of the department and as much as that says.",
    ),
    Guard(
        "fees_voucher_given_back_until_undone",
        "fees_voucher",
        "UPDATE",
        when="(NEW.given_back < OLD.given_back OR OLD.state = 'returned' AND NEW.state <> 'returned')"
        f" AND (NEW.given_back <> 0 OR EXISTS (SELECT 1 {STANDING_GIVE_BACK}))",
        message="A voucher that was given back stays so, until giving it back is undone.",
    ),
    *kept(
        "fees_giveback",
        "voucher given back",
        "voucher_id",
        "household_id",
        "amount",
        "asked_on",
        "invoice",
        "pay_to",
        free=(
            "credit_id",
            "undone_on",
            "undo_reason",
            "reason",
            "state",
            "decided_by_id",
            "decided_on",
            "decision_reason",
            "paid_on",
            "payment_reference",
            "times_returned",
        ),
    ),
    *GIVE_BACK.guards("fees_giveback"),
    Guard(
        "fees_giveback_of_what_was_paid",
        "fees_giveback",
        "INSERT",
        when="NOT EXISTS (SELECT 1 FROM fees_voucher v JOIN fees_charge c ON c.id = v.charge_id"
        " WHERE v.id = NEW.voucher_id AND v.state = 'paid' AND v.given_back = 0 AND NEW.amount <= v.amount"
        " AND c.household_id = NEW.household_id)",
        message="No more is owed back than the department paid for the voucher.",
    ),
    Guard(
        "fees_giveback_keeps_its_credit",
        "fees_giveback",
        "UPDATE",
        when="OLD.credit_id IS NOT NULL AND (NEW.credit_id IS NULL OR NEW.credit_id <> OLD.credit_id)"
        " OR NEW.credit_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM fees_chargecredit k JOIN fees_charge c"
        " ON c.id = k.charge_id JOIN fees_voucher v ON v.id = NEW.voucher_id WHERE k.id = NEW.credit_id"
        " AND c.household_id = NEW.household_id AND c.person_id = v.person_id AND k.amount <= NEW.amount)",
        message="What was credited with a voucher given back is of the fee of its child, and stays noted.",
    ),
    Guard(
        "fees_giveback_payment_comes_back_once",
        "fees_giveback",
        "UPDATE",
        when="(OLD.state = 'paid' AND NEW.state = 'approved') <> (NEW.times_returned <> OLD.times_returned)"
        " OR NEW.times_returned NOT IN (OLD.times_returned, OLD.times_returned + 1)"
        " OR (OLD.state = 'paid' AND NEW.state = 'paid' AND NEW.paid_on <> OLD.paid_on)",
        message="Only a payment that the bank returned is counted as returned, once.",
    ),
    Guard(
        "fees_voucher_stays_lodged",
        "fees_voucher",
        "UPDATE",
        when="OLD.lodgement_id IS NOT NULL AND COALESCE(NEW.lodgement_id, 0) <> OLD.lodgement_id"
        " AND NOT (OLD.state = 'lodged' AND EXISTS (SELECT 1 FROM fees_lodgement l WHERE l.id = NEW.lodgement_id"
        " AND l.part_of_id = OLD.lodgement_id AND l.paid_on IS NULL))"
        f" AND NOT ({TAKEN_OUT}) OR NEW.state = 'accepted' AND NEW.lodgement_id IS NOT NULL",
        message="A voucher stays in the claim that it was sent with, or in the part of it that is paid, unless it"
        " is removed from it before any answer.",
    ),
    *VOUCHER.guards("fees_voucher"),
    Guard(
        "fees_voucher_not_before_its_fee",
        "fees_voucher",
        "INSERT",
        when="NEW.accepted_on < (SELECT c.charged_on FROM fees_charge c WHERE c.id = NEW.charge_id)",
        message="A voucher cannot pay a fee before it was charged.",
    ),
    *(
        Guard(
            f"fees_voucher_{event.lower()}_{name}",
            "fees_voucher",
            event,
            when=f"{becomes} {beyond.format(own=own)}",
            message=message,
            holds=holds,
        )
        for name, beyond, message in TOO_MANY
        for event, own, becomes, holds in (
            ("INSERT", "-1", f"NEW.state NOT IN {NOTHING_CLAIMED} AND", FAMILY_OF_THE_CHILD),
            ("UPDATE", "OLD.id", f"OLD.state IN {NOTHING_CLAIMED} AND NEW.state NOT IN {NOTHING_CLAIMED} AND", ""),
        )
    ),
    Guard(
        "fees_voucher_known_as_its_scheme_says",
        "fees_voucher",
        "INSERT",
        when="NEW.of_child <> ((SELECT s.key_kind FROM fees_voucherscheme s WHERE s.id = NEW.scheme_id) = 'child')"
        " OR NEW.of_child AND EXISTS (SELECT 1 FROM fees_voucher v WHERE v.scheme_id = NEW.scheme_id AND v.of_child"
        " AND v.code = NEW.code AND v.person_id <> NEW.person_id)",
        message="A voucher is known as its scheme says: by a code of its own, or by the number of its child.",
    ),
    Guard(
        "fees_voucher_one_on_a_fee",
        "fees_voucher",
        "INSERT",
        when=f"NEW.state NOT IN {NOTHING_CLAIMED} AND (SELECT s.one_a_fee FROM fees_voucherscheme s"
        " WHERE s.id = NEW.scheme_id) AND EXISTS (SELECT 1 FROM fees_voucher v WHERE v.scheme_id = NEW.scheme_id"
        f" AND v.charge_id = NEW.charge_id AND v.state NOT IN {NOTHING_CLAIMED})",
        message="Only one voucher of the scheme pays a fee.",
    ),
    Guard(
        "fees_voucherscheme_keeps_its_key",
        "fees_voucherscheme",
        "UPDATE",
        when="(NEW.key_kind <> OLD.key_kind OR NEW.year_begins <> OLD.year_begins)"
        " AND EXISTS (SELECT 1 FROM fees_voucher v WHERE v.scheme_id = OLD.id)",
        message="Vouchers of the scheme were taken: what they are known by stays, and so does when its year begins."
        " Add a scheme for the new rules.",
    ),
    Guard(
        "fees_tiedcredit_keeps",
        "fees_tiedcredit",
        "UPDATE",
        when="NEW.receipt_id <> OLD.receipt_id OR NEW.voucher_id <> OLD.voucher_id OR NEW.amount <> OLD.amount"
        " OR NEW.tied_on <> OLD.tied_on OR OLD.freed_on IS NOT NULL OR NOT EXISTS (SELECT 1 FROM fees_voucher v"
        f" WHERE v.id = OLD.voucher_id AND (v.state IN {NOTHING_CLAIMED} OR v.short_by > 0 OR v.given_back > 0))",
        message="A credit that a voucher made is tied as long as the voucher pays.",
    ),
    Guard(
        "fees_tiedcredit_stays",
        "fees_tiedcredit",
        "DELETE",
        message="A credit that a voucher made keeps where it came from.",
    ),
    replaces_nothing("fees_tiedcredit", "tied credit"),
    Guard(
        "fees_tiedcredit_of_what_was_not_paid_back",
        "fees_tiedcredit",
        "INSERT",
        when=f"NEW.freed_on IS NOT NULL OR NEW.amount + {TIED} + {REPAID} > {RECEIVED}",
        message="What was paid back is tied by no voucher.",
    ),
    Guard(
        "fees_allocation_pays_no_tied_credit_back",
        "fees_allocation",
        "INSERT",
        when=f"NEW.repayment_id IS NOT NULL AND NEW.amount + {TIED} + {REPAID} + {OWN_USED} > {RECEIVED}",
        message="A credit that a voucher made is never paid back as money.",
    ),
    *(
        Guard(
            f"fees_allocation_{name}_within_what_is_tied",
            "fees_allocation",
            event,
            when="NEW.tied_id IS NOT NULL AND (NEW.repayment_id IS NOT NULL OR NOT EXISTS (SELECT 1"
            " FROM fees_tiedcredit t WHERE t.id = NEW.tied_id AND t.receipt_id = NEW.receipt_id AND NEW.amount"
            " + COALESCE((SELECT SUM(a.amount) FROM fees_allocation a WHERE a.tied_id = NEW.tied_id"
            f" AND a.freed_on IS NULL AND a.id <> {own}), 0) <= t.amount))",
            message="A tied credit pays fees by its own receipt, and no more than it is.",
        )
        for name, event, own in (("insert", "INSERT", "-1"), ("update", "UPDATE OF tied_id", "OLD.id"))
    ),
    *kept("fees_lodgement", "lodgement", "scheme_id", "lodged_on", "part_of_id", free=("paid_on", "reference")),
    *kept(
        "fees_claimfile",
        "file of a voucher claim",
        "lodgement_id",
        "kind",
        "number",
        "made_on",
        "rows",
        "amount",
        "told_digest",
        "file_type",
        "file_digest",
        free=("file", "erased_on"),
    ),
    Guard(
        "fees_claimfile_stays_erased",
        "fees_claimfile",
        "UPDATE",
        when="OLD.erased_on IS NOT NULL AND (NEW.erased_on IS NULL OR NEW.erased_on <> OLD.erased_on)"
        " OR NEW.erased_on IS NULL AND NEW.file <> OLD.file",
        message="The file of a claim stays as it was sent; once it was erased it does not come back.",
    ),
    Guard(
        "fees_lodgement_part_is_of_its_list",
        "fees_lodgement",
        "INSERT",
        when="NEW.part_of_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM fees_lodgement l WHERE l.id = NEW.part_of_id"
        " AND l.scheme_id = NEW.scheme_id AND l.lodged_on = NEW.lodged_on AND l.part_of_id IS NULL"
        " AND l.paid_on IS NULL)",
        message="A part of a voucher claim is of its scheme and day, while the rest is not paid.",
    ),
]
