"""Buttons on pages of the rooms below that look at all of them at once, and the lists of sign-ins and roles."""

from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django import forms
from django.apps import apps
from django.contrib import admin
from django.contrib.admin.views.main import ChangeList
from django.contrib.auth.admin import GroupAdmin
from django.contrib.auth.models import Group, User
from django.db import models
from django.http import HttpRequest
from django.urls import reverse
from django.utils.timezone import localtime

from clubdesk.clock import day_text
from clubdesk.desk import erasing, history, services
from clubdesk.desk.models import ActRecord, SignInRecord
from clubdesk.desk.recording import recorded
from clubdesk.desk.signin import invitations
from clubdesk.roll.models import Household, Person
from clubdesk.rooms import RANGE_HELPER
from clubdesk.screens.fields import VerbForm
from clubdesk.screens.moved import SaysWhatMoved
from clubdesk.screens.rooms import DocumentAdmin, LogsNothing, RoomAdmin
from clubdesk.screens.scripts import OnlyItsScripts
from clubdesk.screens.tables import Section, page_of
from clubdesk.screens.verbs import Facts, LinkPage, VerbPage, signed_in
from clubdesk.verbs import may


class FamilyFilePage(LinkPage[Household]):
    slug = "file"
    title = "All that is held about them (XLSX)"
    permission = "fees.view_charge"

    def url(self, target: Household) -> str:
        return reverse("admin:household_file", args=[target.pk])


class EraseForm(VerbForm[Person]):
    sure = forms.BooleanField(label="I know that this cannot be undone")


class ErasePage(VerbPage[Person, Person]):
    slug = "erase"
    verb = erasing.erase_person
    target = "person"
    asks_again = True
    intro = (
        "Name, day of birth, voucher codes, histories, letters and entry-fee receipts go; every figure stays. With the "
        "last of a family its guardians go too. How long records are kept is for your state’s law and the "
        "club’s rules to say; ask whoever audits the books before you erase anybody’s details."
    )
    button = "Erase the details"
    form_class = EraseForm
    asks_only = ("sure",)

    def applies(self, target: Person) -> bool:
        return target.erased_on is None

    def facts(self, target: Person) -> Facts:
        until = erasing.retained_until(target)
        retained = (
            f"to {day_text(until)}, then they can be erased" if until else "no longer: nothing is recorded of them"
        )
        stays = [("What stays", sentence) for sentence in erasing.what_stays(target)]
        return [("Who", target), ("Records are kept", retained), *stays]

    def done(self, target: Person, result: Person) -> str:
        return " ".join(["The details are erased; every figure stays.", *erasing.what_stays(result)])


admin.site.unregister((User, Group, EmailAddress, Authenticator, UserSession, ActRecord))


class InviteForm(VerbForm[None]):
    name = forms.CharField(label="Name", max_length=100)
    email = forms.EmailField(label="E-mail", help_text="The invitation goes there, and so do codes and new passwords.")
    role = forms.ModelChoiceField(
        label="Role",
        queryset=Group.objects.all(),
        required=False,
        empty_label="Administrator: adds people and roles",
        initial=lambda: Group.objects.filter(name=RANGE_HELPER).first(),
    )


class InvitePage(VerbPage[None, User]):
    slug = "invite"
    verb = services.invite
    intro = (
        "They get a letter with a link that works for a week, and choose there how they sign in: by a password, or by "
        "a code in a letter each time. Who pays, decides or administers adds a second step."
    )
    button = "Send the invitation"
    form_class = InviteForm

    def done(self, target: None, result: User) -> str:
        return f"An invitation went to {result.email}."


class InviteAgainPage(VerbPage[User, User]):
    slug = "invite-again"
    verb = services.invite_again
    target = "user"
    lands_on_target = True
    asks_again = True
    intro = "Their password and earlier links work no more; the letter brings a link that works for a week."
    button = "Send it again"

    def applies(self, target: User) -> bool:
        return bool(target.email) and target.is_active

    def done(self, target: User, result: User) -> str:
        return f"An invitation went to {target.email}."


class ForgetStepPage(VerbPage[User, User]):
    slug = "forget-second-step"
    verb = services.forget_second_step
    target = "user"
    lands_on_target = True
    asks_again = True
    intro = (
        "For who has lost both phone and recovery codes. Make sure that it is they: meet them, or ring a number that "
        "you knew before. All their sessions end."
    )
    button = "Take it away"

    def applies(self, target: User) -> bool:
        return bool(Authenticator.objects.filter(user=target).exists())

    def done(self, target: User, result: User) -> str:
        return f"{target} has no second step any more, and adds a new one where the role needs it."


class EndSessionsPage(VerbPage[User, int]):
    slug = "end-sessions"
    verb = services.end_sessions
    target = "user"
    lands_on_target = True
    asks_again = True
    intro = "Whoever is signed in under this name, in whatever browser, must sign in again."
    button = "End the sessions"

    def done(self, target: User, result: int) -> str:
        return f"{result} {'session' if result == 1 else 'sessions'} ended."

    def destination(self, target: User, result: int) -> str:
        return page_of(target)


def last_records(request: HttpRequest, user: User) -> Section | None:
    """What happened lately about somebody's signing in."""
    if not may(request.user, "desk.view_signinrecord"):
        return None
    rows = [
        (
            f"{day_text(localtime(each.at))}, {localtime(each.at):%H:%M}",
            each.get_what_display(),
            each.words,
            each.address,
        )
        for each in SignInRecord.objects.filter(user=user)[:10]
    ]
    return Section("Signing in, lately", ["When", "What", "More", "From"], rows, "Nothing yet.")


@admin.register(User)
class SignInAdmin(RoomAdmin[User]):
    """Who signs in. Added by an invitation; ended by unticking “active”, never deleted."""

    list_display = ("username", "full_name", "email", "roles", "is_active")
    list_filter = ("groups", "is_superuser", "is_active")
    search_fields = ("username", "first_name", "last_name", "email")
    search_help_text = "A username, a name or an e-mail"
    fields = (("first_name", "last_name"), "email", "groups", "is_superuser", "is_active", "last_login", "date_joined")
    readonly_fields = ("last_login", "date_joined")
    add_page = InvitePage()
    pages = (InviteAgainPage(), EndSessionsPage(), ForgetStepPage())
    section_makers = (last_records,)

    def get_queryset(self, request: HttpRequest) -> models.QuerySet[User]:
        return super().get_queryset(request).prefetch_related("groups")

    def get_form(self, request: HttpRequest, *args: object, **kwargs: object) -> type[forms.ModelForm[User]]:
        kwargs["widgets"] = {"groups": forms.CheckboxSelectMultiple}
        kwargs["labels"] = {name: label for name, (label, _) in WORDS_OF_SIGN_INS.items()}
        kwargs["help_texts"] = {name: words for name, (_, words) in WORDS_OF_SIGN_INS.items()}
        form: type[forms.ModelForm[User]] = super().get_form(request, *args, **kwargs)
        return form

    @admin.display(description="Name")
    def full_name(self, user: User) -> str:
        return user.get_full_name()

    @admin.display(description="Roles")
    def roles(self, user: User) -> str:
        named = ["Administrator"] if user.is_superuser else []
        return ", ".join([*named, *(str(each) for each in user.groups.all())]) or "none"

    def save_model(self, request: HttpRequest, obj: User, form: forms.ModelForm[User], change: bool) -> None:
        """Raises Refused where an administrator is made, or changed, by somebody who is none."""
        services.refuse_beyond(obj, signed_in(request))
        if "is_superuser" in form.changed_data or "email" in form.changed_data:
            services.refuse_beyond(User.objects.get(pk=obj.pk), signed_in(request))
        obj.is_staff = True
        super().save_model(request, obj, form, change)
        invitations.knows_its_mail(obj)


WORDS_OF_SIGN_INS = {
    "groups": ("Roles", ""),
    "is_superuser": ("Administrator", "Adds people and roles, and may everything else."),
    "is_active": (
        "Active",
        "Untick it when they leave: they sign in no more, and what they did stays.",
    ),
    "email": ("E-mail", "Codes and new passwords go there."),
}


@admin.register(SignInRecord)
class SignInRecordAdmin(DocumentAdmin[SignInRecord]):
    list_display = ("at", "user", "what", "words", "address")
    list_select_related = ("user",)
    list_filter = ("what",)
    search_fields = ("user__username", "user__first_name", "user__last_name", "words", "address")
    search_help_text = "A name, a role, or an address on the network"


class KindFilter(admin.SimpleListFilter):
    """By what the rooms say is recorded, in the words of its screens."""

    title = "kind of thing"
    parameter_name = "of"

    def lookups(self, request: HttpRequest, model_admin: object) -> list[tuple[str, str]]:
        named = [(label.lower(), str(apps.get_model(label)._meta.verbose_name)) for label in recorded()]
        return sorted(named, key=lambda each: each[1].lower())

    def queryset(self, request: HttpRequest, queryset: models.QuerySet[ActRecord]) -> models.QuerySet[ActRecord]:
        app, _, model = (self.value() or "").partition(".")
        return queryset.filter(content_type__app_label=app, content_type__model=model) if model else queryset


class InSentences(ChangeList):
    """A list of acts, each with what it says; whatever they lead to is asked once for all of a page."""

    def get_results(self, request: HttpRequest) -> None:
        super().get_results(request)
        rows = list(self.result_list)
        for row, words in zip(rows, history.sentences(rows), strict=True):
            row.said = words
        self.result_list = rows


@admin.register(ActRecord)
class ActRecordAdmin(DocumentAdmin[ActRecord]):
    list_display = ("when", "said")
    list_select_related = ("actor", "family")
    list_filter = ("action", KindFilter, ("actor", admin.RelatedOnlyFieldListFilter))
    date_hierarchy = "timestamp"
    search_fields = ("object_repr", "what", "actor__username", "actor__first_name", "actor__last_name")
    search_help_text = "Who did it, what it was called that they changed, or what they were given"
    fields = ("timestamp", "said", "remote_addr")
    readonly_fields = fields

    def get_changelist(self, request: HttpRequest, **kwargs: object) -> type[ChangeList]:
        return InSentences

    @admin.display(description="When", ordering="pk")
    def when(self, row: ActRecord) -> str:
        return history.when(row)

    @admin.display(description="What")
    def said(self, row: ActRecord) -> str:
        return getattr(row, "said", "") or next(history.sentences([row]))


@admin.register(Group)
class RoleAdmin(LogsNothing[Group], SaysWhatMoved[Group], OnlyItsScripts[Group], GroupAdmin):
    search_help_text = "A role’s name"
