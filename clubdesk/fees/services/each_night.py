"""What the night does about vouchers: by when they are claimed, and numbers that nobody needs any more."""

from datetime import date, timedelta

from django.contrib.auth.models import User
from django.db.models import Q

from clubdesk.fees import letters
from clubdesk.fees.models import NOTHING_CLAIMED, Voucher, VoucherState
from clubdesk.fees.services.claiming import claims_of, forget_files
from clubdesk.rooms import COORDINATOR, Done
from clubdesk.verbs import NOBODY, verb


@verb(permission=NOBODY, title="Tell the coordinator by when vouchers are claimed")
def tell_deadlines(*, on: date, by: User) -> Done:
    """Write to each coordinator by when the vouchers that were taken must be claimed, where a new day comes near."""
    coordinators = User.objects.filter(groups__name=COORDINATOR, is_active=True).exclude(email="").order_by("pk")
    return Done(len(letters.tell_deadlines(list(coordinators), on)))


@verb(permission=NOBODY, title="Erase the numbers of children that are no longer needed")
def erase_numbers(*, on: date, by: User) -> Done:
    """Erase a child’s number from its voucher, so many days after the answer as the scheme says.

    A code that is used once stays, since it tells a second use; it goes with the child’s other details. The files of
    claims in which the number stands go with it.
    """
    answered = Q(state=VoucherState.PAID, lodgement__paid_on__isnull=False) | Q(state__in=NOTHING_CLAIMED)
    rows = Voucher.objects.select_for_update(of=("self",), no_key=True).filter(answered, of_child=True)
    found = rows.filter(code_erased_on=None).select_related("scheme", "lodgement").order_by("pk")
    due = [each for each in found if _answered_on(each) + timedelta(days=each.scheme.key_kept_days) < on]
    for voucher in due:
        voucher.code, voucher.code_erased_on = f"erased-{voucher.pk}", on
        voucher.save(update_fields=["code", "code_erased_on"])
    forget_files(claims_of(due), on)
    return Done(len(due))


def _answered_on(voucher: Voucher) -> date:
    day = voucher.ended_on or (voucher.lodgement.paid_on if voucher.lodgement else None)
    assert day, "what was answered was answered on a day"
    return day
