"""Pages about devices: where one is signed in to the account, and signing out there."""

from typing import Any

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from collection.actions.devices import end_devices
from collection.queries.devices import devices_of
from collection.views.doors import page, pressed


@require_safe
@never_cache
@login_required
def device_list(request: Any) -> HttpResponse:
    """Where the account is signed in: this device first, then the others, the last seen first."""
    devices = devices_of(user=request.user)
    here = [device for device in devices if device.session_key == request.session.session_key]
    others = [device for device in devices if device not in here]
    return page(request, "devices/list.html", {"here": here, "others": others})


@pressed("devices")
@never_cache
@reauthentication_required(app="allauth.account")
def device_end(request: Any, pk: int) -> HttpResponse:
    """Sign out on one device."""
    ended = [device for device in devices_of(user=request.user) if device.pk == pk]
    if not ended:
        raise Http404
    end_devices(request=request, devices=ended)
    messages.success(request, "That device is signed out.")
    return redirect("devices")


@pressed("devices")
@never_cache
@reauthentication_required(app="allauth.account")
def devices_end(request: Any) -> HttpResponse:
    """Sign out on every other device; on this one too if asked."""
    devices = devices_of(user=request.user)
    others = [device for device in devices if device.session_key != request.session.session_key]
    end_devices(request=request, devices=others)
    if "here" in request.POST:
        logout(request)
        messages.success(request, "You are signed out everywhere.")
        return redirect("account_login")
    messages.success(request, "All other devices are signed out.")
    return redirect("devices")
