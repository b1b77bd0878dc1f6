"""The entry fund's part of the demo: containers cashed in, state events, and the families' claims."""

from datetime import date, timedelta

from clubdesk import clock
from clubdesk.demoing import Demo, closed_on, next_saturday, receipt_photo
from clubdesk.entryfund import services
from clubdesk.entryfund.models import ClaimState, Discipline, EntryClaim, PaidInto, StateEvent
from clubdesk.errors import Refused
from clubdesk.evidence import examine
from clubdesk.ledger.models import FinancialYear
from clubdesk.membership.selectors import is_member
from clubdesk.money import as_amount
from clubdesk.roll.demo import Cast
from clubdesk.roll.models import Person
from clubdesk.rooms import Scene

EVENTS = (
    (1, "State indoor championship", Discipline.INDOOR, 45),
    (3, "State clout championship", Discipline.CLOUT, 50),
    (6, "State target championship", Discipline.TARGET, 80),
    (9, "State field championship", Discipline.FIELD, 65),
)
"""After how many months of the year, name, discipline, entry fee."""


def plan(demo: Demo, start: date) -> None:
    for month in range(12):
        demo.at(clock.months_later(start, month) + timedelta(days=8), cash_in_containers)
    for months, name, discipline, fee in EVENTS:
        held_on = next_saturday(clock.months_later(start, months) + timedelta(days=12))
        event = StateEvent.objects.create(
            name=name,
            discipline=discipline,
            held_on=held_on,
            entries_close=held_on - timedelta(days=21),
            fee=as_amount(fee),
            oldest_class="Under 18",
        )
        demo.at(held_on + timedelta(days=9), claim_fees, event)
    demo.at(closed_on(start), decide_what_is_left, start)


def cash_in_containers(demo: Demo, day: date) -> None:
    services.count_bags(bags=demo.chance.randint(1, 6), containers=900, on=day, by=demo.users["coordinator"])
    containers = demo.chance.randint(1250, 2900)
    amount = as_amount(containers - demo.chance.choice((0, 0, 0, 3, 12))) / 10
    number = f"D{demo.chance.randint(10000, 99999)}"
    services.cash_in(
        containers=containers,
        amount=amount,
        paid_into=PaidInto.TILL if day.month == 2 else PaidInto.BANK,
        on=day,
        by=demo.users["coordinator"],
        depot_receipt=number,
        evidence=examine(receipt_photo(number, f"{containers} containers", amount.amount)),
    )


def claim_fees(demo: Demo, day: date, event: StateEvent) -> None:
    """Some who shot claim their fee back; one claim each time is declined.

    The approver's own child claims that of the target championship, which waits for the other approver.
    """
    members, keen = _members(demo, event), demo.part(Cast).keen
    for index, who in enumerate(demo.chance.sample(members, k=min(7, len(members)))):
        claim = _record(demo, day, event, who)
        demo.at(day + timedelta(days=6 + index % 2), decline if index == 0 else approve, claim)
    if event.discipline == Discipline.TARGET and is_member(keen, event.held_on):
        _record(demo, day, event, keen)


def _members(demo: Demo, event: StateEvent) -> list[Person]:
    """Who could shoot there as a member, but for the approver's own household."""
    own = demo.part(Cast).keen.household_id
    juniors = demo.part(Cast).juniors
    return [who for who in juniors if who.household_id != own and is_member(who, event.held_on)]


def _record(demo: Demo, day: date, event: StateEvent, who: Person) -> EntryClaim:
    return services.record_claim(
        person=who,
        event=event,
        amount=event.fee,
        evidence=examine(receipt_photo(event.name, who, f"Entry fee {event.fee.amount}")),
        on=day,
        by=demo.users["coordinator"],
    )


def approve(demo: Demo, day: date, claim: EntryClaim) -> None:
    try:
        services.approve_claim(claim=claim, by=demo.users["approver"], on=day)
    except Refused:
        return  # stays in the queue with its reasons


def decline(demo: Demo, day: date, claim: EntryClaim) -> None:
    reason = "the receipt shows another child's name; please send the right one"
    services.decline_claim(claim=claim, reason=reason, by=demo.users["approver"], on=day)


def decide_what_is_left(demo: Demo, day: date, start: date) -> None:
    """Before the year is closed the other approver decides what the first one could not, or may not."""
    last_day = FinancialYear.objects.get(first_day=start).last_day
    other = demo.users["secretary"]
    for claim in EntryClaim.objects.filter(claimed_on__lte=last_day, state=ClaimState.RECORDED):
        try:
            services.approve_claim(claim=claim, by=other, on=day)
        except Refused as refusal:
            services.decline_claim(claim=claim, reason=refusal.sentence[:150], by=other, on=day)


def leave(demo: Demo, day: date) -> None:
    """Claims of the last event: two approved that wait for their money, two to decide, one of the approver's own."""
    event = StateEvent.objects.filter(held_on__lt=day, held_on__gte=demo.last_year).order_by("-held_on").first()
    if event is None:
        return
    claimed = set(event.claims.values_list("person_id", flat=True))
    fresh = [who for who in _members(demo, event) if who.pk not in claimed][:4]
    keen = demo.part(Cast).keen
    if keen.pk not in claimed and is_member(keen, event.held_on):
        fresh.append(keen)
    for index, who in enumerate(fresh):
        claim = _record(demo, day, event, who)
        if index < 2:
            approve(demo, day, claim)


SCENES = (Scene(plan=plan, leave=leave),)
