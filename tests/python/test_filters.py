"""Ratings and elements beyond a forecast, against closed forms."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pint
import pytest
import siltcode
from scipy import optimize
from siltcode import Beta, Element, Sample, SiltcodeError, Train


def test_sizes_for_a_ratio_are_where_each_rule_reaches_it() -> None:
    beta = Beta("5:10,7:200")
    sizes = beta.size_for(75)
    assert sizes is not None
    for rule in range(3):
        expected = optimize.brentq(lambda um, rule=rule: (beta.at(um).rules or ())[rule] - 75, 5.001, 6.999)
        assert sizes[rule] == pytest.approx(expected, rel=1e-9)
    assert beta.size_for(10) == pytest.approx((5.0, 5.0, 5.0))
    assert beta.size_for(300) is None
    assert beta.working(6) == min(beta.at(6).rules or ())
    with pytest.raises(SiltcodeError) as caught:
        beta.working(4)
    assert caught.value.code == "beta-not-rated"


def test_derating_divides_what_is_above_one() -> None:
    beta = Beta({4: 3, 6: (20, 40)}).derated(4)
    np.testing.assert_allclose(list(beta.rated.values()), [(1.5, 1.5), (5.75, 10.75)])
    with pytest.raises(SiltcodeError) as caught:
        beta.derated(0.5)
    assert caught.value.code == "factor-out-of-range"


def test_bins_conserve_the_particles_of_the_challenge() -> None:
    """Of all particles above a size the given ratio passes; so bin by bin what passes is a difference."""
    entering, ratios = {4: 1000.0, 6: 300.0, 14: 20.0}, {4: 3.0, 6: 20.0, 14: 75.0}
    beta, dust = Beta(ratios), Sample.of(entering)
    passing = [entering[um] / ratios[um] for um in ratios] + [0.0]
    bins = [*entering.values(), 0.0]
    expected = [(bins[i] - bins[i + 1]) / (passing[i] - passing[i + 1]) for i in range(3)]
    assert beta.bins([4, 6, 14], tested_with=dust) == pytest.approx(expected, rel=1e-12)
    whole = [(bins[i] - bins[i + 1], expected[i]) for i in range(3)]
    assert siltcode.ratio_of_bins(whole) == pytest.approx(3.0)
    train = Train.of(Element(beta, "60 L/min"))
    assert train.efficiencies([4, 6, 14], dust) == pytest.approx([1 - 1 / each for each in expected])
    unsure = Beta({4: (2, 4), 6: (10, 30)})
    assert unsure.bins([4, 6], at_best=True)[0] > unsure.bins([4, 6])[0]


def test_ratios_in_series_and_with_a_leak() -> None:
    first, second = np.array([2.0, 10.0, np.nan]), 75.0
    np.testing.assert_allclose(siltcode.in_series(first, second), first * second)
    leak = np.array([0.0, 0.01, 0.2])
    np.testing.assert_allclose(siltcode.leaking(1000, leak), 1 / (leak + (1 - leak) / 1000))
    np.testing.assert_allclose(siltcode.leak_ceiling(leak[1:]), 1 / leak[1:])
    assert siltcode.leak_ceiling(0) == math.inf
    assert siltcode.ratio_of_pairs([(900, 30), (100, 20)]) == pytest.approx(20.0)
    for call in (lambda: siltcode.leaking(10, 1.5), lambda: siltcode.leak_ceiling(-0.1)):
        with pytest.raises(SiltcodeError) as caught:
            call()
        assert caught.value.code == "share-out-of-range"
    with pytest.raises(SiltcodeError) as caught:
        siltcode.leaking([10, 0.9, 75], 0.1)
    assert (caught.value.code, caught.value.line) == ("beta-below-one", 1)


def test_pressures_follow_flow_and_viscosity() -> None:
    unit = pint.UnitRegistry()
    fine = Element(
        Beta("4:10"), "100 L/min", clean_drop="20 kPa", terminal_drop=unit.Quantity(1.5, "bar"), viscosity="32 cSt"
    )
    for flow, viscosity in ((50.0, 64.0), (120.0, 10.0)):
        load = flow / 100 * viscosity / 32
        assert fine.clean_at(flow, viscosity) == pytest.approx(20 * load)
        assert fine.at_rated(f"{20 * load / 100} bar", flow, f"{viscosity} cSt") == pytest.approx(20.0)
    assert Element(None, "100 L/min").clean_at(50, 32) is None
    assert Element(None, "100 L/min", clean_drop="20 kPa").at_rated("1 bar", 50, 32) is None
    reversed_drops = Element(None, 100, clean_drop="2 bar", terminal_drop="1 bar", viscosity="32 cSt")
    with pytest.raises(SiltcodeError) as caught:
        reversed_drops.clean_at(50, 32)
    assert caught.value.code == "quantity-out-of-range"


def test_an_element_is_a_value_with_what_it_holds() -> None:
    full = Element(Beta("4:10"), "60 L/min", dirt_capacity="0.2 kg", water_capacity="1 L", price=40.0, change_time="20 min")
    assert pickle.loads(pickle.dumps(full)) == full
    assert hash(pickle.loads(pickle.dumps(full))) == hash(full)
    assert Train.of(full).efficiencies([4]) == Train.of(Element(Beta("4:10"), "60 L/min")).efficiencies([4])
    with pytest.raises(SiltcodeError):
        Train.of(Element(Beta("4:10"), "60 L/min", price=-1.0)).efficiencies([4])
    with pytest.raises(SiltcodeError) as caught:
        Train.of(Element(Beta("4:10"), "60 L/min", dirt_capacity="1 L")).efficiencies([4])
    assert caught.value.code == "quantity-unreadable"
