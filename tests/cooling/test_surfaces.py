"""Compact surfaces: tables against each other, correlations, fins."""

import fluids
import numpy as np
import pytest

from panelcp.atmosphere import standard_air
from panelcp.cooling.surfaces import (
    AIR_PRANDTL,
    FIN_GEOMETRIES,
    TUBE_BANKS,
    SurfaceTable,
    conductance_from_sides,
    heat_transfer_coefficient,
    louvred_fin_colburn,
    strip_fin_factors,
    surface_efficiency,
)
from panelcp.errors import NetworkError

# Kays and London, Compact Heat Exchangers, 3rd ed.: met second-hand, so all of this is "memory".
# plate spacing mm, fins per inch, hydraulic diameter mm, thickness mm, m2/m3, fin share
GEOMETRIES = {
    "louvred 3/8-6.06": (6.35, 6.06, 4.453, 0.152, 840, 0.640),
    "plain 11.1": (6.35, 11.1, 3.08, 0.152, 1204, 0.756),
    "louvred 3/16-11.1": (6.35, 11.1, 3.084, 0.152, 1204, 0.756),
    "louvred 3/4-11.1": (6.35, 11.1, 3.084, 0.152, 1204, 0.756),
    "plain 15.08": (10.62, 15.08, 2.67, 0.152, 1358.3, 0.870),
    "plain 19.86": (6.35, 19.86, 1.875, 0.152, 1840.6, 0.849),
    "strip fin 1/8-16.00": (6.48, 16.00, 1.86, 0.152, 1804, 0.845),
    "strip fin 1/8-19.82D": (5.21, 19.82, 1.54, 0.102, 2231, 0.841),
    "wavy 11.5-3/8W": (9.53, 11.5, 3.02, 0.254, 1138, 0.822),
    "wavy 17.8-3/8W": (10.49, 17.8, 2.12, 0.152, 1686, 0.892),
}
STRIP = (0.671543, 0.04, 0.083893)  # strip fin 1/10-19.35


@pytest.mark.parametrize("name", GEOMETRIES)
def test_geometries_follow_their_table(name):
    spacing, per_inch, diameter, thickness, density, share = GEOMETRIES[name]
    surface = FIN_GEOMETRIES[name]
    found = (
        surface.plate_spacing * 1e3,
        surface.fins_per_metre * 0.0254,
        surface.hydraulic_diameter * 1e3,
        surface.fin_thickness * 1e3,
        surface.area_density,
        surface.fin_share,
    )
    assert found == pytest.approx((spacing, per_inch, diameter, thickness, density, share))
    assert surface.mark == "memory"


@pytest.mark.parametrize("name", GEOMETRIES)
def test_geometries_agree_with_rectangular_passages(name):
    # derived: clear width and height; louvres, strips and waves change it by some per cent. Strip
    # fins are laid double, with a sheet between that counts as fin
    surface = FIN_GEOMETRIES[name]
    layers = 2 if name.startswith("strip") else 1
    width = 1.0 / surface.fins_per_metre - surface.fin_thickness
    height = (surface.plate_spacing - (layers - 1) * surface.fin_thickness) / layers
    height -= surface.fin_thickness
    share = (layers * height + (layers - 1) * width) / (layers * (height + width))
    diameter = 2.0 * width * height / (width + height)
    assert surface.hydraulic_diameter == pytest.approx(diameter, rel=0.10)
    # 5.7 % for the 3/8 in louvres, below 1.7 % for the others
    assert surface.fin_share == pytest.approx(share, rel=0.06)
    free = surface.area_density * surface.hydraulic_diameter / 4.0
    assert 0.80 < free < 1.0


def test_free_share_of_the_worked_example():
    # worked example of the book (memory): free shares 0.445 and 0.443, 400 and 574 m2/m3, both
    # spacings 6.35 mm; plates of 0.3 mm are assumed
    for name, area, share in (("louvred 3/8-6.06", 400, 0.445), ("plain 11.1", 574, 0.443)):
        surface = FIN_GEOMETRIES[name]
        assert surface.per_core_volume(6.35e-3, 0.305e-3) == pytest.approx(area, rel=0.004)
        assert surface.free_share(6.35e-3, 0.305e-3) == pytest.approx(share, rel=0.004)


def test_stanton_and_colburn_of_the_worked_example():
    # St 0.00954 and 0.00588, Pr^(2/3) 0.766: j 0.00731 and 0.00450 (memory)
    prandtl = 0.766**1.5
    for stanton, colburn in ((0.00954, 0.00731), (0.00588, 0.00450)):
        assert stanton * 0.766 == pytest.approx(colburn, abs=6e-6)
        found = heat_transfer_coefficient(stanton * 0.766, 10.0, 1006.0, prandtl)
        assert found == pytest.approx(stanton * 10.0 * 1006.0)
    assert heat_transfer_coefficient(0.02, -8.0, 1006.0, 0.7) > 0.0


# CoolProp 8.0.0 at 101325 Pa: degC, kg/m3, J/(kg K), Pa s, W/(m K)
@pytest.mark.parametrize(
    ("celsius", "density", "heat", "viscosity", "conductivity"),
    [
        (15.0, 1.22554, 1006.0, 1.79615e-5, 0.0254987),
        (50.0, 1.09248, 1007.43, 1.96352e-5, 0.0280829),
        (100.0, 0.945869, 1011.23, 2.18965e-5, 0.0316199),
    ],
)
def test_air_of_the_program_against_real_air(celsius, density, heat, viscosity, conductivity):
    air = standard_air(0.0, temperature=273.15 + celsius)
    assert air.density == pytest.approx(density, rel=6e-4)
    # Sutherland's formula is 0.4 % low at 15 degC and 0.74 % at 100 degC
    assert air.viscosity == pytest.approx(viscosity, rel=7.5e-3)
    assert pytest.approx(heat * viscosity / conductivity, rel=8e-3) == AIR_PRANDTL


TUBES = """
15000 - - 0.0508 0.00632
12000 - - 0.0530 0.00698
10000 0.0505 0.00752 0.0550 0.00755
8000 0.0525 0.00820 0.0578 0.00832
6000 0.0549 0.00900 0.0614 0.00941
5000 0.0558 0.00958 0.0640 0.0102
4000 0.0562 0.01020 0.0670 0.0112
3000 0.0554 0.01080 0.0702 0.0127
2500 0.0535 0.01095 0.0725 0.0137
2000 0.0497 0.01075 0.0750 0.0149
1500 0.0410 0.00960 0.0780 0.0166
1200 0.0331 0.00778 0.0800 0.0178
1000 0.0281 0.00750 0.0812 0.0189
800 0.0265 0.00790 0.0827 0.0201
"""


def test_tube_banks_follow_their_table():
    # Kays and London, Table 10-2 (memory): Reynolds number, then f and j inline and staggered
    inline, staggered = TUBE_BANKS["inline 1.50-1.25"], TUBE_BANKS["staggered 1.50-1.25"]
    for line in TUBES.split("\n")[1:-1]:
        reynolds, *numbers = line.split()
        for table, (f, j) in ((inline, numbers[:2]), (staggered, numbers[2:])):
            assert bool(table.outside(float(reynolds))) == (f == "-")
            if f != "-":
                assert table.friction_at(float(reynolds)) == pytest.approx(float(f))
                assert table.colburn_at(float(reynolds)) == pytest.approx(float(j))
            assert table.mark == "memory"


def test_heat_transfer_of_staggered_tubes_falls_like_a_power():
    # turbulent banks: j ~ Re^-0.4 (h ~ Re^0.6, common practice)
    table = TUBE_BANKS["staggered 1.50-1.25"]
    slope = np.log(table.colburn_at(12e3) / table.colburn_at(4e3)) / np.log(3.0)
    assert slope == pytest.approx(-0.4, abs=0.05)


def test_between_and_past_the_points_of_a_table():
    table = SurfaceTable("own", [100.0, 1000.0], [0.1, 0.01], [0.02, 0.004])
    assert table.friction_at([10**2.5, 1e4, 10.0]) == pytest.approx([10**-1.5, 1e-3, 1.0])
    bent = SurfaceTable("own", [10.0, 100.0, 1000.0], [1.0, 0.1, 0.1], [0.1, 0.1, 0.01])
    assert bent.friction_at([10**1.5, 10**2.5]) == pytest.approx([10**-0.5, 0.1])
    assert bent.colburn_at([10**1.5, 10**2.5]) == pytest.approx([0.1, 10**-1.5])
    assert table.outside([99.0, 100.0, 500.0, 1001.0]).tolist() == [True, False, False, True]


def test_strip_fins():
    # exact values of the formula (its coefficients from memory)
    f, j = strip_fin_factors(np.array([400.0, 600.0, 1000.0, 2000.0]), *STRIP)
    assert j == pytest.approx([0.02059, 0.01686, 0.01324, 0.00971], abs=5.1e-6)
    assert f == pytest.approx([0.08828, 0.06685, 0.05124, 0.04056], abs=5.1e-6)
    # one measured point, Kays and London, p. 248 (memory): Re 400, j 0.0195, f 0.0750
    assert j[0] == pytest.approx(0.0195, rel=0.06)
    assert f[0] == pytest.approx(0.0750, rel=0.18)


def test_louvred_fins():
    lengths = (1.2e-3, 1.5e-3, 8e-3, 40e-3, 6.5e-3, 10e-3, 0.1e-3)
    reynolds = np.array([100.0, 400.0])
    j = louvred_fin_colburn(reynolds, 28.0, *lengths)
    assert j[0] / j[1] == pytest.approx(4.0**0.49)
    # all lengths doubled at one Reynolds number change nothing
    doubled = louvred_fin_colburn(reynolds, 28.0, *(2.0 * length for length in lengths))
    assert doubled == pytest.approx(j)
    by_hand = 400.0**-0.49 * (28 / 90) ** 0.27 * 1.25**-0.14 * (8 / 1.2) ** -0.29
    by_hand *= (40 / 1.2) ** -0.23 * (6.5 / 1.2) ** 0.68 * (10 / 1.2) ** -0.28 * (1 / 12) ** -0.05
    assert j[1] == pytest.approx(by_hand)


def test_fins_carry_less_the_longer_they_are():
    length = np.geomspace(1e-6, 1.0, 40)
    found = surface_efficiency(150.0, length, 0.1e-3, 0.85)
    assert np.all(np.diff(found) < 0.0)
    assert found[0] == pytest.approx(1.0, abs=1e-6)
    assert found[-1] == pytest.approx(0.15, abs=0.01)
    assert surface_efficiency(0.0, 4e-3, 0.1e-3, 0.85) == 1.0
    # a fin solved by finite differences: h (T - air) on both sides of a strip
    n, reach = 400, 4e-3
    step = reach / n
    pull = 2.0 * 150.0 / (200.0 * 0.1e-3) * step**2
    matrix = np.diag(np.full(n, 2.0 + pull)) - np.eye(n, k=1) - np.eye(n, k=-1)
    matrix[-1, -1] = 1.0 + 0.5 * pull
    excess = np.linalg.solve(matrix, np.r_[1.0, np.zeros(n - 1)])
    mean = (0.5 * (1.0 + excess[-1]) + excess[:-1].sum()) / n
    assert surface_efficiency(150.0, reach, 0.1e-3, 1.0) == pytest.approx(mean, abs=1e-5)


def test_sides_in_series():
    assert conductance_from_sides(1000.0, 4000.0) == pytest.approx(800.0)
    assert conductance_from_sides(1000.0, 4000.0, wall_resistance=1.0 / 800.0) == pytest.approx(400)
    assert conductance_from_sides([100.0, 200.0]) == pytest.approx([100.0, 200.0])


def test_fanning_friction_of_a_smooth_passage_is_a_quarter_of_darcys():
    # laminar: f Re = 16, against a general library, as the convention of core_drop needs it
    assert pytest.approx(fluids.friction.friction_laminar(800.0) / 4.0) == 16.0 / 800.0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: SurfaceTable("own", [1.0, 2.0], [1.0], [1.0, 2.0]), "the same number"),
        (lambda: SurfaceTable("own", [1.0], [1.0], [1.0]), "two or more"),
        (lambda: SurfaceTable("own", [1.0, 2.0], [1.0, 0.0], [1.0, 2.0]), "not above 0"),
        (lambda: SurfaceTable("own", [2.0, 1.0], [1.0, 1.0], [1.0, 2.0]), "do not rise"),
        (lambda: TUBE_BANKS["inline 1.50-1.25"].friction_at(0.0), "Reynolds number of a surface"),
        (lambda: strip_fin_factors(50.0, *STRIP), "outside 120 to 10 000"),
        (lambda: louvred_fin_colburn(9.0, 28.0, *[1e-3] * 7), "outside 30 to 5000"),
        (lambda: louvred_fin_colburn(99.0, 0.0, *[1e-3] * 7), "must be above 0"),
        (lambda: heat_transfer_coefficient(0.01, 8.0, 1006.0, 0.0), "Prandtl"),
        (lambda: conductance_from_sides(), "needs sides"),
    ],
)
def test_mistakes_are_refused(call, words):
    with pytest.raises(NetworkError, match=words):
        call()
