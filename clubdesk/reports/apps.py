from clubdesk.rooms import RoomConfig


class ReportsConfig(RoomConfig):
    name = "clubdesk.reports"
    verbose_name = "Reports"

    def ready(self) -> None:
        from clubdesk.ledger.signals import month_locked
        from clubdesk.reports.tracing import store_month

        super().ready()
        month_locked.connect(store_month, dispatch_uid="reports.store_month")
