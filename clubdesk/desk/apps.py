from typing import Any

from django.apps import apps
from django.contrib.admin import apps as admin
from django.core.checks import CheckMessage, Tags, Warning, register
from django.db import connections
from django.db.models.signals import post_migrate, pre_migrate

from clubdesk import guards, twice
from clubdesk.rooms import RoomConfig
from clubdesk.screens.fields import say_what_to_do

say_what_to_do()  # before any form is made


class FletchbookAdminConfig(admin.AdminConfig):
    default = False
    default_site = "clubdesk.desk.site.FletchbookSite"


def name_sign_ins() -> None:
    """Call Django's own users and groups as people call them; its migrations know nothing of that."""
    of_django = apps.get_app_config("auth")
    of_django.verbose_name = DeskConfig.verbose_name
    for name, one, many in (("User", "sign-in", "who signs in"), ("Group", "role", "roles")):
        meta = of_django.get_model(name)._meta
        meta.verbose_name, meta.verbose_name_plural = one, many


def install_guards(using: str, **kwargs: Any) -> None:
    guards.install(connections[using])
    twice.install(connections[using])


def lift_guards(using: str, plan: Any = (), **kwargs: Any) -> None:
    """Before a migration changes anything: SQLite cannot remake a table that another table's trigger names."""
    if plan:
        guards.remove(connections[using])
        twice.remove(connections[using])


def renew_roles(using: str, **kwargs: Any) -> None:
    """A book that is begun already gets, with each migration, what its roles may newly do."""
    from clubdesk.desk import recording
    from clubdesk.desk.roles import make_roles
    from clubdesk.desk.signin.sealing import seal_anew
    from clubdesk.ledger.models import Book

    if using == "default" and Book.objects.exists():
        make_roles()
        recording.note_as_it_stands()
        seal_anew()


def check_guards(app_configs: Any, databases: Any = None, **kwargs: Any) -> list[CheckMessage]:
    """Warn about each database guard that is missing or altered (run by `migrate` and `check --database`)."""
    found: list[CheckMessage] = []
    for alias in databases or []:
        if "ledger_posting" in connections[alias].introspection.table_names():
            found += [Warning(text, id="fletchbook.W001") for text in guards.faults(connections[alias])]
    return found


class DeskConfig(RoomConfig):
    default = True
    name = "clubdesk.desk"
    verbose_name = "Sign-ins and roles"

    def ready(self) -> None:
        from clubdesk.desk import recording
        from clubdesk.desk.deploying import check_deployment
        from clubdesk.desk.house import check_the_house
        from clubdesk.desk.signin import record, second, sessions

        super().ready()
        name_sign_ins()
        for each in (record, second, sessions):
            each.listen()
        recording.watch()
        # The top room migrates last, so every table that a guard stands on is there by then.
        pre_migrate.connect(lift_guards, sender=self, dispatch_uid="lift_guards")
        post_migrate.connect(install_guards, sender=self, dispatch_uid="install_guards")
        post_migrate.connect(renew_roles, sender=self, dispatch_uid="renew_roles")
        register(Tags.database)(check_guards)
        register(check_the_house)
        register(Tags.security, deploy=True)(check_deployment)
