"""The rules about fees that the database itself keeps."""

from clubdesk.fees.states import VOUCHER
from clubdesk.guards import Guard, kept, replaces_nothing
from clubdesk.ledger.rules import THE_BOOK, tax_stays
from clubdesk.roll.rules import not_erased

NOTHING_CLAIMED = "('refused', 'released')"
FAMILY_OF_THE_CHILD = (
    "roll_household h WHERE h.id = (SELECT p.household_id FROM roll_person p WHERE p.id = NEW.person_id)"
    " FOR NO KEY UPDATE"
)
"""Its vouchers are accepted one at a time, also those that fees of another family name it for."""
CHARGE_KEEPS = ("household_id", "person_id", "price_id", "opening_id", "opened_for_id", "amount", "charged_on")
CHARGED = "EXISTS (SELECT 1 FROM fees_charge c WHERE c.price_id = {price})"


def _sum(table: str, key: str, row: str, where: str = "TRUE") -> str:
    """What other rows of `table` already take from the same charge or receipt."""
    return f"COALESCE((SELECT SUM(x.amount) FROM {table} x WHERE x.{key} = NEW.{key} AND x.id <> {row} AND {where}), 0)"


def _over_charge(table: str, condition: str) -> str:
    """True where the new row and all that settles the same charge come to more than the charge."""
    counted = {
        "fees_allocation": "x.freed_on IS NULL",
        "fees_voucher": f"x.state NOT IN {NOTHING_CLAIMED}",
        "fees_chargecredit": "TRUE",
        "fees_writeoff": "x.cancelled_on IS NULL",
    }
    parts = [
        _sum(settler, "charge_id", "NEW.id" if settler == table else "-1", where) for settler, where in counted.items()
    ]
    return (
        f"{condition} AND NEW.amount + {' + '.join(parts)} >"
        " (SELECT c.amount FROM fees_charge c WHERE c.id = NEW.charge_id)"
    )


SETTLERS = {
    "fees_allocation": "NEW.charge_id IS NOT NULL AND NEW.freed_on IS NULL",
    "fees_voucher": f"NEW.state NOT IN {NOTHING_CLAIMED}",
    "fees_chargecredit": "NEW.amount > 0",
    "fees_writeoff": "NEW.cancelled_on IS NULL",
}
OVER_RECEIPT = (
    "NEW.freed_on IS NULL AND"
    f" (NEW.amount + {_sum('fees_allocation', 'receipt_id', 'NEW.id', 'x.freed_on IS NULL')}"
    " > (SELECT r.amount FROM fees_receipt r"
    " WHERE r.id = NEW.receipt_id AND r.cancelled_on IS NULL)"
    " OR EXISTS (SELECT 1 FROM fees_receipt r WHERE r.id = NEW.receipt_id AND r.cancelled_on IS NOT NULL))"
)

ONE_HOUSEHOLD = (
    "NEW.charge_id IS NOT NULL AND (SELECT r.household_id FROM fees_receipt r WHERE r.id = NEW.receipt_id)"
    " <> (SELECT c.household_id FROM fees_charge c WHERE c.id = NEW.charge_id)"
)

_COVERED = _sum("fees_allocation", "repayment_id", "-1", "x.freed_on IS NULL")
BEYOND_REPAYMENT = (
    f"NEW.repayment_id IS NOT NULL AND (NEW.amount + {_COVERED}"
    " > (SELECT p.amount FROM fees_repayment p WHERE p.id = NEW.repayment_id)"
    " OR (SELECT r.household_id FROM fees_receipt r WHERE r.id = NEW.receipt_id)"
    " <> (SELECT p.household_id FROM fees_repayment p WHERE p.id = NEW.repayment_id))"
)
TAKEN_OUT = (
    "NEW.lodgement_id IS NULL AND OLD.state = 'lodged' AND NEW.state = 'accepted' AND NOT EXISTS (SELECT 1"
    " FROM fees_voucher v WHERE v.lodgement_id = OLD.lodgement_id AND v.state IN ('paid', 'refused'))"
)
GOES_ASTRAY = (
    "(NEW.charge_id <> OLD.charge_id AND (COALESCE(NEW.first_charge_id, 0) <> COALESCE(OLD.first_charge_id,"
    " OLD.charge_id) OR NOT EXISTS (SELECT 1 FROM fees_charge a, fees_charge b WHERE a.id = OLD.charge_id"
    " AND b.id = NEW.charge_id AND a.taken_back_on IS NOT NULL AND a.kept = 0"
    " AND a.household_id = b.household_id AND a.person_id = b.person_id)))"
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

GUARDS = [
    not_erased("fees_charge"),
    tax_stays("fees_charge", "charge"),
    tax_stays("fees_chargecredit", "credit"),
    Guard(
        "fees_allocation_within_its_repayment",
        "fees_allocation",
        "INSERT",
        when=BEYOND_REPAYMENT,
        message="What was paid back comes from the family's own receipts, and from no more than was paid back.",
    ),
    *(
        Guard(
            f"fees_allocation_{event.lower()}_in_one_household",
            "fees_allocation",
            event,
            when=ONE_HOUSEHOLD,
            message="A receipt pays only for the family's own charges.",
        )
        for event in ("INSERT", "UPDATE")
    ),
    Guard(
        "fees_allocation_of_a_repayment_stays",
        "fees_allocation",
        "UPDATE",
        when="OLD.repayment_id IS NOT NULL AND EXISTS (SELECT 1 FROM fees_repayment r"
        " WHERE r.id = OLD.repayment_id AND r.returned_on IS NULL)",
        message="What was repaid stays repaid.",
    ),
    Guard(
        "fees_allocation_keeps",
        "fees_allocation",
        "UPDATE",
        when="NEW.receipt_id <> OLD.receipt_id OR COALESCE(NEW.charge_id, 0) <> COALESCE(OLD.charge_id, 0)"
        " OR COALESCE(NEW.repayment_id, 0) <> COALESCE(OLD.repayment_id, 0) OR NEW.amount <> OLD.amount"
        " OR NEW.used_on <> OLD.used_on OR OLD.freed_on IS NOT NULL",
        message="What a receipt paid is history; free it and let the receipt pay something else.",
    ),
    Guard(
        "fees_allocation_stays",
        "fees_allocation",
        "DELETE",
        message="What a receipt paid is history; it is never deleted.",
    ),
    replaces_nothing("fees_allocation", "allocation"),
    Guard(
        "fees_allocation_begins_standing",
        "fees_allocation",
        "INSERT",
        when="NEW.freed_on IS NOT NULL",
        message="What a receipt pays is freed later, not as it is written.",
    ),
    Guard(
        "fees_lodgement_paid_stays",
        "fees_lodgement",
        "UPDATE",
        when="OLD.paid_on IS NOT NULL AND (NEW.paid_on IS NULL OR NEW.paid_on <> OLD.paid_on)",
        message="The day on which a lodgement was paid stays.",
    ),
    *(
        Guard(
            f"fees_allocation_{event.lower()}_in_an_open_month",
            "fees_allocation",
            event,
            when=f"EXISTS (SELECT 1 FROM ledger_financialyear y WHERE {day} BETWEEN y.first_day AND y.locked_through)",
            message="That day is in a locked month; what its money paid stays as it is.",
            holds=THE_BOOK,
        )
        for event, day in (("INSERT", "NEW.used_on"), ("UPDATE", "NEW.freed_on"))
    ),
    Guard(
        "fees_item_keeps_its_account",
        "fees_feeitem",
        "UPDATE",
        when="NEW.income_account_id <> OLD.income_account_id AND EXISTS (SELECT 1 FROM fees_charge c"
        " JOIN fees_feeprice p ON p.id = c.price_id WHERE p.item_id = OLD.id)",
        message="A fee that was charged keeps its account; add a new item for another account.",
    ),
    Guard(
        "fees_voucher_value_covers_its_vouchers",
        "fees_vouchervalue",
        "UPDATE",
        when="EXISTS (SELECT 1 FROM fees_voucher v WHERE v.scheme_id = OLD.scheme_id"
        f" AND v.state NOT IN {NOTHING_CLAIMED} AND v.calendar_year = OLD.calendar_year"
        " AND (v.amount > NEW.amount OR NEW.calendar_year <> OLD.calendar_year))",
        message="Vouchers of that year were accepted at more than this.",
    ),
    Guard(
        "fees_chargeshare_within_charge",
        "fees_chargeshare",
        "INSERT",
        when=f"NEW.amount + {_sum('fees_chargeshare', 'charge_id', '-1')} >"
        " (SELECT c.amount FROM fees_charge c WHERE c.id = NEW.charge_id)",
        message="The shares of a fee cannot come to more than the fee.",
    ),
    Guard(
        "fees_chargeshare_keeps", "fees_chargeshare", "UPDATE", message="The share of a fee that was charged is kept."
    ),
    Guard(
        "fees_chargeshare_stays", "fees_chargeshare", "DELETE", message="The share of a fee that was charged is kept."
    ),
    replaces_nothing("fees_chargeshare", "share"),
    *kept("fees_chargecredit", "credit", "amount", "charge_id", "credited_on", "from_advance", free=("reason", "tax")),
    *kept(
        "fees_writeoff",
        "write-off",
        "amount",
        "charge_id",
        "written_off_on",
        "tax",
        free=("reason", "cancelled_on", "cancel_reason"),
    ),
    Guard(
        "fees_writeoff_stays_cancelled",
        "fees_writeoff",
        "UPDATE",
        when="OLD.cancelled_on IS NOT NULL AND NEW.cancelled_on IS NULL",
        message="A write-off taken back is not put in force again; write off anew.",
    ),
    *kept(
        "fees_repayment",
        "repayment",
        "amount",
        "household_id",
        "paid_on",
        free=("reference", "returned_on", "return_reason"),
    ),
    Guard(
        "fees_repayment_stays_returned",
        "fees_repayment",
        "UPDATE",
        when="OLD.returned_on IS NOT NULL AND (NEW.returned_on IS NULL OR NEW.returned_on <> OLD.returned_on)",
        message="A repayment that the bank returned stays returned.",
    ),
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
            "state",
            "lodgement_id",
            "ended_on",
            "end_reason",
        ),
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
        when="NEW.amount + NEW.short_by <> OLD.amount + OLD.short_by"
        " OR (NEW.short_by <> OLD.short_by AND (OLD.state <> 'lodged' OR NEW.state <> 'paid'))",
        message="A voucher keeps what was claimed; what the department paid less is written with its answer.",
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
        f" WHERE v.id = OLD.voucher_id AND (v.state IN {NOTHING_CLAIMED} OR v.short_by > 0))",
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
    *kept("fees_openingbalances", "opening balance", "as_at"),
    *kept("fees_lodgement", "lodgement", "scheme_id", "lodged_on", "part_of_id", free=("paid_on", "reference")),
    Guard(
        "fees_lodgement_part_is_of_its_list",
        "fees_lodgement",
        "INSERT",
        when="NEW.part_of_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM fees_lodgement l WHERE l.id = NEW.part_of_id"
        " AND l.scheme_id = NEW.scheme_id AND l.lodged_on = NEW.lodged_on AND l.part_of_id IS NULL"
        " AND l.paid_on IS NULL)",
        message="A part of a lodgement is of its scheme and day, while the rest is not paid.",
    ),
    *kept("fees_arrangement", "payment arrangement", "household_id", "agreed_on", free=("note", "ended_on")),
    *(
        Guard(
            f"fees_arrangementpart_stays_on_{event.lower()}",
            "fees_arrangementpart",
            event,
            message="What was agreed stays; end the arrangement and agree anew.",
        )
        for event in ("UPDATE", "DELETE")
    ),
    replaces_nothing("fees_arrangementpart", "part of an arrangement"),
    *(
        Guard(
            f"{table}_{event.lower()}_within_charge",
            table,
            event,
            when=_over_charge(table, condition),
            message="A charge cannot be settled by more than its amount.",
        )
        for table, condition in SETTLERS.items()
        for event in ("INSERT", "UPDATE")
    ),
    *(
        Guard(
            f"fees_allocation_{event.lower()}_within_receipt",
            "fees_allocation",
            event,
            when=OVER_RECEIPT,
            message="A receipt cannot pay for more than its amount.",
        )
        for event in ("INSERT", "UPDATE")
    ),
    Guard(
        "fees_price_keeps",
        "fees_feeprice",
        "UPDATE",
        when="(NEW.amount <> OLD.amount OR NEW.item_id <> OLD.item_id OR NEW.valid_from <> OLD.valid_from)"
        f" AND {CHARGED.format(price='OLD.id')}",
        message="A price that has been charged is kept; add a new price from a later day.",
    ),
    *(
        Guard(
            f"fees_share_{event.lower()}_before_charging",
            "fees_feeshare",
            event,
            when=CHARGED.format(price=f"{row}.price_id"),
            message="The shares of a price that has been charged are kept; add a new price from a later day.",
        )
        for event, row in (("INSERT", "NEW"), ("UPDATE", "OLD"), ("DELETE", "OLD"))
    ),
    *(
        Guard(
            f"fees_share_{event.lower()}_within_price",
            "fees_feeshare",
            event,
            when=f"NEW.amount + {_sum('fees_feeshare', 'price_id', 'NEW.id')} >"
            " (SELECT p.amount FROM fees_feeprice p WHERE p.id = NEW.price_id)",
            message="The shares of a price cannot come to more than the price.",
        )
        for event in ("INSERT", "UPDATE")
    ),
    *kept(
        "fees_charge",
        "charge",
        *CHARGE_KEEPS,
        free=("description", "starts_on", "recognised_on", "taken_back_on", "kept", "tax", "carried_on"),
    ),
    Guard(
        "fees_charge_goes_forward",
        "fees_charge",
        "UPDATE",
        when="(OLD.recognised_on IS NOT NULL AND (NEW.recognised_on IS NULL OR NEW.recognised_on <> OLD.recognised_on"
        " OR NEW.starts_on <> OLD.starts_on))"
        " OR (OLD.taken_back_on IS NOT NULL AND (NEW.taken_back_on IS NULL OR NEW.kept > OLD.kept))"
        " OR (OLD.carried_on IS NOT NULL AND NEW.carried_on IS NULL)",
        message="A charge is never changed; credit it and charge again.",
    ),
    *kept(
        "fees_receipt",
        "receipt",
        "number",
        "household_id",
        "method",
        "amount",
        "rounding",
        "received_on",
        "opening_id",
        "opened_for_id",
        free=("reference", "cancelled_on", "cancel_reason"),
    ),
    Guard(
        "fees_receipt_stays_cancelled",
        "fees_receipt",
        "UPDATE",
        when="OLD.cancelled_on IS NOT NULL AND NEW.cancelled_on IS NULL",
        message="A receipt that was cancelled stays so; record it again.",
    ),
]
