"""Settings: who works here, as what, and who may still sign in."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING

from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_variables
from django.views.decorators.http import require_POST, require_safe

from dealership.domain import staff as people
from dealership.forms.settings import LockOutForm, NewPersonForm, PostForm
from dealership.models import Post
from dealership.queries.stores import people_in_reach, stores_kept_by
from dealership.rules.refusals import Refusal
from dealership.rules.roles import Capability
from dealership.views.guards import guarded, staff_of, store_of
from dealership.views.settings import settings_places


if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponse

    from dealership.models import StaffMember

# Read aloud without a mistake: no 0 or O, no 1, I or L. Sixteen of these 31 are 79
# bits.
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


def _new_password() -> str:
    groups = (
        "".join(secrets.choice(_LETTERS) for _letter in range(4)) for _group in range(4)
    )
    return "-".join(groups)


def _person(request: HttpRequest, pk: int) -> StaffMember:
    return get_object_or_404(people_in_reach(staff_of(request)), pk=pk)


@require_safe
@guarded(Capability.SEE_SETTINGS)
def staff_page(request: HttpRequest) -> HttpResponse:
    """Show who works in one's stores, and as what."""
    found = list(people_in_reach(staff_of(request)))
    context = {
        "people": found,
        "active": sum(person.is_active for person in found),
        "may_edit": staff_of(request).may(
            Capability.EDIT_SETTINGS, store_of(request).pk
        ),
        "setting_places": settings_places(request),
    }
    return render(request, "dealership/staff.html", context)


@never_cache
@sensitive_variables("password")
@guarded(Capability.EDIT_SETTINGS)
def new_person(request: HttpRequest) -> HttpResponse:
    """Take somebody on; the first password is shown once."""
    stores = stores_kept_by(staff_of(request))
    form = NewPersonForm(request.POST or None, stores=stores)
    if request.method == "POST" and form.is_valid():
        password = _new_password()
        try:
            person = people.take_on(
                **form.cleaned_data,
                password=password,
                by=staff_of(request),
                at=timezone.now(),
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
        else:
            return _show_password(request, person, password)
    context = {"form": form, "setting_places": settings_places(request)}
    return render(request, "dealership/staff_new.html", context)


def _show_password(
    request: HttpRequest, person: StaffMember, password: str
) -> HttpResponse:
    context = {
        "person": person,
        "password": password,
        "setting_places": settings_places(request),
    }
    return render(request, "dealership/staff_password.html", context)


def _person_page(
    request: HttpRequest,
    person: StaffMember,
    *,
    post_form: PostForm | None = None,
    lock_form: LockOutForm | None = None,
) -> HttpResponse:
    kept = {store.pk for store in stores_kept_by(staff_of(request))}
    context = {
        "person": person,
        "posts": [(post, post.store_id in kept) for post in person.posts.all()],
        "post_form": post_form or PostForm(stores=stores_kept_by(staff_of(request))),
        "lock_form": lock_form or LockOutForm(),
        "may_edit": bool(kept),
        "may_account": people.may_change_account(staff_of(request), person),
        "setting_places": settings_places(request),
    }
    return render(request, "dealership/staff_person.html", context)


@require_safe
@guarded(Capability.SEE_SETTINGS)
def person_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one person's posts and account."""
    return _person_page(request, _person(request, pk))


@require_POST
@guarded(Capability.EDIT_SETTINGS)
def give_post(request: HttpRequest, pk: int) -> HttpResponse:
    """Give somebody one more post."""
    person = _person(request, pk)
    form = PostForm(request.POST, stores=stores_kept_by(staff_of(request)))
    if not form.is_valid():
        return _person_page(request, person, post_form=form)
    people.give_post(
        person=person, **form.cleaned_data, by=staff_of(request), at=timezone.now()
    )
    messages.info(request, _("%(person)s has the post.") % {"person": person})
    return redirect("dealership:person", pk=person.pk)


@require_POST
@guarded(Capability.EDIT_SETTINGS)
def take_post(request: HttpRequest, pk: int, post_pk: int) -> HttpResponse:
    """Take a post from somebody."""
    person = _person(request, pk)
    post = get_object_or_404(
        Post.objects.select_related("store", "staff"), pk=post_pk, staff=person
    )
    try:
        people.take_post(post=post, by=staff_of(request), at=timezone.now())
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.info(request, _("The post is taken back."))
    return redirect("dealership:staff")


@require_POST
@guarded(Capability.EDIT_SETTINGS)
def lock_out(request: HttpRequest, pk: int) -> HttpResponse:
    """Let somebody sign in no more."""
    person = _person(request, pk)
    form = LockOutForm(request.POST)
    if form.is_valid():
        try:
            people.lock_out(
                person=person,
                by=staff_of(request),
                at=timezone.now(),
                why=form.cleaned_data["why"],
            )
        except Refusal as refusal:
            form.add_error(None, refusal.sentence)
    if form.errors:
        return _person_page(request, person, lock_form=form)
    messages.info(request, _("%(person)s cannot sign in now.") % {"person": person})
    return redirect("dealership:person", pk=person.pk)


@require_POST
@guarded(Capability.EDIT_SETTINGS)
def let_in(request: HttpRequest, pk: int) -> HttpResponse:
    """Let somebody sign in again."""
    person = _person(request, pk)
    people.let_in(person=person, by=staff_of(request), at=timezone.now())
    messages.info(request, _("%(person)s can sign in again.") % {"person": person})
    return redirect("dealership:person", pk=person.pk)


@require_POST
@never_cache
@sensitive_variables("password")
@guarded(Capability.EDIT_SETTINGS)
def renew_password(request: HttpRequest, pk: int) -> HttpResponse:
    """Give somebody another password and show it, this once."""
    person = _person(request, pk)
    password = _new_password()
    people.renew_password(
        person=person, password=password, by=staff_of(request), at=timezone.now()
    )
    return _show_password(request, person, password)


patterns = [
    path("settings/staff/", staff_page, name="staff"),
    path("settings/staff/new/", new_person, name="new_person"),
    path("settings/staff/<int:pk>/", person_page, name="person"),
    path("settings/staff/<int:pk>/post/", give_post, name="give_post"),
    path(
        "settings/staff/<int:pk>/post/<int:post_pk>/take/", take_post, name="take_post"
    ),
    path("settings/staff/<int:pk>/lock/", lock_out, name="lock_out"),
    path("settings/staff/<int:pk>/unlock/", let_in, name="let_in"),
    path("settings/staff/<int:pk>/password/", renew_password, name="renew_password"),
]
