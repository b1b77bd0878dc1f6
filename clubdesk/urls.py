"""The whole site is the admin site, at the root."""

from django.contrib import admin
from django.urls import path

urlpatterns = [path("", admin.site.urls)]
