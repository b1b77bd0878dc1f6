"""The roles of a club as Django groups, and what each may do."""

from collections.abc import Iterable

from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import Group, Permission
from django.db import transaction
from django.db.models import Q

COORDINATOR = "Coordinator"
RANGE_HELPER = "Range helper"
APPROVER = "Approver"
TREASURER = "Treasurer"
AUDITOR = "Auditor"

WRITE_ROLL = [f"roll.{verb}_{model}" for model in ("household", "guardian", "person") for verb in ("add", "change")]
VIEWS = {
    COORDINATOR: ["roll", "mail", "fees", "membership", "courses", "rangeday", "entryfund", "expenses"],
    TREASURER: settings.ROOMS,
    AUDITOR: settings.ROOMS,
}
MAY: dict[str, list[str]] = {
    COORDINATOR: [
        *WRITE_ROLL,
        "roll.delete_guardian",
        "fees.add_charge",
        "fees.add_chargecredit",
        "fees.add_receipt",
        "fees.change_receipt",
        "fees.add_arrangement",
        "fees.add_voucher",
        "fees.add_lodgement",
        "membership.add_membership",
        "membership.change_membership",
        "courses.add_course",
        "courses.change_course",
        "courses.add_cohort",
        "courses.change_cohort",
        "courses.add_place",
        "courses.change_place",
        "courses.add_reachcheck",
        "courses.add_refundstep",
        "courses.change_refundstep",
        "courses.delete_refundstep",
        "mail.change_message",
        "rangeday.add_rangeday",
        "rangeday.add_signon",
        "rangeday.change_signon",
        "rangeday.close_rangeday",
        "rangeday.add_banking",
        "rangeday.add_safetytext",
        "rangeday.change_safetytext",
        "rangeday.add_owngearcost",
        "rangeday.change_owngearcost",
        "rangeday.add_kit",
        "rangeday.change_kit",
        "rangeday.add_kitcheck",
        "expenses.add_expense",
        "bank.view_paymentrun",
        "bank.view_paymentitem",
        "bank.release_paymentrun",
        "entryfund.add_containerreturn",
        "entryfund.add_stateevent",
        "entryfund.change_stateevent",
        "entryfund.add_eventfee",
        "entryfund.change_eventfee",
        "entryfund.delete_eventfee",
        "entryfund.add_calendarlink",
        "entryfund.change_calendarlink",
        "entryfund.add_entryclaim",
    ],
    RANGE_HELPER: [
        "roll.view_person",
        "rangeday.view_rangeday",
        "rangeday.add_rangeday",
        "rangeday.view_signon",
        "rangeday.add_signon",
        "rangeday.change_signon",
        "rangeday.view_kit",
        "rangeday.add_kitcheck",
    ],
    APPROVER: [
        "roll.view_person",
        "entryfund.view_stateevent",
        "entryfund.view_containerreturn",
        "entryfund.view_entryclaim",
        "entryfund.view_moreevidence",
        "entryfund.decide_entryclaim",
        "expenses.view_expense",
        "expenses.decide_expense",
        "bank.view_paymentrun",
        "bank.view_paymentitem",
        "bank.release_paymentrun",
    ],
    TREASURER: [
        "roll.blank_person",
        "fees.add_feeitem",
        "fees.change_feeitem",
        "fees.add_feeprice",
        "fees.change_feeprice",
        "fees.add_feeshare",
        "fees.change_feeshare",
        "fees.delete_feeshare",
        "fees.add_voucherscheme",
        "fees.change_voucherscheme",
        "fees.add_vouchervalue",
        "fees.change_vouchervalue",
        "fees.add_charge",
        "fees.add_chargecredit",
        "fees.add_receipt",
        "fees.change_receipt",
        "fees.add_writeoff",
        "fees.add_arrangement",
        "fees.add_lodgement",
        "fees.change_lodgement",
        "fees.change_voucher",
        "membership.add_plan",
        "membership.change_plan",
        "membership.add_familycap",
        "membership.change_familycap",
        "membership.add_remittance",
        "rangeday.close_rangeday",
        "rangeday.add_banking",
        "expenses.add_expense",
        "bank.add_paymentrun",
        "bank.change_paymentrun",
        "bank.add_bankdetails",
        "bank.see_bankdetails",
        "entryfund.add_fundtransfer",
        "bank.add_bankaccount",
        "bank.change_bankaccount",
        "bank.add_cardsettlement",
        "bank.add_statementline",
        "bank.change_statementline",
        "bank.add_bankrule",
        "bank.add_reconciliation",
        "bank.change_reconciliation",
        "bank.change_bankrule",
        "ledger.add_account",
        "ledger.change_account",
        "ledger.add_fund",
        "ledger.add_party",
        "ledger.change_party",
        "ledger.add_financialyear",
        "ledger.add_journal",
        "yearend.add_budgetmonth",
        "yearend.add_comparative",
        "yearend.add_equipment",
        "yearend.add_gstreturn",
        "ledger.change_journal",
        "ledger.lock_month",
        "ledger.close_year",
        "ledger.export_year",
    ],
    AUDITOR: ["ledger.export_year"],
}
ROLES = tuple(MAY)


@transaction.atomic
def make_roles() -> list[Group]:
    """Make the groups, or bring them back to what they may do; who is in them stays."""
    return [_make(role) for role in ROLES]


def _make(role: str) -> Group:
    group, _ = Group.objects.get_or_create(name=role)
    viewed = {apps.get_app_config(room).label for room in VIEWS.get(role, [])}
    named = list(_permissions(MAY[role]))
    seen = Permission.objects.filter(content_type__app_label__in=viewed, codename__startswith="view_")
    group.permissions.set([*seen, *named])
    return group


def _permissions(names: Iterable[str]) -> Iterable[Permission]:
    wanted = set(names)
    labels = Q()
    for name in wanted:
        room, codename = name.split(".")
        labels |= Q(content_type__app_label=room, codename=codename)
    found = list(Permission.objects.filter(labels).select_related("content_type"))
    missing = wanted - {f"{each.content_type.app_label}.{each.codename}" for each in found}
    if missing:
        raise LookupError(f"No such permission: {', '.join(sorted(missing))}")
    return found
