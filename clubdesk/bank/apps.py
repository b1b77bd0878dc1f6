from django.apps import AppConfig


class BankConfig(AppConfig):
    name = "clubdesk.bank"
    verbose_name = "Bank"
    purpose = "Card takings as they are settled, and the bank's own statement, line by line."

    def ready(self) -> None:
        from clubdesk.bank import invariants  # noqa: F401
