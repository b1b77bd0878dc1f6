from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "clubdesk.reports"
    verbose_name = "Reports"
    purpose = "The trial balance, the year's statements and the treasurer's workbook. They only read."
