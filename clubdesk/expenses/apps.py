from django.apps import AppConfig

from clubdesk import guards


class ExpensesConfig(AppConfig):
    name = "clubdesk.expenses"
    verbose_name = "Volunteers’ expenses"
    purpose = "What volunteers paid for the club out of their own pocket, approved by somebody else."

    def ready(self) -> None:
        from clubdesk.expenses import invariants, rules  # noqa: F401

        guards.register(*rules.GUARDS)
