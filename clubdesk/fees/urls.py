"""A family's own pages, under /account/, and the pages behind the sign-in, for the site to hang in."""

from typing import Any

from django.contrib.admin import AdminSite
from django.urls import URLPattern, path

from clubdesk.fees import views

app_name = "account"
urlpatterns = [
    path("<str:token>/", views.own, name="own"),
    path("<str:token>/statement/", views.own_statement, name="statement"),
    path("<str:token>/receipt/<int:number>/", views.own_receipt, name="receipt"),
]


def patterns(site: AdminSite) -> list[URLPattern]:
    def page(view: Any) -> Any:
        return site.admin_view(lambda request, **kwargs: view(request, site, **kwargs))

    return [
        path("fees/vouchers-answered/", page(views.vouchers), name="vouchers_answered"),
        path("fees/lodgement/<int:pk>/list/", page(views.lodgement_list), name="lodgement_list"),
        path("fees/balances/", page(views.aged), name="aged_balances"),
        path("fees/statements/send/", page(views.send_statements), name="send_statements"),
        path("fees/statements/", page(views.statements), name="statements_to_print"),
        path("roll/household/<int:pk>/statement/", page(views.statement), name="household_statement"),
        path("fees/receipt/<int:pk>/pdf/", page(views.receipt), name="receipt_pdf"),
    ]
