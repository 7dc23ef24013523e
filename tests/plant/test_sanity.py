"""Plausible ranges (engineering judgement from memory, common practice, no source) against the shipped car."""

from __future__ import annotations

from dataclasses import replace

import plant_builders as make
import plant_sanity
import pytest

# Each departure is the model's answer, not tuned away; explained at greater length in docs/model.md.
DEPARTURES = {
    "six 14 s pulls: held off until boost, first peak over on": (
        "the first pull follows five minutes' cruise with the pump off: the core's metal stands near 50 degC"
    ),
    "track: coolant into core over ambient": (
        "laps of the shipped drive are above 180 kPa for a fifth of the time: 5.6 kW on average"
    ),
}


@pytest.fixture(scope="module")
def checks() -> list[plant_sanity.Checked]:
    return plant_sanity.all_checks()


def test_every_range_is_met_or_its_departure_is_listed(checks: list[plant_sanity.Checked]) -> None:
    outside = {c.name for c in checks if not c.inside}
    assert outside == set(DEPARTURES), plant_sanity.table(checks, DEPARTURES)
    assert len(checks) >= 26


def test_departures_stay_where_they_are_explained(checks: list[plant_sanity.Checked]) -> None:
    """The pump-off start 3-17 K up after a cruise: an earlier model's spread over random cars, no published source. The
    track's coolant within 10 % of the 9.9 K this model gave when its departure was explained: no range from outside,
    it only tells when the explanation has to be looked at again."""
    bounds = {"six": (3.0, 17.0), "track": (8.9, 10.9)}
    for c in checks:
        if c.name in DEPARTURES:
            low, high = bounds[c.name.split(" ")[0].rstrip(":")]
            assert low <= c.value <= high, c


def test_a_wrong_car_falls_out_of_the_ranges() -> None:
    """Half the air side of the core, or three tenths of the pump's head, is noticed by two rows or more each."""
    car = make.shipped_car()
    for wrong in (
        replace(car, core=replace(car.core, air_ha_w_k=0.5 * car.core.air_ha_w_k)),
        replace(car, pump=replace(car.pump, head_pa=tuple(0.3 * h for h in car.pump.head_pa))),
    ):
        rows = plant_sanity.pull_checks(wrong) + plant_sanity.held_checks(wrong)
        assert len([c for c in rows if not c.inside and c.name not in DEPARTURES]) >= 2
