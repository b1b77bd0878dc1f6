from django.apps import AppConfig


class MembershipConfig(AppConfig):
    name = "clubdesk.membership"
    verbose_name = "Membership"
    purpose = "Who is a member and until when, and what the associations are owed for it."

    def ready(self) -> None:
        from clubdesk.membership import invariants  # noqa: F401
