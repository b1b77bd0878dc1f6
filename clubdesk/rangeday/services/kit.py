"""The club's kit: given out and back, set aside as unsafe, checked."""

import uuid
from collections.abc import Iterable
from datetime import date, datetime

from django.contrib.auth.models import User

from clubdesk.errors import Refused
from clubdesk.ledger import services as ledger
from clubdesk.rangeday.models import Kit, KitCheck, KitLoan, KitState, SignOn
from clubdesk.verbs import verb

HAVE_IT_CHECKED = "Have it checked by someone qualified before anybody shoots with it."


def _locked(kit: Kit) -> Kit:
    return Kit.objects.select_for_update(of=("self",), no_key=True).get(pk=kit.pk)


def hold_kit(pieces: Iterable[int]) -> None:
    """Pieces of kit, by their ids, locked in their order; before whoever gives them out posts anything."""
    list(Kit.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=list(pieces)).order_by("pk"))


@verb(permission="rangeday.add_signon", title="Give kit out")
def give_out(
    *, kit: Kit, sign_on: SignOn, at: datetime, by: User, back_at: datetime | None = None, key: uuid.UUID | None = None
) -> KitLoan:
    """A piece of kit goes to somebody who signed on. `back_at` is given where it is known to be back already.

    Raises Refused for kit that is out, set aside or retired, and for a sign-on that was cancelled.
    """
    kit = _locked(kit)
    if found := ledger.written(KitLoan, key):
        return found
    sign_on = SignOn.objects.select_for_update(of=("self",), no_key=True).select_related("person").get(pk=sign_on.pk)
    if kit.state == KitState.SET_ASIDE:
        raise Refused(f"{kit} was set aside as unsafe. {HAVE_IT_CHECKED}")
    if kit.state == KitState.RETIRED:
        raise Refused(f"{kit} is retired; give out another.")
    if sign_on.cancelled_on:
        raise Refused(f"The sign-on of {sign_on.who} was cancelled; sign them on again first.")
    out = kit.loans.filter(back_at=None).select_related("sign_on__person").first()
    if out:
        if out.sign_on_id == sign_on.pk:
            return out
        raise Refused(f"{kit} is still out with {out.sign_on.who}; it comes back first.")
    return KitLoan.objects.create(
        key=key or uuid.uuid4(), kit=kit, sign_on=sign_on, given_at=at, back_at=back_at, recorded_by=by
    )


@verb(permission="rangeday.change_signon", title="It came back")
def take_back_kit(*, kit: Kit, at: datetime, by: User) -> KitLoan | None:
    """A piece of kit came back. None where it was not out then: a loan given later than `at` goes on."""
    _locked(kit)
    loan = kit.loans.filter(back_at=None, given_at__lte=at).first()
    if loan:
        loan.back_at = at
        loan.save(update_fields=["back_at"])
    return loan


@verb(permission="rangeday.add_kitcheck", title="Set aside as unsafe")
def set_kit_aside(
    *,
    kit: Kit,
    note: str,
    on: date,
    by: User,
    state: KitState = KitState.SET_ASIDE,
    key: uuid.UUID | None = None,
) -> KitCheck:
    """Set a piece of kit aside as unsafe, or retire it. Raises Refused where nobody says what is wrong with it."""
    if not note.strip():
        raise Refused("Say what is wrong with it.")
    if state == KitState.USABLE:
        raise Refused("Kit that is fit for use is not set aside.")
    return _checked(kit, KitState(state), on, by, key, note=note)


@verb(permission="rangeday.change_kit", title="Note a check: fit for use")
def find_kit_fit(
    *, kit: Kit, checked_by: str, on: date, by: User, note: str = "", key: uuid.UUID | None = None
) -> KitCheck:
    """Somebody qualified found a piece of kit fit for use; from here its uses are counted anew.

    Raises Refused where nobody qualified is named.
    """
    if not checked_by.strip():
        raise Refused("Say who checked it; only somebody qualified finds kit fit for use.")
    return _checked(kit, KitState.USABLE, on, by, key, note=note, checked_by=checked_by)


def _checked(
    kit: Kit, state: KitState, on: date, by: User, key: uuid.UUID | None, *, note: str, checked_by: str = ""
) -> KitCheck:
    kit = _locked(kit)
    if found := ledger.written(KitCheck, key):
        return found
    check = KitCheck.objects.create(
        key=key or uuid.uuid4(), kit=kit, checked_on=on, state=state, note=note.strip()[:150],
        checked_by=checked_by.strip()[:80], recorded_by=by,
    )  # fmt: skip
    kit.state = state
    kit.save(update_fields=["state"])
    return check
