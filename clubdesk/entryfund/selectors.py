"""Questions about the entry fund."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from itertools import groupby

from django.db.models import Count, Q, QuerySet
from djmoney.money import Money

from clubdesk.clock import day_text
from clubdesk.entryfund.forecast import CLAIMED_WITHIN, EventAhead, Forecast, forecast
from clubdesk.entryfund.forecast import Known as History
from clubdesk.entryfund.models import BagCount, ClaimState, ContainerReturn, EntryClaim, StateEvent
from clubdesk.ledger.models import FundRole, Kind, Posting, Role
from clubdesk.ledger.selectors import balances, fund_balance, held_in
from clubdesk.membership.models import Membership
from clubdesk.membership.selectors import is_member, people_on
from clubdesk.moment import once
from clubdesk.money import as_amount, cents_of, in_all, nil, shown, sum_of, total
from clubdesk.roll.models import JUNIOR_CLASSES, Person
from clubdesk.screens.charts import Chart


@once
def amounts_to_decide() -> Sequence[Money]:
    """What each refund request asks for that nobody has decided yet."""
    return list(EntryClaim.objects.filter(state=ClaimState.RECORDED).values_list("amount", flat=True))


@dataclass(frozen=True)
class Check:
    passed: bool
    sentence: str


def fee_for(event: StateEvent, age_class: str) -> Money:
    """What entering the event costs somebody of that age class."""
    own: Money = next((fee.amount for fee in event.fees.all() if fee.age_class == age_class), event.fee)
    return own


def refundable(event: StateEvent, age_class: str) -> Money:
    """The most that the fund gives back of it."""
    fee = fee_for(event, age_class)
    return fee if event.refund_up_to is None else min(fee, event.refund_up_to)


def eligibility(
    *,
    person: Person,
    event: StateEvent,
    amount: Money,
    entered_on: date,
    receipt_amount: Money | None = None,
    member: bool | None = None,
) -> list[Check]:
    """The checks that a claim must pass whoever decides, each with its reason in words.

    `member` says whether the child was a member on the event's day, where that is known already.
    """
    age_class = person.age_class_on(event.held_on)
    classes = JUNIOR_CLASSES[: JUNIOR_CLASSES.index(event.oldest_class) + 1]
    member = is_member(person, event.held_on) if member is None else member
    most = refundable(event, age_class)
    kind = "an entry fee" if most == fee_for(event, age_class) else "a refund of at most"
    checks = [
        Check(event.refunded, f"{event.name} is {'on' if event.refunded else 'not on'} the list of refunded events"),
        Check(member, f"{person} is {'a' if member else 'not a'} member on {day_text(event.held_on)}"),
        Check(age_class in classes, f"{age_class} in {event.held_on.year}; refunded up to {event.oldest_class}"),
        Check(amount <= most, f"{shown(amount)} against {kind}{' of' if kind == 'an entry fee' else ''} {shown(most)}"),
        Check(entered_on >= event.held_on, f"claimed {day_text(entered_on)}, held {day_text(event.held_on)}"),
    ]
    if receipt_amount is not None:
        checks.append(Check(amount <= receipt_amount, f"{shown(amount)}; the receipt says {shown(receipt_amount)}"))
    return checks


def checks_of(claim: EntryClaim, known: Known | None = None) -> list[Check]:
    """The claim's own checks, and whether its receipt file stands behind another request too."""
    known = known or Known([claim])
    used = known.used_elsewhere(claim)
    return [
        *eligibility(
            person=claim.person,
            event=claim.event,
            amount=claim.amount,
            entered_on=claim.claimed_on,
            receipt_amount=claim.receipt_amount,
            member=known.member(claim),
        ),
        Check(claim.entry_shown, f"the child’s entry is {'shown' if claim.entry_shown else 'not shown'}"),
        Check(not used, "this receipt file stands behind another request" if used else "receipt not used before"),
    ]


class Known:
    """What the checks of several claims ask, read once for all of them."""

    def __init__(self, claims: Sequence[EntryClaim]):
        rows = Membership.objects.filter(cancelled_on=None, person__in={claim.person_id for claim in claims})
        self.terms: dict[int, list[tuple[date, date]]] = {}
        for pk, starts_on, ends_on in rows.values_list("person", "starts_on", "ends_on"):
            self.terms.setdefault(pk, []).append((starts_on, ends_on))
        standing = EntryClaim.objects.exclude(state=ClaimState.DECLINED)
        digests = {digest for claim in claims for digest in _digests(claim)}
        same = standing.filter(Q(receipt_digest__in=digests) | Q(upload_digest__in=digests))
        self.files = [(row.pk, _digests(row)) for row in same.only("receipt_digest", "upload_digest")]

    def member(self, claim: EntryClaim) -> bool:
        day = claim.event.held_on
        return any(starts_on <= day <= ends_on for starts_on, ends_on in self.terms.get(claim.person_id, ()))

    def used_elsewhere(self, claim: EntryClaim) -> bool:
        own = _digests(claim)
        return any(pk != claim.pk and own & digests for pk, digests in self.files)


def _digests(claim: EntryClaim) -> set[str]:
    return {claim.receipt_digest, claim.upload_digest} - {""}


@dataclass(frozen=True)
class Queued:
    """A claim that waits, with its checks and what the fund holds before and after it, the earlier ones counted."""

    claim: EntryClaim
    checks: list[Check]
    before: Money
    after: Money

    @property
    def passes(self) -> bool:
        return not self.failed

    @property
    def failed(self) -> list[Check]:
        return [check for check in self.checks if not check.passed]

    @property
    def passed(self) -> list[Check]:
        return [check for check in self.checks if check.passed]

    @property
    def covered(self) -> bool:
        return self.after >= nil()


def waiting_claims() -> QuerySet[EntryClaim]:
    """Claims to decide by their numbers, which no server's clock can put before others."""
    rows = EntryClaim.objects.filter(state=ClaimState.RECORDED).select_related("person", "event", "household__party")
    return rows.prefetch_related("event__fees", "more").order_by("pk")


def queue(most: int = 40) -> list[Queued]:
    """The first that wait. A claim that fails a check, or finds too little left, takes nothing from the fund."""
    left, found = entry_fund_balance(), []
    claims = list(waiting_claims()[:most])
    known = Known(claims)
    for claim in claims:
        queued = Queued(claim, checks_of(claim, known), left, left - claim.amount)
        if queued.passes and queued.covered:
            left = queued.after
        found.append(queued)
    return found


def waiting_before(claim: EntryClaim) -> Money:
    """What all claims come to that were made before this one and wait, whether they pass or not."""
    rows = EntryClaim.objects.filter(pk__lt=claim.pk, state=ClaimState.RECORDED)
    return as_amount(rows.aggregate(figure=sum_of("amount"))["figure"])


def ahead_of(claim: EntryClaim) -> Money:
    """What the claims come to that were made before this one, wait too and pass their checks."""
    earlier = list(waiting_claims().filter(pk__lt=claim.pk))
    known = Known(earlier)
    return total(each.amount for each in earlier if all(check.passed for check in checks_of(each, known)))


def decided_on(day: date) -> QuerySet[EntryClaim]:
    """What was decided on that day, for its minutes."""
    rows = EntryClaim.objects.filter(decided_on=day).select_related("person", "event", "decided_by")
    return rows.order_by("event__held_on", "event", "pk")


def events_closing(on: date, within: timedelta) -> QuerySet[StateEvent]:
    """Refunded events whose entries close soon."""
    rows = StateEvent.objects.filter(refunded=True, entries_close__gte=on, entries_close__lte=on + within)
    return rows.prefetch_related("fees").order_by("entries_close", "pk")


def eligible_children(event: StateEvent, on: date) -> list[Person]:
    """Members today of a junior class that the event refunds; whether they are on its day shows when they claim."""
    return [person for person in people_on(on) if is_of_its_classes(person, event)]


def is_of_its_classes(person: Person, event: StateEvent) -> bool:
    """Whether somebody is in one of the junior classes that the event refunds."""
    classes = JUNIOR_CLASSES[: JUNIOR_CLASSES.index(event.oldest_class) + 1]
    return person.age_class_on(event.held_on) in classes


@dataclass(frozen=True)
class FundStatement:
    """The entry fund over a period, from its ledger: signs as a reader expects, what comes in positive."""

    opening: Decimal
    containers: Decimal
    transfers: Decimal
    refunds: list[tuple[StateEvent, int, Decimal]]
    expenses: Decimal
    other: Decimal
    closing: Decimal
    promised: Decimal

    @property
    def refunded(self) -> Decimal:
        return sum((amount for _, _, amount in self.refunds), Decimal(0))

    @property
    def by_discipline(self) -> list[tuple[str, int, Decimal]]:
        """Children and refunds of each discipline that had any."""
        found = []
        for name, rows in groupby(self.refunds, key=lambda each: each[0].get_discipline_display()):
            children, amounts = zip(*((count, amount) for _, count, amount in rows), strict=True)
            found.append((name, sum(children), sum(amounts, Decimal(0))))
        return found


def fund_statement(since: date, until: date) -> FundStatement:
    """Opening, containers, transfers, refunds by event, closing; and what is promised but unpaid at the end.

    Opening and closing are the fund's net assets by the ledger; containers and transfers its accounts; refunds come
    from the claims, so that a difference between the two would show as `other` and be seen.
    """
    within = Posting.objects.filter(
        fund__code=FundRole.ENTRY, entry__is_closing=False, entry__date__range=(since, until)
    )

    def net(until: date) -> Decimal:
        held = balances(until, ["fund_id"], fund=FundRole.ENTRY, account__kind__in=(Kind.ASSET, Kind.LIABILITY))
        return sum(held.after_closing.values(), Decimal(0))

    def moved(role: Role) -> Decimal:
        return -in_all(within.filter(account__role=role))

    opening, closing = net(since - timedelta(days=1)), net(until)
    containers, transfers = moved(Role.CONTAINERS), moved(Role.TRANSFERS)
    bought = within.filter(account__kind=Kind.EXPENSE).exclude(account__role__in=(Role.ENTRY_REFUNDS, Role.TRANSFERS))
    expenses = -in_all(bought)
    claims = EntryClaim.objects.filter(
        decided_on__range=(since, until), state__in=(ClaimState.APPROVED, ClaimState.PAID)
    )
    by_event = claims.order_by().values("event").annotate(children=Count("pk"), figure=sum_of("amount"))
    events = StateEvent.objects.in_bulk([row["event"] for row in by_event])
    refunds = sorted(
        ((events[row["event"]], row["children"], row["figure"]) for row in by_event),
        key=lambda each: (each[0].discipline, each[0].held_on, each[0].pk),
    )
    spent = sum((amount for _, _, amount in refunds), Decimal(0))
    return FundStatement(
        opening=opening,
        containers=containers,
        transfers=transfers,
        refunds=refunds,
        expenses=expenses,
        other=closing - opening - containers - transfers + spent - expenses,
        closing=closing,
        promised=-held_in(Role.REFUNDS_PAYABLE, FundRole.ENTRY, until),
    )


def returns_that_stand() -> QuerySet[ContainerReturn]:
    return ContainerReturn.objects.filter(cancelled_on=None)


def bags_in_words() -> str:
    """The last count of bags that wait at the club, about what they are worth, and whether it is out of date."""
    last = BagCount.objects.first()
    if last is None:
        return "not counted yet"
    if not last.bags:
        words = "none"
    else:
        bags = "1 bag" if last.bags == 1 else f"{last.bags} bags"
        words = f"{bags}, about {last.containers} containers, about {shown(last.worth)} that is not in the fund yet"
    words = f"{words} (counted {day_text(last.counted_on)})"
    cashed_in = returns_that_stand().filter(returned_on__gte=last.counted_on, recorded_at__gt=last.recorded_at)
    return f"{words}; containers were cashed in since, so count again" if cashed_in.exists() else words


def pool_chart(since: date, until: date) -> Chart | None:
    """What containers brought, month by month."""
    rows = Posting.objects.filter(
        account__role=Role.CONTAINERS, entry__date__range=(since, until), entry__is_closing=False
    )
    months: dict[date, Decimal] = {}
    for row in rows.select_related("entry").order_by("entry__date"):
        month = row.entry.date.replace(day=1)
        months[month] = months.get(month, Decimal(0)) - row.amount.amount
    months = {month: max(figure, Decimal(0)) for month, figure in months.items()}
    columns = [(f"{month:%b %y}", [figure]) for month, figure in months.items()]
    return Chart("Containers cashed in by month", ["Depot paid"], columns) if columns else None


def outlook(today: date, until: date) -> Forecast | None:
    """The chance that the fund covers the claims up to `until`, from the book's own past; None where it has none."""
    this = _month_number(today)
    brought: dict[int, int] = {}
    for each in returns_that_stand():
        number = _month_number(each.returned_on)
        brought[number] = brought.get(number, 0) + cents_of(each.amount)
    first = min(brought, default=this)
    past = {number: brought.get(number, 0) for number in range(max(first, this - MONTHS_BACK), this)}
    month_days = monthrange(today.year, today.month)[1]
    states = dict(EntryClaim.objects.values_list("state").annotate(claims=Count("pk")))
    waiting = EntryClaim.objects.filter(state__in=(ClaimState.RECORDED, ClaimState.ASKED))
    ahead = _events_ahead(today, until)
    if not (brought or states or ahead):
        return None
    return forecast(
        History(
            fund=cents_of(entry_fund_balance()),
            now=this,
            months=_month_number(until) - this,
            month_left=1 - today.day / month_days,
            containers=past,
            children=_children_by_discipline(today),
            ahead=ahead,
            waiting=[cents_of(claim.amount) for claim in waiting],
            approved=states.get(ClaimState.APPROVED, 0) + states.get(ClaimState.PAID, 0),
            declined=states.get(ClaimState.DECLINED, 0),
        )
    )


MONTHS_BACK = 24


def _month_number(day: date) -> int:
    return 12 * day.year + day.month


def _children_by_discipline(today: date) -> dict[str, list[int]]:
    """How many children claimed at each refunded event whose claims are in, discipline by discipline."""
    over = StateEvent.objects.filter(refunded=True, held_on__lt=today - timedelta(days=CLAIMED_WITHIN))
    found: dict[str, list[int]] = {}
    for discipline, claims in over.annotate(found=Count("claims")).values_list("discipline", "found").order_by("pk"):
        found.setdefault(discipline, []).append(claims)
    return found


def _events_ahead(today: date, until: date) -> list[EventAhead]:
    since = today - timedelta(days=CLAIMED_WITHIN)
    rows = StateEvent.objects.filter(refunded=True, held_on__range=(since, until)).prefetch_related("fees")
    found = []
    for event in rows.order_by("held_on", "pk"):
        classes = JUNIOR_CLASSES[: JUNIOR_CLASSES.index(event.oldest_class) + 1]
        mean = sum((refundable(event, each).amount for each in classes), Decimal(0)) / len(classes)
        found.append(EventAhead(event.discipline, int(mean * 100), (event.held_on - today).days))
    return found


def entered_by_year() -> dict[int, dict[str, int]]:
    """Children whose entries were refunded, by calendar year of the event and its discipline."""
    rows = EntryClaim.objects.filter(state__in=(ClaimState.APPROVED, ClaimState.PAID)).order_by()
    found: dict[int, dict[str, int]] = {}
    counted = rows.values_list("event__held_on__year", "event__discipline").annotate(children=Count("pk"))
    for year, discipline, children in counted:
        found.setdefault(year, {})[discipline] = children
    return found


def entry_fund_balance() -> Money:
    return as_amount(fund_balance(FundRole.ENTRY))


def payable_detail() -> dict[int, Decimal]:
    """Approved and unpaid claims by the household's party id."""
    rows = EntryClaim.objects.filter(state=ClaimState.APPROVED).order_by()
    return dict(rows.values_list("household__party_id").annotate(figure=sum_of("amount")))
