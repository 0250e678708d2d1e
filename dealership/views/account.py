"""Sign-in, the second step, and the own password; nothing else of allauth's is open.

Nobody signs up, and a lost password is renewed by who keeps the staff list, so there
are no addresses for e-mail, confirmation or reset.
"""

from __future__ import annotations

from allauth.account import views
from django.urls import URLPattern, URLResolver, include, path


patterns: list[URLPattern | URLResolver] = [
    path("login/", views.login, name="account_login"),
    path("logout/", views.logout, name="account_logout"),
    path("signup/", views.signup, name="account_signup"),
    path("inactive/", views.account_inactive, name="account_inactive"),
    path("reauthenticate/", views.reauthenticate, name="account_reauthenticate"),
    path("password/change/", views.password_change, name="account_change_password"),
    path("password/set/", views.password_set, name="account_set_password"),
    path("2fa/", include("allauth.mfa.urls")),
]
