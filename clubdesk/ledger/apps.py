from django.apps import AppConfig

from clubdesk import guards


class LedgerConfig(AppConfig):
    name = "clubdesk.ledger"
    verbose_name = "Ledger"
    purpose = "Accounts, the journal and the financial years: where every other room ends up."

    def ready(self) -> None:
        from clubdesk.ledger import invariants, rules  # noqa: F401

        guards.register(*rules.GUARDS)
