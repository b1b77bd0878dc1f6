"""Letters of memberships and renewals, and of what is asked once a year."""

from datetime import date

from clubdesk import clock
from clubdesk.care import services as care
from clubdesk.fees.models import FeeKind
from clubdesk.ledger.models import Role
from clubdesk.membership import services as membership
from clubdesk.membership.models import Plan
from tests import factories
from tests.letters.club import NOW, OCTOBER, case, family, last, pay


@case
def membership_joined(club):
    (child,) = family()
    club.join(child, club.plan())
    return last(child.household)


@case
def membership_joined_with_a_voucher(club):
    (child,) = family()
    pay(child.household, "200.00", club.by)
    membership.take_out_membership(
        person=child, plan=club.plan(), starts_on=NOW, on=NOW, by=club.by, scheme=factories.scheme(), code="SV1"
    )
    return last(child.household)


@case
def membership_renewed(club):
    home = two_members(club)
    membership.renew_household(household=home, on=date(2027, 8, 20), by=club.by)
    return last(home)


@case
def membership_left(club):
    (child,) = family()
    member = club.join(child, club.plan())
    pay(child.household, "228.00", club.by)
    with clock.on(date(2027, 1, 11)):
        membership.end_membership(membership=member, on=date(2027, 1, 11), reason="moving away", by=club.by)
    return last(child.household)


@case
def membership_given_up_before_it_began(club):
    (child,) = family()
    member = club.join(child, club.plan(), on=OCTOBER)
    membership.end_membership(membership=member, on=NOW, reason="moving away", by=club.by)
    return last(child.household)


@case
def membership_asked_to_leave(club):
    (child,) = family()
    (asked,) = membership.ask_to_leave(
        household=child.household, people=[child], reason="moving away", on=NOW, by=club.by
    )
    said = "The membership ends on 30 September 2026, and nothing is left to pay."
    membership.answer_leaving(request=asked, answer=said, on=NOW, by=club.by)
    return last(child.household)


def two_members(club):
    plan = club.plan()
    children = family("Mirabar", "Ada", "Bela")
    for child in children:
        club.join(child, plan)
    return children[0].household


def renewal(home, on):
    with clock.on(on):
        membership.remind_renewals(on=on)
    return last(home)


@case
def renewal_due(club):
    return renewal(two_members(club), date(2027, 8, 20))


@case
def renewal_in_grace(club):
    return renewal(two_members(club), date(2027, 9, 20))


@case
def renewal_of_one_who_is_too_old(club):
    (child,) = family()
    child.birth_date = date(2009, 8, 1)
    child.save()
    club.join(child, club.plan())
    item = factories.price(FeeKind.MEMBERSHIP, "300.00", Role.MEMBERSHIPS, code="adult").item
    Plan.objects.create(name="Adult", fee_item=item, youngest=18)
    return renewal(child.household, date(2027, 8, 20))


@case
def asked_once_a_year_whether_it_is_right(club):
    child = club.join(family("Mirabar", "Ada")[0], club.plan()).person
    on = date(2027, 9, 12)
    with clock.on(on):
        care.ask_to_confirm(on=on)
    return last(child.household)


@case
def asked_anew_whether_they_agree(club):
    child = club.join(family("Mirabar", "Ada")[0], club.plan()).person
    for kind in ("photos", "first_aid"):
        care.agree(person=child, kind=kind, given=True, said_by="Ida Mirabar", on=NOW, by=club.by)
        care.write_text(kind=kind, text="Other words.", asks_anew=True, on=NOW, by=club.by)
    care.ask_anew(on=NOW)
    return last(child.household)
