from django.apps import AppConfig


class MailConfig(AppConfig):
    name = "clubdesk.mail"
    verbose_name = "Mail"
    purpose = "What the club wrote to families, and whether it went out."
