"""Builds what the harnesses write to, in the database that the settings name, and prints its keys as JSON.

Run by `books.py` in a process of its own: `python -m tests.harness.world PEOPLE MACHINES`.
"""

import json
import os
import sys
from typing import Any

import django

if __name__ == "__main__":  # run by itself, Django is not ready yet
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "collection.settings")
    django.setup()

from django.conf import settings
from django.core.management import call_command
from django.test import Client

from collection import models
from tests import factories as make
from tests.worlds import TernTaproom, tern_taproom


def people_of(taproom: TernTaproom, count: int) -> list[dict[str, str]]:
    """Technicians of Alice's, each signed in: the key of the person, and the session that a browser would hold."""
    found = []
    for number in range(count):
        user = models.User.objects.create(email=f"hand{number}@example.org", password="!")
        member = make.MembershipFactory(
            organization=taproom.site.organization, user=user, role="technician", created_at=make.NOON
        )
        client = Client()
        client.force_login(user)
        signed = {"session": client.cookies["sessionid"].value, "signature": member.signature}
        found.append({"member": str(member.pk), **signed})
    return found


def machines_of(taproom: TernTaproom, count: int) -> list[dict[str, str]]:
    """Machines on bays of their own, without a survey yet."""
    alice = taproom.people.alice
    found = []
    for number in range(count):
        bay = make.BayFactory(member=alice, floor=taproom.floor, name=f"Stand {number}")
        machine = make.MachineFactory(member=alice, bay=bay, title=f"Lantern Reef {number}", code=f"H-{number}")
        found.append({"machine": str(machine.pk), "bay": str(bay.pk)})
    return found


def rows_of(taproom: TernTaproom, count: int) -> dict[str, list[str]]:
    """Sites, bays and levels to edit."""
    alice = taproom.people.alice
    return {
        "sites": [str(make.SiteFactory(member=alice, name=f"Site {number}", address="").pk) for number in range(count)],
        "bays": [
            str(make.BayFactory(member=alice, floor=taproom.floor, name=f"Edge {number}").pk) for number in range(count)
        ],
        "instruments": [
            str(make.InstrumentFactory(member=alice, name=f"Level {number}").pk) for number in range(count)
        ],
    }


def build(people: int, machines: int) -> dict[str, Any]:
    """Make the world and return its keys as text."""
    taproom = tern_taproom()
    return {
        "organization": str(taproom.site.organization_id),
        "floor": str(taproom.floor.pk),
        "level": str(taproom.instrument.pk),
        "people": people_of(taproom, people),
        "machines": machines_of(taproom, machines),
        **rows_of(taproom, people),
    }


if __name__ == "__main__":
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # nobody types a password here
    call_command("migrate", verbosity=0)
    sys.stdout.write(json.dumps(build(int(sys.argv[1]), int(sys.argv[2]))))
