from clubdesk.rooms import RoomConfig


class ReportsConfig(RoomConfig):
    name = "clubdesk.reports"
    verbose_name = "Reports"

    def ready(self) -> None:
        from clubdesk.ledger.signals import month_locked, month_unlocked
        from clubdesk.reports.tracing import drop_months, store_month

        super().ready()
        month_locked.connect(store_month, dispatch_uid="reports.store_month")
        month_unlocked.connect(drop_months, dispatch_uid="reports.drop_months")
