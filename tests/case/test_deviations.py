"""What is uncertain in a case: read from its tables into what is drawn."""

import numpy as np
import pytest

from panelcp.case.deviations import (
    ANGLE_DEVIATIONS,
    WIND_DEVIATION,
    model_deviations,
    roughness_deviations,
    sampled_pressures,
    uncertain_air,
)
from panelcp.case.preparing import prepare_case
from panelcp.case.reading import read_case
from panelcp.flow.solutions import solve_conditions
from panelcp.placement.bands import (
    COMMON,
    MIXING,
    MODEL,
    NOT_PREDICTED,
    PANELLING,
    ROUGHNESS,
)
from panelcp.surface.curved import roughness_band
from tests.case.test_air_tables import PROPELLER
from tests.cases import CASE, write_case

REGIONS = """
[[region]]
name = "nose"
low = ["-3 m", "-1 m", "-1 m"]
high = ["-1.5 m", "1 m", "1 m"]
cp_deviation = 0.05

[[region]]
name = "back"
low = ["-0.95 m", "-1 m", "-1 m"]
high = ["3 m", "1 m", "1 m"]
cp_deviation = 0.2
"""
FACTOR = 'slipstream_factor = { value = "0.8", low = "0.6", high = "0.88" }\n'


@pytest.fixture(scope="module")
def prepared(tmp_path_factory):
    text = CASE + REGIONS + PROPELLER + FACTOR
    return prepare_case(read_case(write_case(tmp_path_factory.mktemp("regions"), text)))


@pytest.fixture(scope="module")
def samples(prepared):
    case = prepared.case
    solutions = solve_conditions(prepared.surface, case.conditions, case.surroundings)
    flow = solutions.flow()
    n_openings = sum(o.takes_air_in or o.lets_air_out for o in prepared.openings)
    n_openings += len(prepared.candidates)
    panelling = np.full((3, n_openings), 7.0)
    shares = np.ones((3, n_openings))
    return sampled_pressures(prepared, solutions, flow, panelling, shares), flow


def test_air_is_that_of_the_tables(prepared):
    air = uncertain_air(prepared)
    assert (air.alpha, air.beta) == tuple(ANGLE_DEVIATIONS[k].value for k in ("alpha", "beta"))
    assert air.factor_low == pytest.approx(0.2 / 0.8)
    assert air.factor_high == pytest.approx(0.08 / 0.8)
    assert air.wind == WIND_DEVIATION.value


def test_openings_carry_the_error_of_their_regions(prepared, samples):
    drawn, flow = samples
    openings = list(drawn.openings)
    found = dict(zip([o.name for o in openings], model_deviations(prepared, openings), strict=True))
    assert found["nose"] == pytest.approx(0.05)
    index = prepared.surface.region_index
    between = {"nose": 1, "chin": 0}
    for opening, value in zip(openings, model_deviations(prepared, openings), strict=True):
        shares = np.bincount(index[opening.sample_panels], opening.sample_weights, minlength=3)
        assert value == pytest.approx(shares @ [0.1, 0.05, 0.2])
        if opening.name in between and shares.max() > 1.0 - 1e-9:
            assert shares.argmax() == between[opening.name]
    kinds = {kind.name: kind for kind in drawn.kinds}
    assert {MODEL, ROUGHNESS, PANELLING, MIXING, NOT_PREDICTED} <= set(kinds)
    reference = flow.reference_pressure[:, None]
    model = kinds[MODEL]
    assert model.patch == pytest.approx(reference * model_deviations(prepared, openings))
    assert model.behind[:, 0] == pytest.approx(0.2 * model.patch[:, 0])
    assert model.common.sum(axis=1) == pytest.approx(np.full(len(openings), COMMON))
    rough = roughness_deviations(prepared, openings)
    band = roughness_band(prepared.surface)
    first = openings[0]
    expected = np.sqrt((band[first.sample_panels] ** 2 * first.sample_weights).sum())
    assert rough[0] == pytest.approx(expected)
    assert kinds[ROUGHNESS].patch == pytest.approx(reference * rough)
    assert kinds[ROUGHNESS].common.shape[1] == kinds[PANELLING].common.shape[1] == 0
    assert (kinds[PANELLING].patch == 7.0).all()
    assert not kinds[NOT_PREDICTED].patch.any()


def test_bands_of_recovery_and_need_go_to_both_sides(samples):
    drawn, _ = samples
    assert drawn.recovery[0] == 0.8
    assert drawn.recovery_low[0] == pytest.approx(0.1)
    assert drawn.recovery_high[0] == pytest.approx(0.1)
    assert not drawn.recovery[1:].any()
    assert drawn.needed_low == pytest.approx([100.0, 0.0, 0.0])
    assert drawn.needed_high == pytest.approx([150.0, 0.0, 0.0])
    low, middle, high = np.quantile(drawn.needed([500.0, np.nan, np.nan])[0], [0.16, 0.5, 0.84])
    assert low == pytest.approx(400.0, rel=0.03)
    assert middle == pytest.approx(500.0, rel=0.03)
    assert high == pytest.approx(650.0, rel=0.03)
