"""What rail or glass reads more than the playfield is learned from pairs, and grows less sure with removals and age."""

import numpy as np
import pytest

from leveling.errors import BadInput
from leveling.instruments import Budget
from leveling.verdicts_rail import GLASS_ACROSS, GLASS_ALONG, RAIL_ACROSS, RailPairs, Seat, learn_offset

FIRM = Seat(np.array(1e3 / 60), np.array(0.0), np.array(0.0))  # next to no prior, sits still
LEVEL = Budget(accuracy_deg=0.06)
DEG = 1e-9


def pairs(difference, u=0.05, removals=0.0, days=0.0, used=True):
    return RailPairs(
        difference_deg=difference,
        u_deg=np.asarray(u),
        removals=np.asarray(removals),
        days=np.asarray(days),
        used=np.asarray(used),
    )


def learn(these, seat=FIRM, survey=LEVEL, rail=LEVEL, one_level=True):
    return learn_offset(pairs=these, seat=seat, survey=survey, rail=rail, one_level=one_level)


def test_one_pair_is_enough_and_four_halve_the_uncertainty():
    assert learn(pairs([-1.2])).offset_deg == pytest.approx(-1.2, abs=1e-4)
    assert learn(pairs([-1.2])).u_deg == pytest.approx(0.05, rel=1e-4)
    four = learn(pairs([-1.2, -1.3, -1.2, -1.3]))
    assert four.offset_deg == pytest.approx(-1.25, abs=1e-4)
    assert four.u_deg == pytest.approx(0.025, rel=1e-4)


def test_without_pairs_the_prior_is_all():
    learned = learn(pairs([7.0], used=[False]), seat=GLASS_ACROSS)
    assert (learned.offset_deg, learned.pairs) == (0.0, 0)
    assert learned.u_deg == pytest.approx(0.3, abs=DEG)
    assert learned.agree


def test_a_pair_pulls_from_the_prior_by_its_weight():
    """Worked by hand: prior 0 +- 0.3, pair 0.6 +- 0.3: half of it, u = 0.3/sqrt 2."""
    learned = learn(pairs([0.6], u=0.3), seat=GLASS_ACROSS)
    assert learned.offset_deg == pytest.approx(0.3, abs=DEG)
    assert learned.u_deg == pytest.approx(0.3 / np.sqrt(2), abs=DEG)


def test_removals_and_years_add_in_squares():
    """One exact pair, 9 removals of 0.03 and 4 years of 0.05 each: sqrt(9 0.03^2 + 4 0.05^2), next to no prior."""
    seat = Seat(FIRM.u_prior_deg, GLASS_ACROSS.u_removal_deg, GLASS_ACROSS.u_year_deg)
    learned = learn(pairs([0.1], u=1e-6, removals=[9.0], days=[4 * 365.25]), seat=seat)
    assert learned.u_deg == pytest.approx(np.hypot(3 * 0.03, 2 * 0.05), rel=1e-4)


def test_the_rail_does_not_mind_that_the_glass_was_out():
    few, many = (learn(pairs([0.1], removals=[n]), seat=RAIL_ACROSS).u_deg for n in (0.0, 50.0))
    assert few == many


def test_old_pairs_share_what_came_after_both():
    """Two exact pairs on one day, 4 removals ago: no surer than one of them."""
    one = learn(pairs([0.1], u=1e-6, removals=[4.0]), seat=GLASS_ALONG)
    two = learn(pairs([0.1, 0.1], u=1e-6, removals=[4.0, 4.0]), seat=GLASS_ALONG)
    assert two.u_deg == pytest.approx(one.u_deg, rel=1e-6)


def test_the_latest_of_exact_pairs_decides():
    """A walk forgets where it was before."""
    learned = learn(pairs([0.5, 0.2], u=1e-5, removals=[8.0, 1.0], days=[300.0, 20.0]), seat=GLASS_ALONG)
    assert learned.offset_deg == pytest.approx(0.2, abs=1e-3)
    assert (learned.removals, learned.days) == (1.0, 20.0)


def test_it_is_the_conditional_mean_of_a_walk_that_is_simulated():
    """20,000 glasses that start anywhere, walk and are paired twice: error as large as it says, unrelated to it."""
    rng, n = np.random.default_rng(1), 20_000
    start = rng.normal(0, 0.3, n)
    middle = start + rng.normal(0, 0.03, (n, 5)).sum(axis=-1)
    now = middle + rng.normal(0, 0.03, (n, 3)).sum(axis=-1)
    seen = np.stack([start, middle], axis=-1) + rng.normal(0, 0.05, (n, 2))
    seat = Seat(np.array(0.3), np.array(0.03), np.array(0.0))
    learned = learn(pairs(seen, removals=[8.0, 3.0]), seat=seat)
    error = learned.offset_deg - now
    assert error.std() == pytest.approx(learned.u_deg[0], rel=0.03)
    assert (np.abs(error) <= 1.96 * learned.u_deg).mean() == pytest.approx(0.95, abs=0.006)
    assert learned.agree.mean() == pytest.approx(0.99, abs=0.004)


def test_pairs_that_differ_by_more_than_they_may_are_told():
    assert learn(pairs([0.1, 0.2])).agree
    assert not learn(pairs([0.1, 0.4])).agree
    assert learn(pairs([0.1, 0.4], removals=[25.0, 0.0]), seat=GLASS_ACROSS).agree  # the glass may have shifted so far


def test_with_one_level_its_accuracy_drops_out_of_the_difference():
    rail = Budget(accuracy_deg=0.06, zero_deg=0.08)
    one, two = (learn(pairs([0.1]), rail=rail, one_level=flag) for flag in (True, False))
    assert one.transfer_deg == pytest.approx(0.08, abs=DEG)  # surveys by reversed pairs have no zero, the rail has
    assert two.transfer_deg == pytest.approx(np.sqrt(0.06**2 + 0.06**2 + 0.08**2), abs=DEG)
    assert learn(pairs([0.1]), survey=rail, rail=rail).transfer_deg == pytest.approx(0.0, abs=DEG)  # both read singly


def test_the_order_of_pairs_does_not_matter_and_padding_does_nothing():
    one = learn(pairs([0.1, 0.3], removals=[5.0, 1.0], days=[90.0, 9.0]), seat=GLASS_ALONG)
    other = learn(
        pairs([9.0, 0.3, 0.1], removals=[0.0, 1.0, 5.0], days=[0.0, 9.0, 90.0], used=[False, True, True]),
        seat=GLASS_ALONG,
    )
    for name in ("offset_deg", "u_deg", "pairs", "agree", "removals", "days"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=1e-12)


def test_a_batch_is_its_rows():
    rng = np.random.default_rng(2)
    seen, out = rng.normal(0, 0.1, (4, 3)), rng.integers(0, 9, (4, 3)).astype(float)
    batch = learn(pairs(seen, removals=out), seat=GLASS_ALONG)
    rows = [learn(pairs(a, removals=b), seat=GLASS_ALONG).offset_deg for a, b in zip(seen, out, strict=True)]
    np.testing.assert_allclose(batch.offset_deg, rows, atol=1e-12)
    assert learn(pairs(np.zeros((0, 3)))).offset_deg.shape == (0,)


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: pairs([np.nan]), "difference_deg"),
        (lambda: pairs([]), "difference_deg"),
        (lambda: pairs(0.1), "difference_deg"),
        (lambda: pairs([0.1], u=0.0), "u_deg"),
        (lambda: pairs([0.1], removals=-1.0), "removals"),
        (lambda: pairs([0.1], days=-1.0), "days"),
        (lambda: pairs([0.1], used=1), "used"),
        (lambda: Seat(np.array(0.0), np.array(0.0), np.array(0.0)), "u_prior_deg"),
    ],
)
def test_bad_input_is_refused_by_name(call, name):
    with pytest.raises(BadInput) as refusal:
        call()
    assert refusal.value.name == name
