"""What happens to the rows when someone adds an instrument or checks its zero."""

import pytest

from collection.actions.instruments import Shown, change_instrument, check_zero, create_instrument
from collection.actions.record import ActionRefused, StaleEdit
from collection.models import Change, Instrument, ZeroCheck
from collection.models.base import AppendOnlyError
from leveling import VERSION
from tests.surveying import author
from tests.worlds import TernTaproom


def checked(taproom: TernTaproom, first: Shown, turned: Shown) -> ZeroCheck:
    return check_zero(
        by=author(taproom.people.bob), instrument=taproom.instrument, unit="deg", first=first, turned=turned
    )


def test_a_check_keeps_what_was_typed_and_the_engines_version(taproom: TernTaproom) -> None:
    check = checked(taproom, Shown(".20", 0.2, "left"), Shown("0.4", 0.4, "left"))
    kept = ZeroCheck.objects.get(pk=check.pk)
    assert (kept.first_text, kept.first_high, kept.reversed_text, kept.reversed_high) == (".20", "left", "0.4", "left")
    assert kept.zero_deg == pytest.approx(0.1, abs=1e-12)  # (r0 + r180)/2 = (-0.2 + 0.4)/2
    assert (kept.unit, kept.engine_version, kept.created_by) == ("deg", VERSION, taproom.people.bob.user)
    assert Change.objects.get(row_id=check.pk).verb == "added"


def test_a_check_is_never_changed(taproom: TernTaproom) -> None:
    check = checked(taproom, Shown("0.2", 0.2, "left"), Shown("0.2", 0.2, "left"))
    check.zero_deg = 0.0
    with pytest.raises(AppendOnlyError):
        check.save()
    with pytest.raises(AppendOnlyError):
        ZeroCheck.objects.filter(pk=check.pk).delete()


def test_a_zero_beyond_five_degrees_is_a_wrong_high_end(taproom: TernTaproom) -> None:
    assert checked(taproom, Shown("6", 6.0, "right"), Shown("4", 4.0, "left")).zero_deg == pytest.approx(5.0)
    with pytest.raises(ActionRefused, match="Check which side was high"):
        checked(taproom, Shown("6.5", 6.5, "right"), Shown("6.3", 6.3, "left"))
    assert ZeroCheck.objects.count() == 1


def test_names_are_unique_in_one_organization_only(taproom: TernTaproom) -> None:
    with pytest.raises(ActionRefused) as refused:
        create_instrument(by=author(taproom.people.bob), name=taproom.instrument.name)
    assert refused.value.field == "name"
    assert create_instrument(by=author(taproom.people.charlie), name=taproom.instrument.name).pk


def test_a_stale_edit_changes_nothing(taproom: TernTaproom) -> None:
    with pytest.raises(StaleEdit):
        change_instrument(by=author(taproom.people.bob), instrument=taproom.instrument, version=2, name="Blue")
    assert Instrument.objects.get(pk=taproom.instrument.pk).name == "230 mm digital level"
