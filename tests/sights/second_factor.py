"""The pages of a second factor and of devices, as they look to people who have one, and on the way in."""

from collections.abc import Iterator
from typing import Any

from allauth.mfa.models import Authenticator
from django.test import Client
from django.urls import reverse

from collection import models
from tests import factories as make
from tests.codes import half_way, with_app
from tests.passkeys import with_passkey
from tests.sights.pages import HOST, Sight
from tests.worlds import TernTaproom

#: What browsers of some devices say of themselves.
AGENTS = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 Version/18.5 Mobile Safari/604.1",
    "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0",
    "curl/8.5",
)
#: Pages that change something, for someone without a second factor and for someone with one.
WITHOUT = ("mfa_activate_totp", "mfa_add_webauthn")
WITH = ("mfa_index", "mfa_list_webauthn", "mfa_deactivate_totp", "mfa_view_recovery_codes",
        "mfa_generate_recovery_codes", "mfa_add_webauthn", "mfa_reauthenticate",
        "mfa_reauthenticate_webauthn", "account_reauthenticate")  # fmt: skip


def second_factor(world: TernTaproom) -> Iterator[Sight]:
    """Yield them: Finn has none yet, Gale has an app, passkeys and devices, Hope has used all her codes."""
    finn, gale, hope = (_joined(world, name) for name in ("finn", "gale", "hope"))
    for name in WITHOUT:
        yield Sight(name, "full", finn, reverse(name))
    yield Sight("mfa_activate_totp", "error", finn, reverse(WITHOUT[0]), 422, sends=reverse(WITHOUT[0]))
    with_app(gale)
    key = with_passkey(gale, "Phone")
    with_passkey(gale, "The key on the ring of the van, for whoever drives it today", alone=False)
    for name in WITH:
        yield Sight(name, "app", gale, reverse(name))
    yield Sight("mfa_view_recovery_codes", "print", gale, reverse("mfa_view_recovery_codes"))
    edit = reverse("mfa_edit_webauthn", args=[key.pk])
    yield Sight("mfa_edit_webauthn", "full", gale, edit)
    yield Sight("mfa_edit_webauthn", "error", gale, edit, 422, sends=edit)
    yield Sight("mfa_remove_webauthn", "full", gale, reverse("mfa_remove_webauthn", args=[key.pk]))
    yield Sight("mfa_authenticate", "full", None, "/seen/code/", answer=lambda: _one_more_step(gale))
    refused = {"code": "123456"}
    yield Sight("mfa_authenticate", "error", None, "/seen/wrong/", 422, answer=lambda: _one_more_step(gale, refused))
    for agent in AGENTS:
        _signed_in(gale, agent)
    yield Sight("devices", "several", gale, reverse("devices"))
    with_app(hope)
    _use_all_codes(hope)
    for name in ("mfa_index", "mfa_view_recovery_codes"):
        yield Sight(name, "used", hope, reverse(name))


def _joined(world: TernTaproom, name: str) -> models.User:
    """Someone of the world's organization."""
    organization = world.people.alice.organization
    member = make.MembershipFactory(organization=organization, user__email=f"{name}@example.org", role="technician")
    user: models.User = member.user
    return user


def _one_more_step(user: models.User, typed: dict[str, str] | None = None) -> Any:
    """The page that asks for a code after the right password."""
    client = half_way(user, Client(SERVER_NAME=HOST))
    address = reverse("mfa_authenticate")
    return client.post(address, typed) if typed else client.get(address)


def _signed_in(user: models.User, agent: str) -> None:
    """Sign in on one more device, which says this of itself."""
    client = Client(SERVER_NAME=HOST, headers={"user-agent": agent})
    client.force_login(user)
    client.get(reverse("today"))


def _use_all_codes(user: models.User) -> None:
    codes = Authenticator.objects.get(user=user, type=Authenticator.Type.RECOVERY_CODES)
    codes.data["used_mask"] = 0b11_1111_1111
    codes.save()
