"""Who somebody is when they sign in, and what they may."""

from allauth.account.auth_backends import AuthenticationBackend
from django.contrib.auth.models import AnonymousUser, Permission, User
from django.db.models import Model


class Backend(AuthenticationBackend):  # type: ignore[misc]
    def get_all_permissions(self, user_obj: User | AnonymousUser, obj: Model | None = None) -> set[str]:
        """What somebody may by their roles and for themselves, in one question; nothing of one object alone."""
        if not user_obj.is_active or isinstance(user_obj, AnonymousUser) or obj is not None:
            return set()
        if not hasattr(user_obj, "_perm_cache"):
            every = Permission.objects.order_by().values_list("content_type__app_label", "codename")
            own = every.filter(user=user_obj).union(every.filter(group__user=user_obj))
            found = every if user_obj.is_superuser else own
            user_obj._perm_cache = {f"{app}.{name}" for app, name in found}  # type: ignore[attr-defined]
        permissions: set[str] = user_obj._perm_cache  # type: ignore[attr-defined]
        return permissions
