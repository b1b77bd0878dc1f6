"""Signing in: django-allauth's pages in our look, its limits, second steps and sessions, and a record of all of it."""
