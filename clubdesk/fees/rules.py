"""The rules about fees that the database itself keeps."""

from clubdesk.fees.voucher_rules import NOTHING_CLAIMED, VOUCHER_GUARDS
from clubdesk.guards import Guard, kept, replaces_nothing
from clubdesk.ledger.rules import THE_BOOK, tax_stays
from clubdesk.roll.rules import not_erased

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
        "fees_chargecredit": "x.cancelled_on IS NULL",
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
    "fees_chargecredit": "NEW.cancelled_on IS NULL",
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
        message="The day on which a voucher claim was paid stays.",
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
    *kept(
        "fees_chargecredit",
        "credit",
        "amount",
        "charge_id",
        "credited_on",
        "from_advance",
        free=("reason", "tax", "cancelled_on", "cancel_reason"),
    ),
    Guard(
        "fees_chargecredit_undone_with_its_voucher",
        "fees_chargecredit",
        "UPDATE",
        when="OLD.cancelled_on IS NOT NULL AND (NEW.cancelled_on IS NULL OR NEW.cancelled_on <> OLD.cancelled_on)"
        " OR OLD.cancelled_on IS NULL AND NEW.cancelled_on IS NOT NULL AND NOT EXISTS (SELECT 1 FROM fees_giveback g"
        " WHERE g.credit_id = NEW.id AND g.state = 'undone')",
        message="A credit is undone only where it came of a voucher given back, and that was undone.",
    ),
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
        message="A write-off that was undone is not put in force again; write off anew.",
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
    *VOUCHER_GUARDS,
    *kept("fees_openingbalances", "opening balance", "as_at"),
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
