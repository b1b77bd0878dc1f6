"""The admin site itself: its frame, its home page and the pages of the bar."""

from importlib.metadata import version
from typing import Any

from django.contrib.admin import AdminSite
from django.contrib.auth.models import AnonymousUser, User
from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.response import TemplateResponse
from django.urls import URLPattern, URLResolver, reverse
from django.utils.cache import patch_cache_control

from clubdesk import faults, rooms, upkeep
from clubdesk.desk import beginning, home, menus
from clubdesk.ledger.selectors import the_book
from clubdesk.moment import asking_once
from clubdesk.screens.pages import addresses

VERSION = version("fletchbook")


class FletchbookSite(AdminSite):
    site_title = "Fletchbook"
    site_header = "Fletchbook"
    index_title = "Home"
    site_url = None
    index_template = "admin/index.html"
    enable_nav_sidebar = False

    def each_context(self, request: HttpRequest) -> dict[str, object]:
        ours: dict[str, object] = {
            "book": the_book(),
            "damage": faults.DAMAGED if upkeep.is_damaged() else "",
            "version": VERSION,
        }
        if self.has_permission(request):
            ours |= {"places": menus.places(self, request), "initials": _initials(request.user)}
        return {**super().each_context(request), **ours}

    def admin_view(self, view: Any, cacheable: bool = False) -> Any:
        """Whatever is behind the sign-in leads back to the first things where it was opened from them."""
        return super().admin_view(beginning.and_back(view), cacheable)

    def login(self, request: HttpRequest, extra_context: dict[str, object] | None = None) -> HttpResponse:
        """There is one page to sign in, which stands at the same address."""
        return redirect_to_login(request.GET.get("next", reverse("admin:index")))

    def password_change(  # type: ignore[override]
        self, request: HttpRequest, extra_context: dict[str, object] | None = None
    ) -> HttpResponse:
        return HttpResponseRedirect(reverse("account_change_password"))

    def get_app_list(self, request: HttpRequest, app_label: str | None = None) -> list[object]:
        """Of one room, for its own page; no page shows the list of all, which costs a fifth of any page."""
        return super().get_app_list(request, app_label) if app_label else []

    def i18n_javascript(self, request: HttpRequest, extra_context: dict[str, object] | None = None) -> HttpResponse:
        """Words of Django's own scripts, the same all day."""
        response = super().i18n_javascript(request, extra_context)
        patch_cache_control(response, private=True, max_age=24 * 3600)
        return response

    @asking_once()
    def index(self, request: HttpRequest, extra_context: dict[str, object] | None = None) -> TemplateResponse:
        return super().index(request, {**home.home_of(self, request), "is_home": True, **(extra_context or {})})

    def app_index(
        self, request: HttpRequest, app_label: str, extra_context: dict[str, object] | None = None
    ) -> TemplateResponse:
        """The page of the bar's place to which the room belongs."""
        tab = menus.tab_of(app_label)
        if tab is None or all(place.tab != tab for place in menus.places(self, request)):
            raise Http404
        return home.tab_page(request, self, tab)

    def get_urls(self) -> list[URLPattern | URLResolver]:
        own = [address for room in rooms.in_order() for address in addresses(self, room.pages)]
        return [*own, *super().get_urls()]


def _initials(who: User | AnonymousUser) -> str:
    """Two letters for the corner of the bar."""
    names = (who.first_name[:1] + who.last_name[:1]) if isinstance(who, User) else ""
    return (names or who.get_username()[:2]).upper()
