"""The club's kit: given out and back, set aside as unsafe, checked."""

import uuid
from datetime import date, datetime

from django.contrib.auth.models import User
from django.db import transaction

from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.rangeday.models import Kit, KitCheck, KitLoan, KitState, SignOn

HAVE_IT_CHECKED = "Have it checked by someone qualified before anybody shoots with it."


def _hold(kit: Kit) -> Kit:
    return Kit.objects.select_for_update(of=("self",), no_key=True).get(pk=kit.pk)


@transaction.atomic
def give_out(
    *, kit: Kit, sign_on: SignOn, at: datetime, by: User, back_at: datetime | None = None, key: uuid.UUID | None = None
) -> KitLoan:
    """A piece of kit goes to somebody who signed on. `back_at` is given where it is known to be back already.

    Raises Refused for kit that is out, set aside or retired, and for a sign-on that was cancelled.
    """
    kit = _hold(kit)
    if found := ledger.written(KitLoan, key):
        return found
    if kit.state == KitState.SET_ASIDE:
        raise Refused(f"{kit} was set aside as unsafe. {HAVE_IT_CHECKED}")
    if kit.state == KitState.RETIRED:
        raise Refused(f"{kit} is retired; give out another.")
    sign_on.refresh_from_db(fields=["cancelled_on"])
    if sign_on.cancelled_on:
        raise Refused(f"The sign-on of {sign_on.who} was cancelled; sign them on again first.")
    out = kit.loans.filter(back_at=None).select_related("sign_on__person").first()
    if out:
        if out.sign_on_id == sign_on.pk:
            return out
        raise Refused(f"{kit} is still out with {out.sign_on.who}; take it back first.")
    return KitLoan.objects.create(
        key=key or uuid.uuid4(), kit=kit, sign_on=sign_on, given_at=at, back_at=back_at, recorded_by=by
    )


@transaction.atomic
def take_back_kit(*, kit: Kit, at: datetime, by: User) -> KitLoan | None:
    """A piece of kit came back. None where it was not out then: a loan given later than `at` goes on."""
    _hold(kit)
    loan = kit.loans.filter(back_at=None, given_at__lte=at).first()
    if loan:
        loan.back_at = at
        loan.save(update_fields=["back_at"])
    return loan


@transaction.atomic
def check_kit(
    *,
    kit: Kit,
    state: KitState,
    on: date,
    by: User,
    note: str = "",
    checked_by: str = "",
    key: uuid.UUID | None = None,
) -> KitCheck:
    """Set a piece of kit aside as unsafe, find it fit for use, or retire it; found fit, its uses are counted anew.

    Raises Refused where a check as fit names nobody who is qualified, or the other two give no reason.
    """
    kit = _hold(kit)
    if found := ledger.written(KitCheck, key):
        return found
    state = KitState(state)
    if state == KitState.USABLE and not checked_by.strip():
        raise Refused("Say who checked it; only somebody qualified finds kit fit for use.")
    if state != KitState.USABLE and not note.strip():
        raise Refused("Say what is wrong with it.")
    check = KitCheck.objects.create(
        key=key or uuid.uuid4(), kit=kit, checked_on=on, state=state, note=note.strip()[:150],
        checked_by=checked_by.strip()[:80], recorded_by=by,
    )  # fmt: skip
    kit.state = state
    kit.save(update_fields=["state"])
    return check
