"""What people write while the server is killed: one sending after the other, each with what must then be stored.

A worker is a generator: it yields a Sending and is given the Answer. It goes on as that answer tells.
"""

import random
import re
import uuid
from collections import Counter
from collections.abc import Generator
from dataclasses import dataclass
from itertools import count, cycle
from typing import Any

from tests.collection.views.test_sent_twice import LEVEL, PLAN, SPEC
from tests.harness.senders import Answer
from tests.harness.stored import Mark, plain
from tests.surveying import sent


@dataclass(frozen=True)
class Sending:
    """One form as it is sent, and the mark that the history bears once it is stored: noun, row, field, value."""

    path: str
    data: dict[str, str]
    mark: Mark


Worker = Generator[Sending, Answer]
SITE = {"time_zone": "UTC", "notes": ""}
BAY = {"heading_deg": "90", "x_mm": "1500", "y_mm": "2500", "front_reachable": "on"}


def short_writes(world: dict[str, Any], place: int) -> Worker:
    """Edit a site, a bay and a level of one's own in turn, and now and then add one."""
    site, bay, level = (world[noun][place] for noun in ("sites", "bays", "instruments"))
    versions = {"site": 1, "bay": 1, "instrument": 1}
    edits: dict[str, tuple[str, str, dict[str, str], str]] = {
        "site": (f"/sites/{site}/edit/", site, {"name": f"Site {place}", **SITE}, "address"),
        "bay": (f"/bays/{bay}/edit/", bay, BAY, "name"),
        "instrument": (f"/instruments/{level}/edit/", level, LEVEL, "name"),
    }
    adds = {
        "site": ("/sites/new/", SITE, "name"),
        "bay": (f"/floors/{world['floor']}/bays/new/", BAY, "name"),
        "instrument": ("/instruments/new/", LEVEL, "name"),
    }
    for number, noun in enumerate(cycle(edits)):
        key, words = str(uuid.uuid4()), f"{noun} {place}-{number}"
        if number % 10 == 9:
            path, typed, name = adds[noun]
            yield Sending(path, {**typed, name: words, "write_key": key}, (noun, plain(key), name, words))
            continue
        path, row, typed, name = edits[noun]
        data = {**typed, name: words, "version": str(versions[noun]), "write_key": key}
        answer = yield Sending(path, data, (noun, plain(row), name, words))
        versions[noun] = versions[noun] + 1 if answer.is_done else version_shown(answer, versions[noun])


def version_shown(answer: Answer, otherwise: int) -> int:
    """The version that the page of a refused edit holds now."""
    found = re.search(r'name="version" value="(\d+)"', answer.body)
    return int(found[1]) if found else otherwise


def long_writes(world: dict[str, Any], place: int) -> Worker:
    """Survey machines of one's own, make a leg plan, turn its lifts; now and then another spec."""
    mine = world["machines"][place :: len(world["people"])]
    rng, specs = random.Random(place), Counter(each["machine"] for each in mine)
    for number in count():
        machine = mine[number % len(mine)]["machine"]
        steep = 6.5 + rng.choice((-0.4, 0.4)) if number // len(mine) % 2 else 6.5 - 0.4
        yield survey(world, machine, f"{steep:.1f}", f"{place}-{number}")
        if number % 7 == 6:
            yield spec(machine, specs[machine], f"{place}-{number}")
            specs[machine] += 1
        answer = yield plan(machine)
        plan_path, lift = answer.location, 1
        while answer.is_done and lift <= 2 and not answer.location.endswith("#after"):
            answer = yield turn(plan_path, lift)
            lift += 1


def survey(world: dict[str, Any], machine: str, along: str, words: str) -> Sending:
    """A survey with three readings: of the board, four feet bearing."""
    key = str(uuid.uuid4())
    rows = (("along", along, "rear"), ("across", "0.2", "left"), ("across", "0.3", "left"))
    data = sent(world["level"], *rows, note=words, write_key=key)
    return Sending(f"/machines/{machine}/surveys/new/", data, ("survey", plain(key), "note", words))


def spec(machine: str, version: int, words: str) -> Sending:
    """Another spec, with its reason, beside the so many that the machine has."""
    key = str(uuid.uuid4())
    data = {**SPEC, "pitch_deg": "6.5", "version": str(version), "why": words, "write_key": key}
    return Sending(f"/machines/{machine}/spec/", data, ("spec", plain(key), "why", words))


def plan(machine: str) -> Sending:
    """A leg plan from the newest survey; an unfinished one is set aside by it."""
    key = str(uuid.uuid4())
    return Sending(f"/machines/{machine}/plans/new/", {**PLAN, "write_key": key}, ("plan", plain(key), "", ""))


def turn(plan_path: str, lift: int) -> Sending:
    """One lift, turned as the plan shows."""
    data = {"lift": str(lift), "as_shown": "on", "write_key": str(uuid.uuid4())}
    return Sending(f"{plan_path}turned/", data, ("adjustment", plain(plan_path.split("/")[2]), "lift", str(lift)))
