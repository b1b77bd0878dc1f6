"""Verbs of the membership room: joining, leaving and changing; renewals; what is remitted to the associations."""

from clubdesk.membership.services.affiliation import remit_affiliation
from clubdesk.membership.services.asking import answer_leaving, ask_to_leave
from clubdesk.membership.services.beginning import NewPlan, begin_plans
from clubdesk.membership.services.bringing import BroughtIn, import_roll
from clubdesk.membership.services.joining import (
    cancel_membership,
    change_plan,
    end_membership,
    take_out_membership,
)
from clubdesk.membership.services.keeping import keep_columns
from clubdesk.membership.services.renewing import VoucherOf, remind_renewals, renew_household

__all__ = [
    "BroughtIn",
    "NewPlan",
    "VoucherOf",
    "answer_leaving",
    "ask_to_leave",
    "begin_plans",
    "cancel_membership",
    "change_plan",
    "end_membership",
    "import_roll",
    "keep_columns",
    "remind_renewals",
    "remit_affiliation",
    "renew_household",
    "take_out_membership",
]
