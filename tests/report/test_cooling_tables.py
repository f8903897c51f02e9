"""cooling.csv, summary and flags of a made-up installation; `tug` serves other tests too."""

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest

from panelcp.cooling.conductance import ConductanceLaw
from panelcp.cooling.core_laws import DropLaw
from panelcp.cooling.installation import (
    BAY,
    OUTSIDE,
    Core,
    Duct,
    FanUnit,
    Installation,
    Leak,
    Loss,
    Port,
)
from panelcp.cooling.results import (
    Banded,
    BudgetStep,
    CoolingResult,
    CoreFlow,
    FanPoint,
    OtherState,
    PortFlow,
    Way,
)
from panelcp.cooling.thermostat import Thermostat
from panelcp.quantity import UncertainValue
from panelcp.report.cooling_tables import (
    cooling_csv,
    cooling_summary,
    core_flags,
    fan_mass_flow,
    margin_word,
    usual_checks,
    watched,
    way_ends,
)

CONDITIONS = ("tow, hot day", "climb at 78 kt", "cruise", "sideslip", "idle descent", "taxi")
NAN = np.full(6, np.nan)
NO = np.zeros(6, dtype=bool)
SPECIFIC_HEAT = 1005.0
HOSTILE = (
    '<script>alert("x")</script>',
    "quotes \" ' & <b>",
    "🚁🔥 عادم يمين \u202eoverride",
    "long " + "w" * 195,
)
"""Names that a case may give to a thing."""


def array(*values):
    return np.array(values, dtype=float)


def band(value, spread):
    return Banded(value, value - spread, value + spread)


def guess(value):
    return UncertainValue(value, 0.9 * value, 1.1 * value, "memory")


def installation(names=("left cheek", "radiator", "oil cooler", "top vent")):
    """Radiator behind the left cheek; oil and charge-air cooler share the right one; one bay."""
    left, radiator, oil, top = names
    port = (0.03, 1.0, 0.12, guess(0.9))
    drop = DropLaw(20.0, 6.0, 1.2, 1.8e-5, 2.0, 12.0)
    law = ConductanceLaw(900.0, 1.0, 1.5)
    flow = np.full(6, 1.2)
    heat = array(52, 52, 40, 50, 8, 9) * 1e3

    def core(name, role, start, end, share, limit, **more):
        return Core(
            *(name, role, start, end, 0.1, drop, guess(1.0), law, guess(1.0), flow, 3500.0),
            guess(1.0),
            heat=share * heat,
            limit=UncertainValue(limit, kind="temperature"),
            **more,
        )

    loss = (Loss("bend 45 deg", guess(0.3), 0.03),)
    return Installation(
        ports=(
            Port(left, "inlet", "forward-facing", *port, lip_radius=0.01),
            Port("right cheek", "inlet", "forward-facing", *port),
            Port("bottom exit", "exit", "plain exit", 0.07, 0.7, 0.2, guess(0.9)),
            Port(top, "exit", "flush hole", 0.015, 1.2, 0.1, guess(0.6), cross_flow=True),
        ),
        ducts=(
            Duct("left duct", left, radiator, loss),
            Duct("oil duct", "right cheek", oil, loss),
            Duct("charge-air duct", "right cheek", "charge-air cooler", loss),
        ),
        cores=(
            core(radiator, "coolant", radiator, "behind radiator", 1.0, 388.0,
                 thermostat=Thermostat()),
            core(oil, "oil", oil, BAY, 0.2, 391.0, least=323.0),
            core("charge-air cooler", "charge air", "charge-air cooler", BAY, 0.1, 333.0),
        ),
        fans=(
            FanUnit("fan", "behind radiator", BAY, array(0, 0.8), array(200, 0), 1.2,
                    array(1, 0, 0, 1, 0, 1), guess(4.0), 0.06, 160.0, 0.04),
        ),
        leaks=(
            Leak("radiator seal", radiator, BAY, guess(1e-3), guess(0.6)),
            Leak("cowl joint", BAY, OUTSIDE, guess(1e-3), guess(0.6)),
        ),
        bay_height=1.0,
        notes=("the air of the bay is taken to be mixed",),
    )  # fmt: skip


def tug(names=("left cheek", "radiator", "oil cooler", "top vent"), sampled=True, **changes):
    """A result in six conditions whose flows balance; all numbers are invented."""
    parts = installation(names)
    left, radiator, oil, top = names
    water = array(0.82, 0.98, 1.25, 0.80, 1.05, 0.21)
    seal, joint = 0.1 * water, 0.03 * water
    doors = array(0.25, 0.4, 0.6, 0.24, 0.45, 0.0)
    oiled = array(0.21, 0.26, 0.33, 0.22, 0.28, -0.02)
    charge = array(0.30, 0.36, 0.46, 0.28, 0.38, 0.03)
    above = array(0.15, 0.2, 0.3, 0.12, -0.05, 0.04)
    into = (water + seal, oiled + charge)
    below = into[0] + into[1] - joint - above
    outside = array(311, 311, 298, 311, 295, 311)
    heats = [array(52, 52, 40, 50, 8, 9) * 1e3, array(11, 11, 9, 11, 3, 2) * 1e3]
    heats.append(array(4, 4, 2.5, 4, 0.3, 0.1) * 1e3)
    ram = (array(480, 640, 1150, 450, 900, 30), array(470, 630, 1130, 380, 890, 10))
    inside = (ram[0] - 60 * into[0] ** 2, ram[1] - 60 * into[1] * abs(into[1]))
    ahead = inside[0] - 40 * water**2
    drops = [260 * water**1.8]
    behind = ahead - drops[0]
    rise = array(12, -25, -60, 14, -40, 25)
    bay = behind + rise
    drops += [inside[1] - 20 - bay, inside[1] - 15 - bay]
    ports_air = (outside, outside, outside + 40, outside + 40)
    chances = [NAN, NAN, NAN, NAN]
    spread = NAN
    if sampled:
        spread = 0.08 * water
        chances = [0 * water, array(0, 0, 0, 0.01, 0, 0.3), 0 * water]
        chances.append(array(0, 0, 0, 0.06, 0.8, 0.2))
    outs = (array(-60, -80, -150, -40, -110, 5), array(-20, -25, -40, 10, 160, 2))
    ports = tuple(
        PortFlow(
            *(name, use, pressure, array(4, 6, 14, 5, 9, 0) * sign, band(flow, spread)),
            *(flow / 1.1 / area, flow / 1.1 / area / array(32, 40, 60, 33, 50, np.nan), air),
            *(flow < 0.0, chance),
        )
        for name, use, pressure, sign, flow, area, air, chance in zip(
            (left, "right cheek", "bottom exit", top),
            ("inlet", "inlet", "exit", "exit"),
            (*ram, *outs),
            (1, 1, -1, -1),
            (*into, below, above),
            (0.03, 0.03, 0.07, 0.015),
            ports_air,
            chances,
            strict=True,
        )
    )
    margins = [array(9.2, 16, 38, 6, 60, 12), array(6.8, 11, 22, 2.1, 70, -4)]
    margins.append(array(14, 18, 25, 12, 38, 20))
    limits = [np.full(6, limit) for limit in (388.0, 391.0, 333.0)]
    cold = array(0, 0, 0, 0, 1, 0) > 0
    cores = tuple(
        CoreFlow(
            *(core.name, core.role, band(flow, spread / 3), flow / 1.1 / 0.1, drop),
            np.array([False, False, k == 0, False, False, False]),
            *(outside, outside + heat / (np.abs(flow) * SPECIFIC_HEAT), heat),
            *(limit - margin, limit - margin - 6, limit, band(margin, 4 + 10 * spread)),
            np.clip(0.3 - margin / 40, 0, 1) if sampled else NAN,
            np.where(cold & (k == 0), 0.01, 1.0),
            cold & (k == 0),
            flow < 0.0,
            np.where(flow < 0, 0.9, 0.0) if sampled else NAN,
        )
        for k, (core, flow, drop, heat, limit, margin) in enumerate(
            zip(parts.cores, (water, oiled, charge), drops, heats, limits, margins, strict=True)
        )
    )
    mass = water - doors
    fan = FanPoint(
        *("fan", array(1, 0, 0, 1, 0, 1) > 0, mass / 1.05, rise),
        *(array(150, 0, 0, 152, 0, 158), array(0, 0, 0, 0, 0, 1) > 0),
        array(0, 1, 1, 0, 1, 0) > 0,
    )
    flows = [("left duct", water + seal), ("oil duct", oiled), ("charge-air duct", charge)]
    ways = [Way(name, "duct", flow, 20.0 * flow) for name, flow in flows]
    ways += [Way("radiator seal", "leak", seal, ahead - bay), Way("cowl joint", "leak", joint, bay)]
    ways.append(Way("fan, doors", "doors", doors, -rise))
    steps = []
    for core, drop, where, first in zip(cores, drops, (0, 1, 1), (ahead, None, None), strict=True):
        duct = inside[0] - first if where == 0 else inside[1] - bay - drop
        steps += [
            BudgetStep(core.name, "ram and place of the inlet", ram[where]),
            BudgetStep(core.name, "entry and lip", ram[where] - inside[where]),
            BudgetStep(core.name, "left duct" if where == 0 else "duct", duct),
            BudgetStep(core.name, core.name, drop),
        ]
        steps += [BudgetStep(core.name, "fan", -rise)] if where == 0 else []
        steps.append(BudgetStep(core.name, "exit", bay - outs[0]))
        steps.append(BudgetStep(core.name, "outside at bottom exit", outs[0]))
    result = CoolingResult(
        installation=parts,
        conditions=CONDITIONS,
        decides=array(1, 1, 1, 1, 0, 0) > 0,
        ports=ports,
        cores=cores,
        fans=(fan,),
        ways=tuple(ways),
        budget=tuple(steps),
        node_pressure={
            left: inside[0],
            "right cheek": inside[1],
            radiator: ahead,
            "behind radiator": behind,
            oil: inside[1] - 20,
            "charge-air cooler": inside[1] - 15,
            BAY: bay,
        },
        node_temperature={
            left: outside,
            "right cheek": outside,
            radiator: outside,
            "behind radiator": outside + heats[0] / (water * SPECIFIC_HEAT),
            oil: outside,
            "charge-air cooler": outside,
            BAY: outside + 40,
        },
        available_over_needed=array(1.14, 1.35, 1.9, 1.04, np.inf, np.nan),
        highest_outside=array(317, 321, 330, 313, 360, 307),
        leak_share=np.full(6, 0.08),
        residual=array(1e-12, 3e-13, 2e-12, 1e-12, 4e-13, 8e-11),
        heat_error=array(1e-10, -2e-10, 1e-10, 0, 0, 3e-9),
        steps=np.array([7, 6, 6, 8, 7, 12]),
        converged=~NO,
        samples=400 if sampled else 0,
        lost_samples=np.array([0, 0, 0, 0, 0, 3]),
        coupling_rounds=4,
        coupling_change=3e-4,
        other_states=(OtherState(5, "all air backwards", {left: -0.04, top: 0.06}, {oil: -9.0}),),
        notes=("buoyancy of the bay is in",),
        warnings=("diffuser of the left duct may stall",),
    )
    return replace(result, **changes)


def rows(result):
    return list(csv.DictReader(io.StringIO(cooling_csv(result))))


def one(result, what, name, condition, kind=None):
    found = [
        row
        for row in rows(result)
        if (row["what"], row["name"], row["condition"]) == (what, name, condition)
        and kind in (None, row["kind"])
    ]
    assert len(found) == 1
    return found[0]


def test_the_helper_balances_every_place():
    result = tug()
    assert np.allclose(fan_mass_flow(result)[0], [0.57, 0.58, 0.65, 0.56, 0.6, 0.21])


def two_fans(*volume_flows):
    """The fan of the tug beside a second one."""
    result = tug()
    unit = result.installation.fans[0]
    fans = [replace(result.fans[0], flow=np.full(6, flow)) for flow in volume_flows]
    both = replace(result.installation, fans=(unit, replace(unit, name="second", doors=None)))
    return replace(result, installation=both, fans=tuple(fans))


def test_two_fans_side_by_side_share_by_volume_flow():
    flows = fan_mass_flow(two_fans(0.3, 0.1))
    assert np.allclose(flows[:, 0], [0.57 * 0.75, 0.57 * 0.25])
    assert np.isnan(fan_mass_flow(two_fans(0.3, -0.1))).all()


def test_fans_one_after_the_other_in_a_row():
    """The place between is balanced after the one ahead of the first."""
    result = tug()
    unit = result.installation.fans[0]
    both = (replace(unit, end="between", doors=None), replace(unit, name="2", start="between"))
    row = replace(
        result,
        installation=replace(result.installation, fans=both),
        fans=(result.fans[0],) * 2,
        ways=tuple(way for way in result.ways if way.kind != "doors"),
    )
    row = replace(row, installation=replace(
        row.installation, fans=tuple(replace(fan, doors=None) for fan in both)))  # fmt: skip
    water = result.cores[0].flow.value
    assert np.allclose(fan_mass_flow(row), [water, water])


def test_a_fan_in_the_open_is_known_from_its_other_place():
    result = tug()
    unit = replace(result.installation.fans[0], name="second", start=OUTSIDE, end=BAY, doors=None)
    both = replace(result.installation, fans=(*result.installation.fans, unit))
    double = replace(result, installation=both, fans=(result.fans[0],) * 2)
    # the bay balances without it
    assert np.allclose(fan_mass_flow(double)[1], 0.0, atol=1e-12)


def test_ways_know_their_ends():
    ends = way_ends(tug())
    assert ends[0] == ("left cheek", "radiator")
    assert ends[-2:] == [("bay", "outside"), ("behind radiator", "bay")]


def test_every_thing_has_a_row_in_every_condition():
    result = tug()
    table = rows(result)
    assert len(table) == 6 * (1 + 4 + 3 + 1 + 6 + 7 + len(result.budget))
    assert {row["what"] for row in table} == {
        "whole", "opening", "core", "fan", "duct", "leak", "doors", "place", "step",
    }  # fmt: skip
    assert {row["decides"] for row in table if row["condition"] == "taxi"} == {"no"}


def test_a_core_by_hand():
    row = one(tug(), "core", "oil cooler", "sideslip")
    assert row["kind"] == "oil"
    assert float(row["flow_kg_per_s"]) == 0.22
    assert float(row["flow_low_kg_per_s"]) == pytest.approx(0.22 - 0.08 * 0.8 / 3, abs=1e-5)
    assert float(row["velocity_m_per_s"]) == 2.0
    assert float(row["air_degC"]) == pytest.approx(37.85)
    # 11 kW into 0.22 kg/s
    assert float(row["air_out_degC"]) == pytest.approx(37.85 + 11e3 / 0.22 / 1005, abs=0.006)
    assert float(row["heat_kW"]) == 11.0
    assert float(row["limit_degC"]) == pytest.approx(117.85)
    assert float(row["hot_degC"]) == pytest.approx(117.85 - 2.1)
    assert (row["margin_K"], row["judgement"]) == ("2.10", "stop")
    assert float(row["pressure_drop_inH2O"]) == pytest.approx(
        float(row["pressure_drop_Pa"]) / 249.089, abs=1e-4
    )


def test_fans_openings_and_places_by_hand():
    result = tug()
    fan = one(result, "fan", "fan", "climb at 78 kt")
    assert (fan["flow_kg_per_s"], fan["pressure_drop_Pa"]) == ("0.58000", "25.00")
    assert fan["flags"] == "off; holds the ram air back"
    assert "near its stall dip" in one(result, "fan", "fan", "taxi")["flags"]
    vent = one(result, "opening", "top vent", "idle descent")
    assert vent["flags"] == "backwards: draws in"
    assert (vent["pressure_Pa"], vent["chance_reversed"]) == ("160.00", "0.8000")
    assert one(result, "opening", "left cheek", "taxi")["velocity_ratio"] == ""
    bay = one(result, "place", "bay", "cruise")
    assert bay["air_degC"] == "64.85"
    whole = one(result, "whole", "", "idle descent")
    assert whole["available_over_needed"] == "inf"
    assert one(result, "whole", "", "taxi")["available_over_needed"] == ""
    assert one(result, "leak", "cowl joint", "cruise")["flow_kg_per_s"] == "0.03750"
    assert one(result, "step", "oil cooler", "tow, hot day", "exit")["pressure_drop_Pa"]


def test_hostile_names_keep_the_table_whole():
    result = tug(HOSTILE)
    names = {row["name"] for row in rows(result)}
    assert set(HOSTILE) <= names


def test_limits_of_the_judgement():
    assert [margin_word(m) for m in (10.01, 10.0, 5.0, 4.99, -np.inf)] == [
        "good", "look", "look", "stop", "stop",
    ]  # fmt: skip


def test_flags_of_cores():
    result = tug()
    assert core_flags(result, 0, 0) == []
    # 2.1 K are little, but not too hot
    assert core_flags(result, 1, 3) == []
    assert core_flags(result, 0, 2) == ["beyond the air flows its pressure drop was measured at"]
    assert core_flags(result, 1, 5) == ["air flows backwards", "too hot"]
    assert core_flags(result, 0, 4) == [
        "over-cooled: thermostat shut and still below its opening temperature"
    ]
    oil = replace(result.cores[1], too_cold=~NO, hot=np.full(6, 300.0))
    cold = replace(result, cores=(result.cores[0], oil, result.cores[2]))
    below = ["over-cooled: below the least temperature for full power"]
    assert core_flags(cold, 1, 0) == below
    # a thermostat does not hide that the coolant is too cold for full power
    parts = result.installation
    coolant = replace(parts.cores[0], least=340.0)
    both = replace(
        result,
        installation=replace(parts, cores=(coolant, *parts.cores[1:])),
        cores=(replace(result.cores[0], hot=np.full(6, 330.0)), *result.cores[1:]),
    )
    assert core_flags(both, 0, 4) == below


def test_usual_ranges_look_at_deciding_conditions_only():
    checks = {(check.what, check.name): check for check in usual_checks(tug())}
    left = checks["inlet velocity over airspeed", "left cheek"]
    assert (left.least_in, left.most_in) == ("cruise", "tow, hot day")
    assert left.most == pytest.approx(0.902 / 1.1 / 0.03 / 32)
    face = checks["face velocity", "oil cooler"]
    assert (face.least, face.most) == (pytest.approx(0.21 / 0.11), pytest.approx(3.0))
    assert not face.inside
    assert checks["face velocity", "radiator"].most == pytest.approx(12.5 / 1.1)
    rise = checks["rise of air temperature", "radiator"]
    assert rise.least == pytest.approx(40e3 / 1.25 / 1005)
    assert ("rise of air temperature", "oil cooler") not in checks
    assert checks["leaks past the cores", ""].most == pytest.approx(8.0)
    available = checks["available over needed pressure", ""]
    assert (available.least, available.least_in, available.inside) == (1.04, "sideslip", False)
    area = checks["exit area over inlet area", ""]
    assert area.least == pytest.approx(0.085 / 0.06)
    assert area.inside


def test_all_conditions_are_looked_at_where_none_decides():
    result = tug(decides=NO)
    assert watched(result) == [0, 1, 2, 3, 4, 5]
    assert watched(tug()) == [0, 1, 2, 3]


def test_usual_ranges_leave_out_what_is_not_known():
    result = tug(available_over_needed=NAN)
    assert "available over needed pressure" not in {c.what for c in usual_checks(result)}


@pytest.mark.parametrize("names", [("left cheek", "radiator", "oil cooler", "top vent"), HOSTILE])
@pytest.mark.parametrize("sampled", [True, False])
def test_the_summary_is_json_and_whole(names, sampled):
    result = tug(names, sampled)
    told = json.loads(json.dumps(cooling_summary(result), allow_nan=False))
    assert told["cores"][1]["margin_K"]["value"][3] == 2.1
    assert told["cores"][1]["margin_K"]["low"][0] is None or sampled
    assert told["openings"][3]["reversed"] == [False, False, False, False, True, False]
    assert told["available_over_needed"][4:] == [None, None]
    assert told["no_pressure_needed"] == [False, False, False, False, True, False]
    assert told["limiting_core"][0] == names[2]
    assert told["judgement"][:2] == ["look", "good"]
    assert told["solution"]["newton_steps"][5] == 12
    assert told["solution"]["other_states"][0]["condition"] == "taxi"
    assert told["notes"] == ["the air of the bay is taken to be mixed", "buoyancy of the bay is in"]
    assert told["ways"][5]["kind"] == "doors"
    assert told["places"]["bay"]["temperature_K"][0] == 351.0
    assert told["fans"][0]["flow_kg_per_s"][5] == pytest.approx(0.21)
    assert len(told["pressure_budget"]) == len(result.budget)


def test_an_installation_of_openings_alone():
    """Two vents and nothing else, as after a shutdown."""
    result = bare()
    told = json.loads(json.dumps(cooling_summary(result), allow_nan=False))
    assert (told["cores"], told["limiting_core"], told["judgement"]) == ([], [None] * 6, [None] * 6)
    assert len(rows(result)) == 6 * (1 + 2 + 1)


def bare():
    """Two vents on one bay, no cores."""
    result = tug()
    ports = result.installation.ports[2:]
    return replace(
        result,
        installation=Installation(ports),
        ports=result.ports[2:],
        cores=(),
        fans=(),
        ways=(),
        budget=(),
        other_states=(),
        node_pressure={BAY: result.node_pressure[BAY]},
        node_temperature={},
    )
