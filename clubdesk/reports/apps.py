from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "clubdesk.reports"
    verbose_name = "Reports"
    purpose = "The trial balance, the statements of any period and the treasurer's workbook. They only read."

    def ready(self) -> None:
        from clubdesk import guards
        from clubdesk.ledger.signals import month_locked
        from clubdesk.reports import invariants, rules, tracing  # noqa: F401

        guards.register(*rules.GUARDS)
        month_locked.connect(tracing.store_month, dispatch_uid="reports.store_month")
