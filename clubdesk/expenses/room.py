"""What the room of volunteers' expenses tells of itself."""

from clubdesk.expenses.closing import CHECKS
from clubdesk.expenses.demo import SCENES
from clubdesk.expenses.finding import FINDS
from clubdesk.expenses.letters import LETTERS
from clubdesk.expenses.models import Expense, ExpenseState
from clubdesk.expenses.personal import PERSONAL, TOLD, owed
from clubdesk.rooms import APPROVER, AUDITOR, COORDINATOR, SEE_ALL, TREASURER, ListOf, Room, Tab, Waits
from clubdesk.waiting import waiting

ROOM = Room(
    label="expenses",
    purpose="What volunteers paid for the club out of their own pocket, approved by somebody else.",
    tab=Tab.MONEY,
    on_home=65,
    menu=(ListOf("Expense"),),
    waits=(
        Waits(
            "volunteer’s expense to decide",
            "volunteers’ expenses to decide",
            permission="expenses.decide_expense",
            page="admin:expenses_expense_changelist",
            query="state__exact=recorded",
            now=lambda on: waiting(Expense.objects.filter(state=ExpenseState.RECORDED), since="spent_on"),
        ),
    ),
    second_step=("decide_expense",),
    letters=LETTERS,
    roles={
        COORDINATOR: (SEE_ALL, "add_expense"),
        APPROVER: ("view_expense", "decide_expense"),
        TREASURER: (SEE_ALL, "add_expense"),
        AUDITOR: (SEE_ALL,),
    },
    personal=PERSONAL,
    told=TOLD,
    holds_back=(owed,),
    finds=FINDS,
    before_close=CHECKS,
    no_sheet="Each expense stands in the journal, and what is not paid yet in its account of the ledger.",
    demo=SCENES,
)
