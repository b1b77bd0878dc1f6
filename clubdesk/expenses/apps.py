from clubdesk.rooms import RoomConfig


class ExpensesConfig(RoomConfig):
    name = "clubdesk.expenses"
    verbose_name = "Volunteers’ expenses"
