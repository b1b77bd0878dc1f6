"""Questions about memberships: who is a member, what one costs, who is to renew, what the associations are owed."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import reduce
from operator import or_
from typing import Any

from django.db.models import Exists, Max, OuterRef, Prefetch, Q, QuerySet, TextChoices
from djmoney.money import Money

from clubdesk.clock import day_text, months_later
from clubdesk.errors import Refused
from clubdesk.families import FeeToCome
from clubdesk.fees.models import Charge, FeeKind, FeePrice, FeeShare
from clubdesk.fees.posting import shares_left
from clubdesk.fees.selectors import charges_with_open, credited, shares_of
from clubdesk.ledger.selectors import ZERO
from clubdesk.membership.models import FamilyCap, Membership, Plan, Refund
from clubdesk.membership.pricing import Asked, Price, part_of, price
from clubdesk.membership.terms import Term, whole_months_left
from clubdesk.moment import once
from clubdesk.money import as_amount, cents_of, nil, shown, total
from clubdesk.roll.models import Household, Person

STANDING = Q(cancelled_on=None)


def membership_on(person: Person, day: date) -> Membership | None:
    """The membership that covers the person on `day`, or None."""
    return Membership.objects.filter(STANDING, person=person, starts_on__lte=day, ends_on__gte=day).first()


def members_on(day: date) -> QuerySet[Membership]:
    """The memberships that cover a day."""
    return Membership.objects.filter(STANDING, starts_on__lte=day, ends_on__gte=day)


@once
def people_on(day: date) -> list[Person]:
    """The members of a day, family by family."""
    people = Person.objects.filter(pk__in=members_on(day).values("person"), erased_on=None)
    return list(people.select_related("household").order_by("household", "pk"))


def is_member(person: Person, day: date) -> bool:
    return members_on(day).filter(person=person).exists()


def wrong_age(person: Person, plan: Plan, day: date) -> str:
    """Why the plan is not for somebody of that age on `day`; blank where it is."""
    age = person.age_on(day)
    if (plan.youngest is not None and age < plan.youngest) or (plan.oldest is not None and age > plan.oldest):
        until = f"to {plan.oldest}" if plan.oldest is not None else "on"
        return f"{person} is {age} on {day_text(day)}; {plan} is for ages {plan.youngest or 0} {until}. Choose another."
    return ""


# What a membership costs


@dataclass(frozen=True)
class Quote:
    """What a membership of the person from `starts_on` would cost, by the price that is `listed`."""

    person: Person
    plan: Plan
    starts_on: date
    term: Term
    listed: FeePrice
    price: Price
    payer: Household | None = None
    """Another family that pays, for a child of two homes."""

    @property
    def paying(self) -> Household:
        return self.payer or self.person.household


def payer_of(membership: Membership) -> int:
    """The household (by its id) that was charged for the membership; where nothing was, that which pays for it.

    Sibling discount and family cap are of whoever pays, also where the child has moved to another household since
    (common practice, no source).
    """
    charge = membership.charge or (membership.changed_from.charge if membership.changed_from else None)
    return charge.household_id if charge else paying_id(membership)


def paying_id(membership: Membership) -> int:
    """Who pays for what comes of the membership, by the household's id."""
    return membership.payer_id or membership.person.household_id


def paid_by(household: Household) -> Q:
    """The memberships that the household pays for: its own people's, but for whom another family pays, and theirs."""
    return Q(payer=household) | Q(payer=None, person__household=household)


class Quotes:
    """Quotes for people of some households, whose books are read once for all of them."""

    def __init__(self, households: Iterable[int]):
        asked = list(households)
        paid_by = ("person__household", "payer", "charge__household", "changed_from__charge__household")
        theirs = reduce(or_, (Q(**{f"{path}__in": asked}) for path in paid_by))
        rows = Membership.objects.filter(STANDING, theirs).select_related(
            "person", "plan", "charge", "changed_from__charge"
        )
        self.memberships: dict[int, list[Membership]] = defaultdict(list)
        for row in rows.order_by("pk"):
            self.memberships[payer_of(row)].append(row)
        charges = [row.charge_id for rows in self.memberships.values() for row in rows if row.charge_id]
        self.paid = {row.pk: row.amount.amount - row.credited for row in charges_with_open().filter(pk__in=charges)}
        self.caps = list(FamilyCap.objects.all())
        self.prices = list(
            FeePrice.objects.filter(item__kind=FeeKind.MEMBERSHIP)
            .select_related("item__income_account")
            .prefetch_related(Prefetch("shares", FeeShare.objects.select_related("account", "party")))
            .order_by("-valid_from")
        )

    def quote(
        self,
        person: Person,
        plan: Plan,
        starts_on: date,
        *,
        ahead: Sequence[Quote] = (),
        term: Term | None = None,
        leaving: Membership | None = None,
        refunded: Decimal = ZERO,
        voucher: Decimal = ZERO,
        payer: Household | None = None,
    ) -> Quote:
        """The quote for a person, after those `ahead` of the same household that would be taken out first.

        Sibling discount and family cap are of the `payer`, where another family pays than the person's own.
        A change of plan names the membership that is `leaving`, its own `term`, and what is given back of it.
        """
        listed = self.listed(plan, starts_on)
        term = term or plan.term(starts_on)
        home = payer.pk if payer else person.household_id
        own = self.memberships[home]
        others = [each for each in own if each.pk != (leaving.pk if leaving else 0)]
        given_back = refunded if leaving in own else ZERO
        full_price = any(
            each.plan_id == plan.pk and each.person_id != person.pk and not each.sibling and each.covers(starts_on)
            for each in others
        ) or any(each.plan == plan and each.person != person and not each.price.sibling for each in ahead)
        asked = Asked(
            full=listed.amount.amount,
            shares=[share.amount.amount for share in listed.shares.all()],
            months=term.months,
            of_months=plan.months,
            whole_shares=plan.whole_shares,
            siblings=int(full_price),
            sibling_percent=plan.sibling_percent,
            paid_before=self._paid_before(home, starts_on, ahead) - given_back,
            cap=next((cap.amount.amount for cap in self.caps if cap.valid_from <= starts_on), None),
            voucher=voucher,
        )
        return Quote(person, plan, starts_on, term, listed, price(asked), payer)

    def listed(self, plan: Plan, day: date) -> FeePrice:
        found = next(
            (each for each in self.prices if each.item_id == plan.fee_item_id and each.valid_from <= day), None
        )
        if found is None or found.has_ended_by(day):
            raise Refused(f"The fee schedule has no price for {plan.fee_item} on {day_text(day)}; add one first.")
        return found

    def _paid_before(self, household: int, starts_on: date, ahead: Sequence[Quote]) -> Decimal:
        """What the household's other memberships come to in those twelve months around `starts_on` that hold most."""
        began = [(row.starts_on, self.paid.get(row.charge_id or 0, ZERO)) for row in self.memberships[household]]
        began += [(each.starts_on, each.price.fee) for each in ahead]
        firsts = {day for day, _ in began if months_later(starts_on, -12) < day <= starts_on} | {starts_on}
        return max(
            sum((amount for day, amount in began if first <= day < months_later(first, 12)), ZERO) for first in firsts
        )


def quote(person: Person, plan: Plan, starts_on: date, payer: Household | None = None, **more: Any) -> Quote:
    """What a membership would cost. Raises Refused where the fee schedule has no price."""
    homes = [payer.pk if payer else person.household_id]
    return Quotes(homes).quote(person, plan, starts_on, payer=payer, **more)


def charges_of(membership: Membership) -> list[Charge]:
    """What was charged for the membership and, where its plan was changed, for the one before; the latest first."""
    found = []
    each: Membership | None = membership
    while each:
        if each.charge:
            found.append(each.charge)
        each = each.changed_from
    return found


def own_part_left(charge: Charge) -> Money:
    """What of the charge is the club's own and not credited yet."""
    left: Money = charge.amount - credited(charge)
    return max(left - total(shares_left(left, shares_of(charge))), nil())


@dataclass(frozen=True)
class Rest:
    """What the last months of a membership come to: its fee, and what of that each association gets, by party id."""

    fee: Decimal
    shares: dict[int | None, Decimal]


def listed(plan: Plan, day: date) -> FeePrice:
    """The plan's price on `day`, or Refused."""
    return Quotes([]).listed(plan, day)


def rest_of(membership: Membership, months: int) -> Rest:
    """What `months` of the membership come to. Where the associations take whole shares, theirs are not divided."""
    plan, of_months = membership.plan, membership.months
    own = (membership.fee - membership.passed_on).amount
    whole = {share.party_id: share.amount.amount for share in listed(plan, membership.starts_on).shares.all()}
    if not plan.whole_shares:
        whole = {party: part_of(share, months, plan.months) for party, share in whole.items()}
    return Rest(part_of(own, months, of_months) + sum(whole.values(), ZERO), whole)


def back_if_left(membership: Membership, last_day: date) -> Money:
    """What the plan's rule gives back to a member whose last day is `last_day`: of the club's own part."""
    if membership.plan.refund != Refund.MONTHS:
        return nil()
    months = min(whole_months_left(last_day, membership.ends_on), membership.months)
    own = (membership.fee - membership.passed_on).amount
    return as_amount(part_of(own, months, membership.months))


def standing_of(household: Household, day: date) -> list[tuple[Person, bool, str]]:
    """Each of the household, whether a member on `day`, and in words where the membership stands."""
    rows: dict[int, list[Membership]] = defaultdict(list)
    standing = Membership.objects.filter(STANDING, person__household=household).select_related("plan")
    for row in standing.order_by("ends_on"):
        rows[row.person_id].append(row)
    found = []
    for person in household.people.order_by("birth_date", "pk"):
        own = rows[person.pk]
        member = any(row.covers(day) for row in own)
        found.append((person, member, _in_words(own, day)))
    return found


def changed_to(membership: Membership, plan: Plan | None = None) -> Membership | None:
    """What the membership was changed to (to that plan), if that stands.

    A change from the first day on leaves nothing but a cancelled membership, and another in its place.
    """
    rows = Membership.objects.filter(STANDING)
    found = rows.filter(changed_from=membership).first()
    if found is None and plan is not None and membership.cancelled_on:
        found = rows.filter(person=membership.person, starts_on=membership.starts_on).first()
    return found if found is None or plan is None or found.plan_id == plan.pk else None


def why_not(quote: Quote) -> str:
    """Why the quoted membership cannot be taken out; blank where it can."""
    person, starts_on = quote.person, quote.starts_on
    if sentence := wrong_age(person, quote.plan, starts_on):
        return sentence
    covering = person.memberships.filter(STANDING, starts_on__lte=quote.term.ends_on, ends_on__gte=starts_on)
    other = covering.order_by("starts_on").first()
    if other is None:
        return ""
    if other.starts_on <= starts_on:
        return f"{person} is a member already, to {day_text(other.ends_on)}; start the next one after that."
    return f"{person} has a membership from {day_text(other.starts_on)} on already; cancel that one first."


def working_in_words(membership: Membership) -> str:
    """How the fee came about, with the vouchers set against it: “$228.00, less voucher $100.00 = $128.00”."""
    if membership.charge is None or membership.changed_from_id:
        return membership.working
    by_voucher = charges_with_open().get(pk=membership.charge.pk).by_voucher
    if not by_voucher:
        return membership.working
    start = membership.working.rsplit(" = ", 1)[0]
    return f"{start}, less voucher {shown(by_voucher)} = {shown(membership.fee.amount - by_voucher)}"


# Renewals


class Renewing(TextChoices):
    """Where a membership that nobody has renewed stands."""

    DUE = "due", "Ends soon"
    GRACE = "grace", "Ended, can still be renewed"
    LAPSED = "lapsed", "Lapsed"


@dataclass(frozen=True)
class Renewal:
    """A membership to renew, from the day after it ends: what it would cost, or why it cannot be renewed as it is.

    The `quote` is after those before it of the same household; `alone` is without them.
    """

    membership: Membership
    state: Renewing
    quote: Quote | None
    problem: str = ""
    alone: Quote | None = None

    @property
    def starts_on(self) -> date:
        return self.membership.ends_on + timedelta(days=1)

    @property
    def last_day(self) -> date:
        """Until when it can be renewed."""
        return self.membership.ends_on + timedelta(days=self.membership.plan.grace_days)


@dataclass(frozen=True)
class HouseholdRenewal:
    household: Household
    lines: list[Renewal]

    @property
    def first(self) -> tuple[Membership, Renewing]:
        return self.lines[0].membership, self.lines[0].state

    @property
    def total(self) -> Money:
        return as_amount(sum((line.quote.price.fee for line in self.lines if line.quote), ZERO))


def renewing_state(membership: Membership, on: date) -> Renewing | None:
    """How far a membership's renewal has come on `on`; None where it is not time yet."""
    if on > membership.ends_on + timedelta(days=membership.plan.grace_days):
        return Renewing.LAPSED
    if on > membership.ends_on:
        return Renewing.GRACE
    return Renewing.DUE if on >= membership.ends_on - timedelta(days=membership.plan.remind_days) else None


def not_renewed() -> QuerySet[Membership]:
    """Memberships that run out and that no later one of the same person follows."""
    later = Membership.objects.filter(STANDING, person=OuterRef("person"), starts_on__gt=OuterRef("ends_on"))
    rows = Membership.objects.filter(STANDING, ~Exists(later), ended_on=None)
    return rows.select_related("person__household__party", "payer__party", "plan__fee_item").order_by("ends_on", "pk")


Waiting = list[tuple[Membership, Renewing]]
"""The memberships that one household pays for and that are to be renewed, and how far each has come."""
Chosen = Collection[Person] | None
"""Those whose memberships are meant, None for all."""


def to_renew(on: date, household: Household | None = None, people: Chosen = None) -> list[Waiting]:
    """The memberships to renew, household by household, who ends first the first; of all, or of the people."""
    longest = Plan.objects.aggregate(before=Max("remind_days"), after=Max("grace_days"))
    last = on + timedelta(days=longest["before"] or 0)
    rows = not_renewed().filter(ends_on__lte=last, ends_on__gte=on - timedelta(days=longest["after"] or 0))
    if household:
        rows = rows.filter(paid_by(household))
    if people is not None:
        rows = rows.filter(person__in=people)
    waiting: dict[int, Waiting] = defaultdict(list)
    for row in rows:
        if (state := renewing_state(row, on)) in (Renewing.DUE, Renewing.GRACE):
            waiting[paying_id(row)].append((row, state))
    return list(waiting.values())


def renewals(on: date, household: Household | None = None, people: Chosen = None) -> list[HouseholdRenewal]:
    """Who is to renew, with what each would cost where just these do."""
    return with_quotes(to_renew(on, household, people))


def with_quotes(waiting: list[Waiting]) -> list[HouseholdRenewal]:
    quotes = Quotes(paying_id(own[0][0]) for own in waiting)
    return [_household_renewal(own, quotes) for own in waiting]


def _household_renewal(own: list[tuple[Membership, Renewing]], quotes: Quotes) -> HouseholdRenewal:
    lines: list[Renewal] = []
    for row, state in own:
        starts_on, found, alone = row.ends_on + timedelta(days=1), None, None
        ahead = [line.quote for line in lines if line.quote]
        problem = wrong_age(row.person, row.plan, starts_on)
        try:
            if not problem:
                alone = found = quotes.quote(row.person, row.plan, starts_on, payer=row.payer)
                if ahead:
                    found = quotes.quote(row.person, row.plan, starts_on, ahead=ahead, payer=row.payer)
        except Refused as refusal:
            problem = refusal.sentence
        lines.append(Renewal(row, state, found, problem, alone))
    return HouseholdRenewal(own[0][0].paying, lines)


def fees_to_come(renewing: Iterable[HouseholdRenewal]) -> list[FeeToCome]:
    """What of it would be charged today, in the order in which it is."""
    found = []
    for each in renewing:
        for line in each.lines:
            if line.quote:
                words = f"renewing the {line.membership.plan} membership"
                fee, item = cents_of(as_amount(line.quote.price.fee)), line.membership.plan.fee_item
                found.append(FeeToCome(line.membership.person_id, words, fee, item))
    return found


def plans_instead(person: Person, day: date) -> list[tuple[Plan, Money]]:
    """The plans that are for somebody of that age on `day`, each at its price."""
    quotes, found = Quotes([]), []
    for plan in Plan.objects.select_related("fee_item"):
        if wrong_age(person, plan, day):
            continue
        with suppress(Refused):
            found.append((plan, quotes.listed(plan, day).amount))
    return found


def renewed_on(household: Household, on: date) -> list[Membership]:
    """The household's memberships that were charged on that day and follow one that ended the day before they start."""
    rows = Membership.objects.filter(STANDING, paid_by(household), charge__charged_on=on).order_by("pk")
    ended = set(Membership.objects.filter(STANDING, person__in=rows.values("person")).values_list("person", "ends_on"))
    return [row for row in rows if (row.person_id, row.starts_on - timedelta(days=1)) in ended]


def lapsed(on: date) -> list[Membership]:
    """Whose membership has lapsed in the last twelve months, the latest first."""
    rows = not_renewed().filter(ends_on__lt=on, ends_on__gte=months_later(on, -12)).order_by("-ends_on", "pk")
    return [row for row in rows if renewing_state(row, on) == Renewing.LAPSED]


def standing_in_words(person: Person, day: date) -> str:
    """Where the person's membership stands on `day`, in words."""
    return _in_words(list(person.memberships.filter(STANDING).select_related("plan").order_by("ends_on")), day)


def _in_words(memberships: Sequence[Membership], day: date) -> str:
    """Where the memberships of one person, the earliest first, stand on `day`."""
    if found := next((row for row in memberships if row.covers(day)), None):
        return f"member to {day_text(found.ends_on)}"
    last = next((row for row in reversed(memberships) if row.ends_on < day), None)
    if last is None:
        return "not a member"
    if last.ended_on or renewing_state(last, day) == Renewing.LAPSED:
        return f"lapsed since {day_text(last.ends_on)}"
    return f"ended on {day_text(last.ends_on)}, can still be renewed"
