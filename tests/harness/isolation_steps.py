"""All steps of the walk, in the order in which they run."""

from django.db import transaction

from tests.harness.isolation_bodies import body_steps, query_steps
from tests.harness.isolation_chains import chain_steps
from tests.harness.isolation_journeys import journey_steps
from tests.harness.isolation_mail import mail_steps
from tests.harness.isolation_matrix import matrix_steps
from tests.harness.isolation_people import people_steps
from tests.harness.isolation_secrets import secret_steps
from tests.harness.isolation_sendings import Sending, sendings
from tests.harness.isolation_walk import Step, Walk
from tests.harness.isolation_world import TwoBooks


def all_steps(books: TwoBooks, *, short: bool = False) -> list[Step]:
    """Return the steps of every part; ``short`` keeps of the matrix what tells most."""
    good = sendings(books)
    return [
        *matrix_steps(short=short), *body_steps(books, good, short=short), *query_steps(short=short),
        *sending_steps(good), *chain_steps(), *journey_steps(good), *secret_steps(), *people_steps(),
        *mail_steps(),
    ]  # fmt: skip


def sending_steps(good: list[Sending]) -> list[Step]:
    """Return a step for each good sending: it is taken, and no key leads to another organization afterwards."""
    return [_sending_step(each) for each in good]


def _sending_step(sending: Sending) -> Step:
    def run(walk: Walk) -> list[str]:
        alice = walk.books.identities["alice"]
        with transaction.atomic():
            answer = walk.ask(alice, "POST", sending.url, sending.body, check_keys=True)
            faults = answer.faults + ([] if answer.status == 302 else [f"{answer.status}, not 302"])
            if answer.status == 302:
                shown = walk.ask(alice, "GET", answer.headers["Location"], founded=answer.founded)
                faults += shown.faults + ([] if shown.status == 200 else [f"{shown.status} after it, not 200"])
            transaction.set_rollback(True)
        return faults

    return Step("sendings", f"{sending.url}", run)
