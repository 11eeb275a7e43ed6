"""An owner who edits a book at random: by every form, by actions, with stale pages, twice, and by corrections.

Colleagues come and go meanwhile, and strangers report what they see.
"""

import datetime
import random
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django import forms
from django.test import Client
from django.utils import timezone

from collection import models
from collection.access import visible
from collection.actions import instruments, invitations, machines, people, plans, quick_checks, reports, surveys, vials
from collection.actions.instruments import Shown
from collection.actions.plans import Turned
from collection.actions.record import ActionRefused, Actor, Author
from collection.models.plans import TASKS
from collection.models.reports import PROBLEMS
from collection.queries.machines import free_bays
from tests.collection.access.table import ROWS, Row
from tests.collection.forms.test_hostile_posts import FormReader
from tests.surveying import across, along, sent

WORDS = ("Marsh", "Tern", "Kettle", "Lantern", "Reef", "Heron", "Dune", "Ferry", "Paper", "Weather", "Millpond", "Quay",
         "−0.5 °", "½ “quoted”", "O’Neil & Sons", "<b>bold</b>", "Ünïcödé")  # fmt: skip
#: Which rows an address may be about, by the name that the access table has for them.
TABLES: dict[str, tuple[type[Any], dict[str, Any]]] = {
    "site": (models.Site, {}), "floor": (models.Floor, {}), "bay": (models.Bay, {}), "machine": (models.Machine, {}),
    "paired_machine": (models.Machine, {}), "survey": (models.Survey, {}), "plan": (models.Plan, {}),
    "instrument": (models.Instrument, {}), "vial": (models.Instrument, {"kind": "vial"}),
    "vial_pair": (models.VialPair, {}), "quick_check": (models.QuickCheck, {}),
    "colleague": (models.Membership, {"role__in": ("technician", "viewer"), "ended_at": None}),
    "invitation": (models.Invitation, {}), "report": (models.Report, {"closed_at": None}),
}  # fmt: skip
#: They would found another book, or take this one out of the editor's hands.
AWAY = {"organization_new", "organization_leave", "colleague_hand_over"}
#: Pages with a form that writes.
FORMS = [
    row for row in ROWS
    if row.answers.get("POST", (0,))[-1] == 422 and row.answers.get("GET", (0,))[-1] == 200
    and row.name not in AWAY and not row.name.startswith("account_") and row.ids.keys() <= {"pk"}
    and not row.secrets and set(row.ids.values()) <= TABLES.keys()
]  # fmt: skip
EDITS = [row for row in FORMS if row.name.endswith("_edit") or row.name in ("machine_legs", "machine_move")]


class Nothing(Exception):
    """What this needs is not in the book yet."""


@dataclass
class Editor:
    """One owner with two windows, who edits one book; ``by`` counts what was saved, by path."""

    member: models.Membership
    rng: random.Random
    saved: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    windows: tuple[Client, Client] = field(default_factory=lambda: (Client(), Client()))

    def __post_init__(self) -> None:
        for window in self.windows:
            window.force_login(self.member.user)

    def edit(self) -> None:
        """Do one thing at random."""
        path, act = self.rng.choices(list(self._paths()), weights=[4, 1, 1, 1, 1, 2, 4])[0]
        before = self._lines()
        try:
            act()
        except (ActionRefused, Nothing) as refused:
            self.refused[f"{path}: {type(refused).__name__}"] += 1
        if self._lines() > before:
            self.saved[path] += 1

    def begin(self) -> None:
        """Put one of each thing into an empty book, by its forms."""
        for name, typed in (("site_new", {"name": "Tern Taproom", "time_zone": "Europe/Dublin"}),
                            ("floor_new", {"name": "Main room"}), ("bay_new", {"name": "Bay 1"}),
                            ("instrument_new", {"name": "Level"}), ("machine_new", {"title": "Lantern Reef"}),
                            ("floor_slope", None), ("survey_new", None)):  # fmt: skip
            row = next(row for row in FORMS if row.name == name)
            url, shown = self._page(row, changed=typed is None)
            answer = self._send(row, shown | (typed or {}), url)
            assert answer.status_code == 302, (name, answer.status_code)

    def _paths(self) -> Iterator[tuple[str, Callable[[], Any]]]:
        yield "form", self._by_form
        yield "htmx", lambda: self._by_form(HTTP_HX_REQUEST="true")
        yield "kept on a device", self._kept
        yield "sent twice", self._twice
        yield "stale", self._stale
        yield "correction", self._correct
        yield "action", self._by_action

    def _lines(self) -> int:
        return models.Change.objects.for_org(self.member.organization_id).count()

    def _author(self, why: str = "") -> Author:
        return Author(member=self.member, at=timezone.now(), key=uuid.uuid4(), why=why)

    def _any(self, table: type[Any], **fields: Any) -> Any:
        of_people = models.Membership.objects.filter(organization=self.member.organization_id)
        mine = of_people if table is models.Membership else visible(self.member, table)
        rows = mine.filter(**fields).order_by("created_at", "pk")  # the same for the same seed
        keys = list(rows.values_list("pk", flat=True))
        if not keys:
            raise Nothing
        return mine.get(pk=self.rng.choice(keys))

    def _words(self) -> str:
        return f"{self.rng.choice(WORDS)} {self.rng.choice(WORDS)} {self.rng.randrange(1000)}"

    # --- by the forms of pages -----------------------------------------------------------

    def _page(self, row: Row, *, changed: bool = True) -> tuple[str, dict[str, str]]:
        """The address of a page about something at random, and what a browser would send from it with a few changes."""
        table, fields = TABLES.get(row.ids.get("pk", ""), (None, {}))
        thing = self._any(table, **fields) if table else None
        url = Row(row.name, {}, {}, row.words | ({"pk": thing.pk} if thing else {})).address(None)  # type: ignore[arg-type]
        answer = self.windows[0].get(url, follow=True)
        if answer.status_code != 200 or answer.context is None or "form" not in answer.context:
            raise Nothing
        typed = FormReader(answer.content.decode()).sent
        changes = self._changes(answer.context["form"], row.name) if changed else {}
        return answer.request["PATH_INFO"], typed | changes

    def _changes(self, form: Any, name: str) -> dict[str, str]:
        filled = {"survey_new": self._survey, "survey_correct": self._survey, "floor_slope": self._slope,
                  "bay_slope": self._slope, "instrument_zero": self._zero, "vial_pair_new": self._pair,
                  "quick_check_new": self._quick, "invitation_new": self._invited}.get(name)  # fmt: skip
        if filled:
            return filled()
        shown = [each for each in form.fields if not form[each].is_hidden]
        some = self.rng.sample(shown, k=min(len(shown), self.rng.randint(1, 3)))
        some += [each for each in shown if form.fields[each].required and not form[each].value() and each not in some]
        return {each: text for each in some if (text := self._typed(form.fields[each])) is not None}

    def _typed(self, asked: Any) -> str | None:
        """What someone types into a field: None leaves it as it is."""
        if hasattr(asked, "low"):
            low, high = max(asked.low, 0.0), min(asked.high, 2000.0)
            return f"{self.rng.uniform(low, high):.{self.rng.randint(1, 3)}f}"
        if isinstance(asked, forms.BooleanField):
            return self.rng.choice(("on", ""))
        choices = list(_flat(getattr(asked, "choices", None) or getattr(asked.widget, "choices", ())))
        if choices:
            return str(self.rng.choice(choices))
        return self._words()[: asked.max_length] if isinstance(asked, forms.CharField) else None

    def _send(self, row: Row, typed: dict[str, str], url: str, window: int = 0, **headers: str) -> Any:
        sent = {name: value for name, value in typed.items() if value != ""}
        answer = self.windows[window].post(url, sent, **headers)
        assert answer.status_code in (200, 201, 302, 409, 422), (url, answer.status_code)
        if answer.status_code in (409, 422):
            self.refused[f"{row.name}: {answer.status_code}"] += 1
        return answer

    def _by_form(self, **headers: str) -> None:
        row = self.rng.choice(FORMS)
        url, typed = self._page(row)
        self._send(row, typed, url, **headers)

    def _kept(self) -> None:
        self._by_form(HTTP_X_KEEP=self.member.signature, HTTP_X_KEEP_WAITED=str(self.rng.randrange(600)))

    def _twice(self) -> None:
        row = self.rng.choice(FORMS)
        url, typed = self._page(row)
        first = self._send(row, typed, url)
        lines = self._lines()
        second = self._send(row, typed, url)
        assert (second.status_code, self._lines()) == (first.status_code, lines), url

    def _stale(self) -> None:
        """Two windows on one thing: the second to save is told so, and saves over it once it has seen that."""
        row = self.rng.choice(EDITS)
        url, mine = self._page(row)
        other = self.windows[1].get(url)
        theirs = FormReader(other.content.decode()).sent | self._changes(other.context["form"], row.name)
        if self._send(row, theirs, url, window=1).status_code != 302:
            return
        answer = self._send(row, mine, url)
        if answer.status_code == 409:
            self._send(row, FormReader(answer.content.decode()).sent, url)

    # --- what cannot be typed at random ----------------------------------------------------

    def _survey(self) -> dict[str, str]:
        level = self._any(models.Instrument, kind="digital_level", archived_at=None)
        rows = [("along", f"{self.rng.uniform(5.5, 7.4):.2f}", "rear"),
                ("across", f"{self.rng.uniform(0, 0.6):.2f}", self.rng.choice(("left", "right")))]  # fmt: skip
        return sent(level.pk, *rows, note=self._words(), why=self._words())

    def _slope(self) -> dict[str, str]:
        return {
            "readings-TOTAL_FORMS": "2", "readings-INITIAL_FORMS": "2", "why": self._words(), "unit": "deg",
            "readings-0-amount": f"{self.rng.uniform(0, 1):.2f}", "readings-0-rises_toward": "0",
            "readings-1-amount": f"{self.rng.uniform(0, 1):.2f}", "readings-1-rises_toward": "90",
        }  # fmt: skip

    def _zero(self) -> dict[str, str]:
        first, turned = (f"{self.rng.uniform(0, 0.3):.2f}" for _ in range(2))
        side = self.rng.choice(("left", "right"))
        return {"first": first, "first_high": "right", "unit": "deg", "turned": turned, "turned_high": side}

    def _pair(self) -> dict[str, str]:
        level = self._any(models.Instrument, kind="digital_level", archived_at=None)
        lines, (side, high) = self.rng.choice(("0.5", "1")), self.rng.choice((("rear", "rear"), ("right", "right")))
        shown = f"{self.rng.uniform(5, 8):.1f}"
        return {"level": str(level.pk), "shown": shown, "unit": "deg", "high_end": high, "lines": lines, "side": side}

    def _quick(self) -> dict[str, str]:
        return {"place": "glass", "pitch": f"{self.rng.uniform(4, 6):.1f}", "pitch_high": "rear",
                "roll": f"{self.rng.uniform(0, 0.4):.1f}", "roll_high": "left"}  # fmt: skip

    def _invited(self) -> dict[str, str]:
        role, site = self.rng.choice(("technician", "viewer")), self._any(models.Site)
        return {"email": f"{self.rng.randrange(10**9)}@example.org", "role": role, "sites": str(site.pk)}

    # --- by actions ------------------------------------------------------------------------

    def _correct(self) -> None:
        """Correct a survey, or leave a pair out."""
        if self.rng.random() < 0.3:
            vials.leave_out(by=self._author(self._words()), pair=self._any(models.VialPair))
            return
        survey = self._any(models.Survey)
        level = self._any(models.Instrument, kind="digital_level")
        surveys.correct_survey(
            by=self._author(self._words()), survey=survey, instrument=level, readings=self._readings(), stance="unknown"
        )

    def _by_action(self) -> None:
        does = (self._work, self._work, self._work, self._record, self._record, self._check, self._teach, self._move,
                self._drop, self._spec, self._invite, self._join, self._leave, self._label, self._tell)  # fmt: skip
        self.rng.choice(does)()

    def _readings(self) -> list[dict[str, Any]]:
        turned = {"turned_value": round(self.rng.uniform(6, 7), 2)} if self.rng.random() < 0.3 else {}
        pitch, roll = round(self.rng.uniform(5.8, 7.2), 2), round(self.rng.uniform(0, 0.5), 2)
        return [along(pitch, spot="middle", **turned), across(roll, self.rng.choice(("left", "right")), spot="middle")]

    def _record(self) -> None:
        level = self._any(models.Instrument, kind="digital_level")
        feet: dict[str, Any] = self.rng.choice((
            {"stance": "all_bearing"}, {"stance": "FL", "gap": 0.6, "gap_text": "0.6"},
            {"stance": "weighed", "weights_kg": (20, 25, 30, 33), "weights_text": ("20", "25", "30", "33")},
        ))  # fmt: skip
        surveys.record_survey(
            by=self._author(), machine=self._any(models.Machine), instrument=level, readings=self._readings(), **feet
        )

    def _work(self) -> None:
        """Go on with a leg plan, or make one."""
        unfinished = (
            visible(self.member, models.Plan).filter(state__in=("open", "turned")).order_by("created_at").first()
        )
        if unfinished is None or self.rng.random() < 0.1:
            machine, source = self._any(models.Machine), self.rng.choice(("survey", "survey", "floor"))
            plans.make_plan(by=self._author(), machine=machine, source=source)
        elif self.rng.random() < 0.15:
            plans.set_aside(by=self._author(self._words()), plan=unfinished)
        elif unfinished.state == "turned" or unfinished.outcome == "in_spec":
            done = self.rng.sample(TASKS, k=self.rng.randrange(5))
            plans.sign_off(by=self._author(), plan=unfinished, tasks=done, remark=self._words())
        else:
            lift = unfinished.adjustments.values("lift").distinct().count() + 1
            frees = unfinished.answer["lifts"][lift - 1]["frees"] if unfinished.answer.get("lifts") else []
            turned = {leg: Turned(step, str(step)) for leg in frees for step in [self.rng.choice((-0.5, 0.25, 0.5))]}
            typed = turned if self.rng.random() < 0.4 else None
            plans.record_turns(by=self._author(), plan=unfinished, lift=lift, turns_by_leg=typed)

    def _check(self) -> None:
        first, turned = (round(self.rng.uniform(0, 0.4), 2) for _ in range(2))
        instruments.check_zero(
            by=self._author(), instrument=self._any(models.Instrument, kind="digital_level"), unit="deg",
            first=Shown(f"{first:g}", first, "right"), turned=Shown(f"{turned:g}", turned, "left"),
        )  # fmt: skip

    def _teach(self) -> None:
        """Read the glass, beside the newest survey of a machine or alone."""
        machine, level = self._any(models.Machine), self._any(models.Instrument, kind="digital_level")
        newest = machine.surveys.order_by("-measured_at", "-id").first() if self.rng.random() < 0.7 else None
        quick_checks.record_quick_check(
            by=self._author(), machine=machine, instrument=level, place="glass", unit="deg", pair_with=newest,
            pitch=Shown("5.1", 5.1, "rear"), roll=Shown("0.2", 0.2, "left"),
        )  # fmt: skip

    def _move(self) -> None:
        machine = self._any(models.Machine)
        bays = [uuid.UUID(str(key)) for key in _flat(free_bays(member=self.member))]
        machines.move_machine(
            by=self._author(), machine=machine, version=machine.version, why=self._words(),
            bay=self.rng.choice([None, *bays]),
        )  # fmt: skip

    def _drop(self) -> None:
        at = timezone.now() - datetime.timedelta(minutes=self.rng.randrange(5000))
        instruments.record_event(
            by=self._author(), instrument=self._any(models.Instrument), kind=self.rng.choice(("dropped", "repaired")),
            happened_at=at, note=self._words(),
        )  # fmt: skip

    def _spec(self) -> None:
        machine = self._any(models.Machine)
        machines.set_spec(
            by=self._author(), machine=machine, version=machine.specs.count(), why=self._words(),
            pitch_tolerance_deg=0.2, pitch_deg=round(self.rng.uniform(6, 7), 2), roll_tolerance_deg=0.15,
            gap_tolerance_mm=0.5,
        )  # fmt: skip

    def _invite(self) -> None:
        """Invite somebody new, or withdraw an invitation."""
        if self.rng.random() < 0.2:
            invitation = self._any(models.Invitation)
            invitations.withdraw_invitation(by=self._author(), invitation=invitation, version=invitation.version)
            return
        invited = self._invited()
        invitations.send_invitation(
            by=self._author(), email=invited["email"], role=invited["role"], sites=[uuid.UUID(invited["sites"])],
            send=lambda invitation, token: None,
        )  # fmt: skip

    def _join(self) -> None:
        """Somebody who was invited joins, with an account of their own."""
        invitation = self._any(models.Invitation, accepted_at=None, withdrawn_at=None)
        user = people.create_user(email=invitation.email)
        invitations.accept_invitation(user=user, invitation=invitation, at=timezone.now(), key=uuid.uuid4())

    def _leave(self) -> None:
        table, fields = TABLES["colleague"]
        colleague = self._any(table, **fields)
        people.leave_organization(by=Actor(member=colleague, at=timezone.now(), key=uuid.uuid4(), why=self._words()))

    def _label(self) -> None:
        """Give a machine a label, or another one."""
        machine = self._any(models.Machine)
        standing = machine.report_links.filter(ended_at=None).first()
        reports.make_label(by=self._author(), machine=machine, replaces=standing.pk if standing else None)

    def _tell(self) -> None:
        """A stranger tells what is wrong with a machine, which leaves no line; the owner may close it."""
        link, problem = self._any(models.ReportLink, ended_at=None), self.rng.choice(PROBLEMS)
        told = reports.report_problem(link=link, problem=problem, key=uuid.uuid4(), at=timezone.now())
        if self.rng.random() < 0.5:
            reports.close_report(by=self._author(self._words()), report=told)


def _flat(choices: Any) -> Iterator[Any]:
    """The values of a list of choices, those in groups too; not the empty one."""
    for value, words in choices:
        if isinstance(words, list | tuple):
            yield from _flat(words)
        elif value not in ("", None, "off"):
            yield value
