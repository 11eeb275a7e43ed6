"""What each of nine identities gets for each of five kinds of id, from the six answers that a row declares.

The rules, so that a row stays one line:

1. A removed member is as Dana, who is signed in and belongs nowhere. Who acts in the other of two organizations is as
   Charlie, another organization's owner.
2. A site viewer of another site gets what Vera gets, but 404 where an id is in the address and Vera is let in.
3. An id of another site of the same organization: its writers get what they get for their own; Vera and the viewer of
   that site change places.
4. An id of another organization: Charlie, whose it is, gets what Alice gets for her own; for all others, and for an id
   that nobody has, it is absent: who is turned away before any row is looked for (302 to the login or to founding an
   organization, 403) still is; everyone else gets 404.
5. A malformed id is no address: 404 for everyone, by every method.
6. The secret of a label is the right to its one page, for everyone: each gets the same for a label of any kind. Any
   other word in its place is absent, so 404.
7. HEAD is as GET. A method that a row does not name is 405 for everyone; who is not signed in may be sent to the login
   first, as the account library does.
"""

from tests.collection.access.table import IDENTITIES as DECLARED
from tests.collection.access.table import Row

METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE")
#: Who gets the answer of whom.
AS = {"rosa": "dana", "tom": "charlie", "walt": "vera"}
#: Owners of other organizations: for them a row of Alice's is absent, as for Alice one of theirs.
OWNERS = ("charlie", "tom")
OUTSIDE = ("anonymous", "dana", "rosa")


def expected(row: Row, method: str, identity: str, kind: str) -> int:
    """Return the status that a request must get."""
    if kind == "malformed" and row.ids:
        return 404
    answers = row.answers.get("GET" if method == "HEAD" else method)
    if answers is None:
        return 405
    if row.secrets and kind in ("absent", "malformed"):
        return 404
    by_name = dict(zip(DECLARED, answers, strict=True))
    if row.secrets or kind == "own" or (kind == "other site" and identity not in ("vera", "walt")):
        return _own(row, by_name, identity)
    if kind == "other site":
        return _own(row, by_name, "walt" if identity == "vera" else "vera")
    if kind == "other organization" and identity == "charlie":
        return by_name["alice"]
    return _absent(by_name, identity)


def _own(row: Row, by_name: dict[str, int], identity: str) -> int:
    answer = by_name[AS.get(identity, identity)]
    return 404 if identity == "walt" and row.ids and answer < 400 else answer


def _absent(by_name: dict[str, int], identity: str) -> int:
    """Who is turned away before any row is looked for, still is."""
    answer = by_name["alice" if identity in OWNERS else AS.get(identity, identity)]
    turned_away = answer == 302 if identity in OUTSIDE else answer == 403
    return answer if turned_away else 404
