"""The kinds of letters that tell a family of a booking: when each goes out, what it may name, and its first text."""

from clubdesk.lettering import AS_EXAMPLE, Field, LetterKind, Linked

PAGE = Linked(
    "To see where you stand, accept an offer or withdraw, open your own page:",
    "Whoever has this link can do the same, so please keep it to yourselves.",
)
COURSE = Field("course", "The course", "Beginner course")
STANDING = Field(
    "standing",
    "Where they stand now: who has which place, or waits as which number",
    "Ada has a place in Beginner course, October 2026, which starts on Sunday, 4 October 2026.",
    whole=True,
)
CHILD, CHILDREN = Field("child", "Who", "Ada"), Field("children", "Who", "Ada and Bela")
DATES = Field("dates", "Which dates of the course", "October 2026")
REASON = Field("reason", "Why", "the range is flooded")
MONEY = Field(
    "money",
    "What becomes of the fee; blank where there was none",
    "You no longer owe the fee of $126.00.",
    whole=True,
    must=True,
)


def _kind(key: str, title: str, purpose: str, subject: str, says: str, *fields: Field) -> LetterKind:
    """One that ends with where they stand and how to pay, unless it says so elsewhere."""
    whole = says if STANDING.written in says else f"{says}\n\n{STANDING.written}"
    subject, own = f"{COURSE.written}: {subject}", (COURSE, *fields, STANDING)
    return LetterKind(f"courses.{key}", title, purpose, subject, whole, own, PAGE, AS_EXAMPLE)


BOOKED = _kind(
    "booked",
    "A family has booked",
    "Goes out with each booking, whether there is a place at once or a wait.",
    "your booking",
    "Thank you for booking.",
)
BOOKED_ALREADY = _kind(
    "booked_already",
    "A family asked again for what it has",
    "Goes out when a family books on the parents’ page what it has booked before.",
    "you have booked already",
    "You have asked for places again; you had booked already.",
)
OFFERED = _kind(
    "offered",
    "A place is offered",
    "Goes out when a place comes free for whoever is next.",
    "a place for you",
    "A place has come free, and you are next. Please answer by {{ answer_by }}.",
    Field("answer_by", "The last day to answer", "Friday, 18 September 2026", must=True),
    DATES,
)
HELD_FOR = _kind(
    "held_for_family",
    "A place is held for a family that the club knows",
    "Goes out when a known family books on the parents’ page: it accepts by its own link.",
    "a place for you",
    "Thank you for booking. We hold this for you. Please accept it by {{ answer_by }}.",
    Field("answer_by", "The last day to answer", "Friday, 18 September 2026", must=True),
    DATES,
)
ACCEPTED = _kind(
    "accepted",
    "An offer was accepted",
    "Goes out when a family takes the place that it was offered.",
    "your place",
    "Thank you for accepting.",
)
OFFER_LAPSED = _kind(
    "offer_lapsed",
    "An offer has lapsed",
    "Goes out when a family did not answer an offer in time.",
    "the offer has lapsed",
    "If you would still like to come, please book again.\n\n"
    "We had no answer to our offer of {{ dates }}, so the place goes to the next family.",
    DATES,
)
OFFER_WITHDRAWN = _kind(
    "offer_withdrawn",
    "An offer is withdrawn",
    "Goes out when the family that gave up a place has it back.",
    "the offer is withdrawn",
    "We are sorry: the place in {{ dates }} that we offered you is not free after all.\n\n"
    "The family that had given it up has it again. You owe nothing and keep your turn.",
    DATES,
)
WITHDRAWN = _kind(
    "withdrawn",
    "A booking is withdrawn",
    "Goes out when a family, or some of it, gives up its place or its turn.",
    "withdrawn",
    "The booking of {{ children }} is withdrawn.\n\n{{ money }}",
    CHILDREN,
    MONEY,
)
PLACE_AGAIN = _kind(
    "place_again",
    "A withdrawal is undone",
    "Goes out when somebody who had withdrawn has the place again.",
    "your place again",
    "{{ child }} is no longer withdrawn from {{ dates }}.",
    CHILD,
    DATES,
)
WAITS_AGAIN = _kind(
    "waits_again",
    "A withdrawal from the waitlist is undone",
    "Goes out when somebody who had withdrawn waits again, in the old turn.",
    "you wait again",
    "{{ child }} is no longer withdrawn, and keeps the turn.",
    CHILD,
)
TRANSFERRED = _kind(
    "transferred",
    "A booking moves to other dates",
    "Goes out when a place is transferred.",
    "transferred",
    "The booking of {{ children }} moves from {{ old_dates }} to {{ dates }}.",
    CHILDREN,
    Field("old_dates", "From which dates", "October 2026"),
    Field("dates", "To which dates", "February 2027"),
)
MORE_TIME = _kind(
    "more_time",
    "More time to pay",
    "Goes out when the club gives a family more time.",
    "more time to pay",
    "You have more time to pay: until {{ pay_by }}.",
    Field("pay_by", "The last day to pay", "2 October 2026", must=True),
)
REMINDER = _kind(
    "reminder",
    "A fee is not paid yet",
    "Goes out once, some days before an unpaid place lapses.",
    "please pay, or withdraw",
    "{{ unpaid }}\n\n{{ how_to_pay }}\n\n"
    "If you pay by a sport voucher, please send us its code. If you no longer want the place, please withdraw, so that "
    "the next family hears of it. An unpaid place lapses.\n\n{{ standing }}",
    Field("unpaid", "That the fee is not paid, or what of it is not", "The fee is not paid yet.", must=True),
)
PLACE_LAPSED = _kind(
    "place_lapsed",
    "An unpaid place has lapsed",
    "Goes out when a place was not paid after the reminder.",
    "the place has lapsed",
    "The fee of {{ children }} was not paid in full, so the place goes to the next family.\n\n{{ money }}",
    CHILDREN,
    MONEY,
)
WORDS = Field(
    "words",
    "What was written for this once, on the page where it was done",
    "The days of October 2026 have changed: they are now from 11 October 2026 to 1 November 2026.",
    whole=True,
    must=True,
)
NEW_DAYS = _kind(
    "new_days",
    "Dates have changed",
    "Goes to every family with a place, or an offer of one, when the club changes its days.",
    "new days",
    f"{WORDS.written}\n\n{{{{ may_leave }}}}",
    WORDS,
    Field(
        "may_leave",
        "Until when who cannot make the days owes nothing",
        "If you cannot make the new days, please withdraw by 19 September 2026: you then owe nothing.",
        whole=True,
        must=True,
    ),
)
CANCELLED = _kind(
    "cancelled",
    "Dates are cancelled",
    "Goes to every family with a place, an offer of one, or a part of the fee that the club had kept.",
    "cancelled",
    f"{WORDS.written}\n\n{{{{ money }}}}\n\n{{{{ turn }}}}\n\n{{{{ could_not }}}}",
    WORDS,
    MONEY,
    Field(
        "turn",
        "That who waits again keeps their turn",
        "You keep your turn: as soon as another cohort has room you are offered a place.",
        whole=True,
    ),
    Field("could_not", "The dates that they could not make, if they can now", "", whole=True),
)
BOOKED_APART = _kind(
    "booked_apart",
    "A group is booked apart",
    "Goes out for each of a group that no longer waits together.",
    "booked apart",
    "{{ children }} are now booked apart, each in the turn of the group.",
    CHILDREN,
)
ONE_MORE = _kind(
    "one_more_waits",
    "One more waits with a group",
    "Goes out when somebody joins a group that waits.",
    "one more of you waits",
    "{{ child }} now waits together with you. You keep your turn, and want {{ places }} places.",
    CHILD,
    Field("places", "How many places they want now", "3"),
)
SOMEBODY_ELSE = _kind(
    "somebody_else",
    "Somebody else comes",
    "Goes out when another of the family takes the place.",
    "somebody else comes",
    "{{ child }} comes to {{ dates }} in the place of {{ before }}. {{ fee }}",
    Field("child", "Who comes", "Ida"),
    Field("before", "Who was to come", "Ada"),
    DATES,
    Field("fee", "What the fee is, and was", "The fee of $126.00 stays as it is.", must=True),
)
GOES_ALONG = _kind(
    "goes_along",
    "A place goes along with a child",
    "Goes to the family that a child belonged to until now.",
    "goes along with your child",
    "{{ child }} belongs to another family now, and {{ what }} goes along. You owe nothing more for it.",
    CHILD,
    Field("what", "What goes along", "the place in October 2026"),
)
COMES_ALONG = _kind(
    "comes_along",
    "A place comes along with a child",
    "Goes to the family that a child belongs to now.",
    "comes along with your child",
    "{{ child }} belongs to your family now, and {{ what }} comes along.",
    CHILD,
    Field("what", "What comes along", "the place in October 2026"),
)
LETTERS = (
    BOOKED, BOOKED_ALREADY, OFFERED, HELD_FOR, ACCEPTED, OFFER_LAPSED, OFFER_WITHDRAWN, REMINDER, MORE_TIME,
    PLACE_LAPSED, NEW_DAYS, CANCELLED, TRANSFERRED, WITHDRAWN, PLACE_AGAIN, WAITS_AGAIN,
    BOOKED_APART, ONE_MORE, SOMEBODY_ELSE, GOES_ALONG, COMES_ALONG,
)  # fmt: skip
