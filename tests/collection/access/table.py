"""Who gets what at every address. An address without a row here fails the test.

Columns: anonymous, Dana (signed in, no organization), Charlie (another organization's owner), Vera (reads this
site), Bob (technician), Alice (owner). Each cell is the answer's status; POST cells are for an empty form, so
422 means "may write, but nothing was filled in". Every method that is not named must be 405 for Alice.
"""

from dataclasses import dataclass, field

from django.urls import reverse

from tests.worlds import TernTaproom

IDENTITIES = ("anonymous", "dana", "charlie", "vera", "bob", "alice")


@dataclass(frozen=True)
class Row:
    """Expected status by method, one figure per identity; ``ids`` names the world's rows that fill the address,
    ``words`` what else stands in it, ``secrets`` which of the world's texts."""

    name: str
    answers: dict[str, tuple[int, ...]]
    ids: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    secrets: dict[str, str] = field(default_factory=dict)

    @property
    def keyed(self) -> bool:
        """Whether the address names a row, by its key or by its secret."""
        return bool(self.ids or self.secrets)

    def address(self, taproom: TernTaproom) -> str:
        """The address of this row's page about the taproom's own things."""
        ids = {name: getattr(taproom, world).pk for name, world in self.ids.items()}
        secrets = {name: getattr(taproom, world) for name, world in self.secrets.items()}
        return reverse(self.name, kwargs={**self.words, **secrets, **ids})


def list_page(name: str) -> Row:
    """Return a row for a list: everyone sees their own."""
    return Row(name, {"GET": (302, 302, 200, 200, 200, 200)})


def new_page(name: str) -> Row:
    """Return a row for a page that adds something at the top level."""
    return Row(name, {"GET": (302, 302, 200, 403, 200, 200), "POST": (302, 302, 422, 403, 422, 422)})


def detail(name: str, pk: str) -> Row:
    """Return a row for a page about one thing of the Tern Taproom."""
    return Row(name, {"GET": (302, 302, 404, 200, 200, 200)}, {"pk": pk})


def edit(name: str, pk: str) -> Row:
    """Return a row for a page that changes one thing, or adds something below it."""
    return Row(name, {"GET": (302, 302, 404, 403, 200, 200), "POST": (302, 302, 404, 403, 422, 422)}, {"pk": pk})


def owners(name: str, pk: str) -> Row:
    """Return a row for a page by which an owner decides about one thing."""
    return Row(name, {"GET": (302, 302, 404, 403, 403, 200), "POST": (302, 302, 404, 403, 403, 422)}, {"pk": pk})


def history_of(name: str) -> Row:
    """Return a row for the page that tells what was done to one thing, for those who may write."""
    return Row(f"{name}_history", {"GET": (302, 302, 404, 403, 200, 200)}, {"pk": name})


def press(name: str, pk: str, done: int = 302) -> Row:
    """Return a row for a button that writes at once."""
    return Row(name, {"POST": (302, 302, 404, 403, done, done)}, {"pk": pk})


def press_on_a_page(name: str, pk: str) -> Row:
    """Return a row for a button whose refusal is told on another page: its address leads there."""
    return Row(name, {"GET": (302, 302, 404, 403, 302, 302), "POST": (302, 302, 404, 403, 422, 422)}, {"pk": pk})


def account(name: str, get: tuple[int, int], post: tuple[int, int] | None = None, **words: str) -> Row:
    """Return a row for a page of one's own account: (anonymous, signed in), whatever the organization."""
    answers = {"GET": get, **({"POST": post} if post else {})}
    return Row(name, {method: (first, *(second,) * 5) for method, (first, second) in answers.items()}, words=words)


#: The account library's pages. Who is signed in has no business at sign-in and sign-up and goes on to Today.
#: Nobody has a second way to sign in, so the page for a sent code always leads back. A POST to the page of
#: addresses without a button's name changes nothing and shows it again.
ACCOUNT_ROWS = [
    account("account_login", (200, 302), (422, 302)),
    account("account_signup", (200, 302), (422, 302)),
    account("account_logout", (302, 200), (302, 302)),
    account("account_inactive", (200, 200)),
    account("account_reauthenticate", (302, 200), (302, 422)),
    account("account_email", (302, 200), (302, 302)),
    account("account_email_verification_sent", (200, 200)),
    account("account_confirm_email", (200, 200), (404, 404), key="no-such-key"),
    account("account_change_password", (302, 200), (302, 422)),
    account("account_set_password", (302, 302), (302, 302)),
    account("account_reset_password", (200, 200), (422, 422)),
    account("account_reset_password_done", (200, 200)),
    account("account_reset_password_from_key", (200, 200), (422, 422), uidb36="1", key="no-such-key"),
    account("account_reset_password_from_key_done", (200, 200)),
    account("account_confirm_login_code", (302, 302), (302, 302)),
    # The second factor. Nobody here has one, and what changes it first asks who it is (302), whatever the method.
    account("mfa_index", (302, 200), (302, 405)),
    account("mfa_authenticate", (302, 302), (302, 302)),
    account("mfa_reauthenticate", (302, 302), (302, 302)),
    account("mfa_activate_totp", (302, 302), (302, 302)),
    account("mfa_deactivate_totp", (302, 404), (302, 404)),
    account("mfa_view_recovery_codes", (302, 404), (302, 405)),
    account("mfa_download_recovery_codes", (302, 404), (302, 404)),
    account("mfa_generate_recovery_codes", (302, 302), (302, 302)),
    account("mfa_list_webauthn", (302, 200), (302, 405)),
    account("mfa_add_webauthn", (302, 302), (302, 302)),
    account("mfa_edit_webauthn", (302, 302), (302, 302), pk="1"),
    account("mfa_remove_webauthn", (302, 302), (302, 302), pk="1"),
    account("mfa_login_webauthn", (302, 302), (302, 302)),
    account("mfa_reauthenticate_webauthn", (302, 302), (302, 302)),
    account("devices", (302, 200)),
    Row("devices_end", {"GET": (302,) * 6, "POST": (302,) * 6}),
    Row("device_end", {"GET": (302,) * 6, "POST": (302,) * 6}, words={"pk": "1"}),
]

ROWS = [
    *ACCOUNT_ROWS,
    Row("welcome", {"GET": (200, 302, 302, 302, 302, 302)}),
    # The quick answer asks no table and is for everyone.
    Row("quick", {"GET": (200, 200, 200, 200, 200, 200)}),
    Row("guide", {"GET": (200, 200, 200, 200, 200, 200)}),
    # Who acts, and a token, for the page's script: nobody learns more than their own name.
    Row("acting", {"GET": (200, 200, 200, 200, 200, 200)}),
    # One word for a monitor: the same for everyone.
    Row("health", {"GET": (200, 200, 200, 200, 200, 200)}),
    list_page("today"),
    list_page("due"),
    list_page("sites"),
    new_page("site_new"),
    detail("site", "site"),
    detail("site_sheet", "site"),
    edit("site_edit", "site"),
    edit("floor_new", "site"),
    detail("floor", "floor"),
    edit("floor_edit", "floor"),
    edit("floor_slope", "floor"),
    edit("bay_new", "floor"),
    detail("bay", "bay"),
    edit("bay_edit", "bay"),
    edit("bay_slope", "bay"),
    edit("plan_new", "machine"),
    detail("plan", "plan"),
    detail("plan_work", "plan"),
    detail("plan_sheet", "plan"),
    press_on_a_page("plan_turned", "plan"),
    press_on_a_page("plan_sign_off", "plan"),
    press_on_a_page("plan_set_aside", "plan"),
    list_page("machines"),
    new_page("machine_new"),
    detail("machine", "machine"),
    edit("machine_edit", "machine"),
    edit("machine_legs", "machine"),
    edit("machine_spec", "machine"),
    edit("machine_move", "machine"),
    edit("survey_new", "machine"),
    # The live answer says softly what is not clear, so an empty form is 200.
    press("survey_answer", "machine", done=200),
    detail("survey", "survey"),
    edit("survey_correct", "survey"),
    edit("quick_check_new", "paired_machine"),
    detail("quick_check", "quick_check"),
    # A label needs nothing but the press; where one stands, the page without its key changes nothing.
    Row(
        "machine_label",
        {"GET": (302, 302, 404, 403, 200, 200), "POST": (302, 302, 404, 403, 302, 302)},
        {"pk": "machine"},
    ),
    edit("report_close", "report"),
    # Whoever stands at the machine: the secret on its label is the right, and no account adds to it.
    Row("report", {"GET": (200,) * 6, "POST": (422,) * 6}, secrets={"token": "report_token"}),
    Row("report_thanks", {"GET": (200,) * 6}),
    list_page("instruments"),
    new_page("instrument_new"),
    # Instruments belong to no site, so site viewers do not reach them.
    Row("instrument", {"GET": (302, 302, 404, 404, 200, 200)}, {"pk": "instrument"}),
    edit("instrument_edit", "instrument"),
    edit("instrument_zero", "instrument"),
    edit("instrument_event", "instrument"),
    edit("vial_new", "machine"),
    edit("vial_pair_new", "vial"),
    edit("vial_pair_leave_out", "vial_pair"),
    # As instruments: site viewers do not reach them.
    Row("vial_strip", {"GET": (302, 302, 404, 404, 200, 200)}, {"pk": "vial"}),
    # Beside its own site a thing's history may name others, so site viewers do not reach it.
    *(
        history_of(name)
        for name in ("organization", "site", "floor", "bay", "machine", "instrument", "survey", "plan", "quick_check")
    ),
    Row("history", {"GET": (302, 302, 200, 403, 403, 200)}),
    list_page("organization"),
    # About the server and one's own book: the owner of another organization sees his own.
    Row("organization_health", {"GET": (302, 302, 200, 403, 403, 200)}),
    Row("organization_edit", {"GET": (302, 302, 200, 403, 403, 200), "POST": (302, 302, 422, 403, 403, 422)}),
    Row("organization_new", {"GET": (302, 200, 200, 200, 200, 200), "POST": (302, 422, 422, 422, 422, 422)}),
    # Alice and Charlie are the only owners of theirs, so they cannot leave; the others leave at once.
    Row("organization_leave", {"GET": (302, 302, 200, 200, 200, 200), "POST": (302, 302, 422, 302, 302, 422)}),
    owners("colleague_edit", "colleague"),
    owners("colleague_end", "colleague"),
    owners("colleague_hand_over", "colleague"),
    Row("invitation_new", {"GET": (302, 302, 200, 403, 403, 200), "POST": (302, 302, 422, 403, 403, 422)}),
    owners("invitation_send", "invitation"),
    owners("invitation_withdraw", "invitation"),
    # A link that works no more, and its pages before any link was opened, look alike to everyone.
    Row("invitation_open", {"GET": (404,) * 6}, words={"token": "no-such-token"}),
    Row("invitation_accept", {"GET": (404,) * 6, "POST": (404,) * 6}),
    Row("invitation_account", {"GET": (404,) * 6, "POST": (404,) * 6}),
    Row("invitation_sign_out", {"POST": (302,) * 6}),
    Row("organization_choose", {"GET": (302,) * 6, "POST": (302, 404, 404, 404, 404, 404)}),
]
