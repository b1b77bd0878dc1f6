"""The part of the range days in the demo: kit, Saturdays, the tin and its takings."""

from datetime import date, time, timedelta
from functools import partial

from clubdesk import clock
from clubdesk.demoing import Demo, next_saturday
from clubdesk.ledger.demo import FLOAT
from clubdesk.ledger.models import Role
from clubdesk.ledger.selectors import balance
from clubdesk.money import as_amount, in_pieces
from clubdesk.rangeday import services
from clubdesk.rangeday.models import (
    ClosedDays,
    Gear,
    Hand,
    Kit,
    KitKind,
    KitState,
    OwnGearCost,
    Paid,
    RangeDay,
    SafetyText,
    SignOn,
)
from clubdesk.rangeday.selectors import safety_text, schedule
from clubdesk.rangeday.selectors import tin as tin_of
from clubdesk.roll.demo import Cast
from clubdesk.rooms import Scene

PLACE = "River range"
HOURS = {"begins_at": time(9), "ends_at": time(12)}
BREAK = (12, 20), (1, 9)
"""The first day and the last, as month and day, of the summer break."""
PLANNED_AHEAD = 6
"""Weeks for which the range days are known."""
SAFETY_RULES = """Stay behind the waiting line until you are called.
Shoot only at your own target, and only on the whistle.
Nobody walks forward until all bows are down and the range is called clear.
A child shoots only while a guardian or a coach stands by.
Tell the coach at once of anything that is cracked, frayed or loose."""
KIT: tuple[tuple[KitKind, str, int, dict[str, object]], ...] = (
    (KitKind.BOW, "B", 16, {"size": "66 inch", "hand": Hand.RIGHT, "check_after": 30}),
    (KitKind.BOW, "L", 3, {"size": "66 inch", "hand": Hand.LEFT, "check_after": 30}),
    (KitKind.ARM_GUARD, "G", 8, {}),
    (KitKind.TAB, "T", 8, {}),
)
"""Kind, letter of its numbers, how many, and what is known of each."""
POUNDS = (18, 16, 20, 14)
"""Draw weights of bows, in turn."""


def begin(demo: Demo) -> None:
    """Numbered kit, the safety rules for visitors, what gear of one's own costs about, and the summer breaks."""
    for year in range(demo.year_before.year, demo.year_before.year + 3):
        first, last = date(year, *BREAK[0]), date(year + 1, *BREAK[1])
        ClosedDays.objects.create(first_day=first, last_day=last, reason="summer break")
    SafetyText.objects.create(in_force_from=demo.year_before, text=SAFETY_RULES)
    OwnGearCost.objects.create(since=demo.year_before, amount=as_amount(210))
    for kind, letter, how_many, known in KIT:
        for number in range(1, how_many + 1):
            pounds = POUNDS[number % len(POUNDS)] if kind == KitKind.BOW else None
            Kit.objects.create(number=f"{letter}{number:02d}", kind=kind, draw_weight=pounds, **known)


def plan(demo: Demo, start: date) -> None:
    for week in range(52):
        day = next_saturday(start + timedelta(weeks=week))
        if BREAK[1] < (day.month, day.day) < BREAK[0]:
            demo.at(day, saturday)


def saturday(demo: Demo, day: date) -> None:
    """A range day from the first sign-on to the counted tin; the second one of October is called off.

    Today’s stays open, since that is where a visitor records hire.
    """
    range_day, _ = RangeDay.objects.get_or_create(date=day, place=PLACE, defaults=HOURS)
    signed = sign_juniors_on(demo, day, range_day) + sign_visitors_on(demo, day, range_day)
    if day.month == 10 and 8 <= day.day <= 14:
        later, _ = RangeDay.objects.get_or_create(date=day + timedelta(days=7), place=PLACE, defaults=HOURS)
        services.call_off_day(
            range_day=range_day, reason="lightning", on=day, by=demo.users["coordinator"], move_to=later,
            tell_them=True, also_usual=True,
        )  # fmt: skip
        return
    if day == demo.today:
        return
    lend_bows(demo, day, [sign_on for sign_on in signed if sign_on.gear == Gear.HIRE][:6])
    count_the_tin(demo, day, range_day)
    if day.day % 3 == 0:
        demo.at(day + timedelta(days=2), bank_takings)


def sign_juniors_on(demo: Demo, day: date, range_day: RangeDay) -> list[SignOn]:
    there = set(range_day.sign_ons.values_list("person", flat=True))
    juniors, keen = demo.part(Cast).juniors, demo.part(Cast).keen
    present = demo.chance.sample(juniors, k=min(len(juniors), demo.chance.randint(26, 38)))
    coming = [who for who in (present if keen in present else [*present, keen]) if who.pk not in there]
    known = schedule(range_day, [who.pk for who in coming])
    signed = []
    for who in coming:
        member = known.members[who.pk]
        gear = Gear.OWN if member and who != keen and demo.chance.random() < 0.45 else Gear.HIRE
        means = (Paid.CASH, Paid.CARD, Paid.ACCOUNT) if member else (Paid.CASH, Paid.CARD)
        paid = Paid.NOTHING if gear == Gear.OWN else demo.chance.choices(means, (5, 4, 1)[: len(means)])[0]
        signed.append(
            services.sign_on(
                range_day=range_day, person=who, gear=gear, paid=paid, known=known, by=demo.users["helper"]
            )
        )
    return signed


def sign_visitors_on(demo: Demo, day: date, range_day: RangeDay) -> list[SignOn]:
    return [
        services.sign_on(
            range_day=range_day,
            visitor_name=demo.fake.name(),
            gear=Gear.VISITOR,
            paid=demo.chance.choice((Paid.CASH, Paid.CARD)),
            safety=safety_text(day),
            by=demo.users["helper"],
        )
        for _ in range(demo.chance.randint(0, 4))
    ]


def lend_bows(demo: Demo, day: date, hirers: list[SignOn]) -> None:
    """Some of who hires takes a numbered bow; one comes back with a crack, one does not come back at all."""
    usable = Kit.objects.filter(kind=KitKind.BOW, state=KitState.USABLE, number__startswith="B")
    bows = [bow for bow in usable if not bow.loans.filter(back_at=None).exists()]
    turn = day.toordinal() % len(bows)
    bows = bows[turn:] + bows[:turn]
    morning = clock.start_of(day) + timedelta(hours=9)
    for sign_on, bow in zip(hirers, bows, strict=False):
        services.give_out(kit=bow, sign_on=sign_on, at=morning, by=demo.users["helper"])
        if not (day.month == 11 and day.day <= 7 and bow == bows[0]):
            services.take_back_kit(kit=bow, at=morning + timedelta(hours=2), by=demo.users["helper"])
    if day.month == 9 and 8 <= day.day <= 14:
        services.set_kit_aside(kit=bows[0], on=day, note="a crack in the upper limb", by=demo.users["helper"])
    if day.month == 2 and day.day <= 7:
        for bow in Kit.objects.filter(state=KitState.SET_ASIDE):
            services.find_kit_fit(
                kit=bow, on=day, note="new limb", checked_by="the coach", by=demo.users["coordinator"]
            )


def count_the_tin(demo: Demo, day: date, range_day: RangeDay) -> None:
    """Counted by two; short by a note once, and once opened again since a coin had lain under the table."""
    expected = as_amount(balance(Role.TILL, day))
    tin = tin_of(range_day)
    close = partial(
        services.close_day,
        range_day=range_day,
        card_slip=tin.card + tin.card_receipts,
        second_counter=demo.users["helper"],
        by=demo.users["coordinator"],
        on=day,
    )
    if day.month == 9 and day.day <= 7:
        close(pieces=in_pieces(expected - as_amount(5)), reason="a five-dollar note less than expected, not found")
        return
    if day.month == 8 and day.day <= 7:
        close(pieces=in_pieces(expected - as_amount(2)), reason="two dollars less, to be looked for")
        services.reopen_day(
            range_day=range_day, reason="a coin lay under the table", on=day, by=demo.users["coordinator"]
        )
    close(pieces=in_pieces(expected))


def bank_takings(demo: Demo, day: date) -> None:
    """All but the float goes to the bank, where that is worth the way."""
    inside = as_amount(balance(Role.TILL, day))
    if inside > FLOAT * 2:
        services.bank_takings(amount=inside - FLOAT, on=day, by=demo.users["coordinator"])


def leave(demo: Demo, day: date) -> None:
    """The Saturdays ahead stand among the club's dates, for families to read."""
    for week in range(PLANNED_AHEAD):
        ahead = next_saturday(day + timedelta(weeks=week, days=1))
        if BREAK[1] < (ahead.month, ahead.day) < BREAK[0]:
            RangeDay.objects.get_or_create(date=ahead, place=PLACE, defaults=HOURS)


SCENES = (Scene(begin=begin, plan=plan, leave=leave),)
