from django.contrib.admin import AdminSite


class FletchbookSite(AdminSite):
    site_title = "Fletchbook"
    site_header = "Fletchbook"
