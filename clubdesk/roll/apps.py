from django.apps import AppConfig


class RollConfig(AppConfig):
    name = "clubdesk.roll"
    verbose_name = "Roll"
    purpose = "Households, their guardians and their people: who comes, and who pays."
