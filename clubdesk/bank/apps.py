from django.apps import AppConfig

from clubdesk import guards


class BankConfig(AppConfig):
    name = "clubdesk.bank"
    verbose_name = "Bank"
    purpose = "Payments out, card takings as they are settled, and the bank's own statement, line by line."

    def ready(self) -> None:
        from clubdesk.bank import invariants, rules  # noqa: F401

        guards.register(*rules.GUARDS)
