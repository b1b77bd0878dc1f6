"""What the words of this site mean, for whoever meets one: a page of its own."""

from django.contrib.admin import AdminSite
from django.http import HttpRequest
from django.http.response import HttpResponseBase

from clubdesk.screens.pages import site_page

WORDS = {
    "Booking": "What a family asked for: one or more places in a course, together.",
    "Cash box": "Where the day’s cash is. What was in it before the day began is the cash already in the box.",
    "Charge": "A fee that a family owes, from the day it was charged.",
    "Cohort": "One running of a course, from its first session to its last. Families read “dates”.",
    "Credit": "What the club owes a family: paid too much, or a fee that is no longer owed.",
    "Credited": "A fee that is no longer owed. Nothing is deleted: the charge and the credit both stand.",
    "Draw check": "Somebody saw that a child can draw and hold a bow.",
    "Entry fund": "Money from bottles and cans that pays children’s entry fees. It is kept apart from the rest.",
    "Expense not billed yet": "Something that belongs to the year though its bill comes later.",
    "Family": "Who pays together, and gets one statement.",
    "Fees passed on": "The part of memberships that goes to the state and national associations.",
    "Fund": "Money that is kept for a purpose. The club’s own money without one is the general fund.",
    "Group": "Those who want to stay together in a course.",
    "Guardian": "Who answers for a child, and gets the family’s letters.",
    "Journal entry": "What happened, with the same amount on both sides. It is never changed, only reversed.",
    "Kit": "Numbered pieces that the club lends: bows, arm guards, tabs.",
    "Locked": "A month whose figures no longer change. Two people may unlock it again.",
    "Matched": "A line of the bank’s statement that the books know: a receipt, a payment, a banking.",
    "Offer": "A place that a family on the waitlist may take, until a day.",
    "Payment run": "What the club pays out together: one person makes it, another releases it, then the bank pays.",
    "People and organisations": "Whoever owes the club or is owed by it.",
    "Phone entries": "What a phone sent from the range.",
    "Place": "A person’s place in a cohort, held, offered or waited for.",
    "Range day": "A day on which people shoot. Its sheet says who signed on, with what hire, and what was paid.",
    "Refund request": "A family asks the entry fund for an entry fee back.",
    "Reversed": "A journal entry that another one undoes, both standing for everybody to see.",
    "Sign-on": "Somebody came to a range day.",
    "Signed off": "A month of the bank’s statement of which every line is matched and the balance agrees.",
    "Voucher": "The government pays part of a child’s fee. The family owes the rest.",
    "Voucher claim": "A list of vouchers sent to the department, which then pays the club.",
    "Waitlist": "Who waits for a course, in the order in which they asked.",
}
"""The words in the order of the alphabet, each with its meaning in a sentence or two."""


def words(request: HttpRequest, site: AdminSite) -> HttpResponseBase:
    return site_page(request, site, "desk/words.html", "What words mean", words=WORDS)
