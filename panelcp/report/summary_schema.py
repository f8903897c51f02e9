"""The JSON Schema of summary.json: every key with its meaning and its unit.

`schema()` gives it as plain values, `schema_json()` as the text of summary.schema.json. It follows
JSON Schema, draft 2020-12. Words that the program chooses among come from the program itself;
`tests/report/test_summary_schema.py` checks real summaries against it, so that neither can change
without the other. Every description of a number ends with its unit, "dimensionless" where it has
none. Lists "by condition" go in the order of `conditions`.
"""

from __future__ import annotations

import json
from typing import Any

from panelcp.flow.skin_layers import STATE_NAMES
from panelcp.quantity import MARKS
from panelcp.surface.opening import KINDS, SHAPES, USES

DIALECT = "https://json-schema.org/draft/2020-12/schema"
SIDES = ("front", "rear", "top", "bottom", "right", "left")
JUDGEMENTS = ("good", "look", "stop")
NAMED_BESIDE = "in the unit named beside it"
"""Stands for a unit where a key of the same record holds it."""

Schema = dict[str, Any]


def schema() -> Schema:
    """The schema of summary.json.

    Returns
    -------
    dict of plain values, made anew at every call

    Examples
    --------
    >>> schema()["properties"]["surface"]["properties"]["area"]["description"]
    'Wetted area; m2'
    """
    keys = {
        **_head(),
        "surface": _surface(),
        "solver": _solver(),
        "conditions": _list("Conditions in flight and on the ground, in order", _condition()),
        "openings": _list("Openings that the case names", _opening()),
        "effects": _list("Shares of propeller, wing and ground at openings", _effect()),
        "through_flow": _list("Openings with a given flow", _through_flow()),
        "boundary_layer": _list("Layer of slowed air under openings", _boundary_layer()),
        "exit_air": _list("Exit air that comes near something, by condition", _exit_air()),
        "static_ports": _list("What static ports on the body do to the instruments", _port_error()),
        "ranking": _ranking(),
        "places": _list("Openings that the report names, to lay onto the skin again", _place()),
        **_choices_and_tape(),
        "vent_maps": _list("What a small opening would be worth everywhere: extremes", _vent_map()),
        "curves": _optional(_curves()),
        "combinations": _optional(_combinations()),
        "cooling": _optional(_cooling()),
        "ranking_by_margin": _list("Places by the margin of the cooling network", _margins()),
        "marks": _list("Every uncertain number that was used", _mark(place=True)),
        "inputs": _inputs(),
    }
    about = (
        "All numbers of one run of panelcp: SI units, angles in degrees, temperatures in kelvin. "
        "Axes: x aft (station), y to the right wing (butt line), z up (waterline). Pressures are "
        "gauge pressures, against outside air at the same height. A number that does not exist is "
        "null. Estimates for study, not approved data."
    )
    return {
        "$schema": DIALECT,
        "$id": "urn:panelcp:summary:1",
        "title": "panelcp summary.json, format 1",
        **_record(about, **keys),
    }


def schema_json() -> str:
    """The text of summary.schema.json."""
    return json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"


def _record(about: str, /, **keys: Schema) -> Schema:
    """An object with these keys, all of them always there, and no others."""
    return {
        "description": about,
        "type": "object",
        "properties": keys,
        "required": list(keys),
        "additionalProperties": False,
    }


def _mapping(about: str, values: Schema, names: tuple[str, ...] = ()) -> Schema:
    """An object whose keys are names, of the case or among those given."""
    among = {"propertyNames": {"enum": list(names)}} if names else {}
    return {"description": about, "type": "object", "additionalProperties": values, **among}


def _optional(one: Schema) -> Schema:
    """The same, or null."""
    kinds = one["type"] if isinstance(one["type"], list) else [one["type"]]
    changed = {**one, "type": [*kinds, "null"]}
    if "enum" in one:
        changed["enum"] = [*one["enum"], None]
    return changed


def _list(about: str, items: Schema, length: int | None = None) -> Schema:
    fixed = {} if length is None else {"minItems": length, "maxItems": length}
    return {"description": about, "type": "array", "items": items, **fixed}


def _text(about: str) -> Schema:
    return {"description": about, "type": "string"}


def _word(about: str, *words: str) -> Schema:
    return {"description": about, "type": "string", "enum": list(words)}


def _texts(about: str) -> Schema:
    return _list(about, _text("One line"))


def _flag(about: str) -> Schema:
    return {"description": about, "type": "boolean"}


def _flags(about: str) -> Schema:
    return _list(f"{about}, by condition", _flag("In one condition"))


def _count(about: str, least: int = 0) -> Schema:
    return {"description": f"{about}; dimensionless", "type": "integer", "minimum": least}


def _number(unit: str, about: str, **limits: float) -> Schema:
    return {"description": f"{about}; {unit or 'dimensionless'}", "type": "number", **limits}


def _share(about: str) -> Schema:
    """A probability, or a part of a whole."""
    return _number("", about, minimum=0.0, maximum=1.0)


def _by_condition(one: Schema, known: bool = True) -> Schema:
    """One number for each condition; null where it does not exist, unless always known."""
    about, unit = one["description"].rsplit("; ", 1)
    item = {**one, "description": f"In one condition; {unit}"}
    return _list(f"{about}, by condition; {unit}", item if known else _optional(item))


def _if_known(unit: str, about: str) -> Schema:
    """A number for each condition; null where it does not exist."""
    return _by_condition(_number(unit, about), known=False)


def _vector(unit: str, about: str) -> Schema:
    return _list(f"{about}: x, y, z; {unit}", _number(unit, "One of x, y, z"), 3)


def _series(unit: str, about: str, known: bool = True) -> Schema:
    item = _number(unit, "One value")
    return _list(f"{about}; {unit or 'dimensionless'}", item if known else _optional(item))


def _quantiles(unit: str, about: str) -> Schema:
    return _list(
        f"16, 50 and 84 % of the sampled worlds: {about}; {unit or 'dimensionless'}",
        _optional(_number(unit, "One of the three")),
        3,
    )


def _head() -> dict[str, Schema]:
    return {
        "format": {"description": "Of this file; dimensionless", "type": "integer", "const": 1},
        "version": _text("Version of panelcp"),
        "inputs_hash": _text("Of case, surface and version; in the name of the folder"),
        "name": _text("Name of the case"),
        "question": _text("Question that the case asks"),
        "note": _text("Note of the case"),
        "answer": _texts("The answer in sentences"),
        "notices": _texts("What makes whole conditions unusable"),
        "warnings": _texts("What to look at before the numbers are trusted"),
        "cautions": _texts("What no number here clears"),
        "not_modelled": _texts("What the numbers leave out"),
    }


def _surface() -> Schema:
    return _record(
        "Figures of the surface, and what was done to it",
        length_width_height=_vector("m", "Length, width and height"),
        bounds=_list("Least and greatest coordinates; m", _vector("m", "A corner"), 2),
        panels=_count("Panels of the whole surface"),
        panels_solved=_count("Panels with an unknown of their own: half of a mirrored surface"),
        area=_number("m2", "Wetted area"),
        volume=_number("m3", "Enclosed volume"),
        asymmetry=_number("m", "Greatest distance of a mirrored vertex from the nearest one"),
        least_angle=_number("deg", "Least angle of all panels"),
        notes=_texts("What was changed since the file was read"),
    )


def _solver() -> Schema:
    check = _record(
        "One check of the solution",
        kind=_text("What was checked"),
        limit=_number("", "Above it a panel, or the whole, is suspect"),
        worst=_number("", "Greatest value found"),
        failed=_flag("Whether the worst is above the limit"),
        count=_count("Suspect panels; 1 for a check of the whole"),
        place=_text("Station, butt line and waterline of the worst in mm, or the whole body"),
    )
    return _record(
        "How well the flow was solved",
        unit_solutions=_texts("Names of the unit causes, of which every condition is a sum"),
        iterations=_count("Steps of the iterative solver, all unit causes together"),
        residual_normal_velocity=_series(
            "m/s", "Normal velocity left over the skin, rms, by unit cause of unit size"
        ),
        force_coefficient=_if_known("", "Pressure force over q and frontal area; zero in theory"),
        checks=_list("Checks of the solution", check),
    )


def _condition() -> Schema:
    return _record(
        "One condition",
        name=_text("Name"),
        decides=_flag("Whether the ranking depends on it"),
        weight=_number("", "In weighted means"),
        true_airspeed=_number("m/s", "True airspeed; of the air along the ground on the ground"),
        alpha=_number("deg", "Angle of attack of the datum, nose up positive"),
        beta=_number("deg", "Sideslip, wind from the right positive"),
        ground_speed=_optional(_number("m/s", "Of the wheels, on the ground")),
        wind_speed=_number("m/s", "Of the wind on the ground"),
        wind_from=_number("deg", "Where the wind comes from: 0 ahead, 90 right, 180 behind"),
        attitude=_optional(_number("deg", "Datum to the ground, nose up positive")),
        height=_optional(_number("m", "Of the datum's origin above the ground")),
        altitude=_number("m", "Pressure altitude"),
        temperature=_number("K", "Outside air"),
        density=_number("kg/m3", "Outside air"),
        dynamic_pressure=_number("Pa", "q of the free stream"),
        mach=_number("", "Mach number"),
        power=_optional(_number("", "Part of the rated shaft power")),
        on_ground=_flag("Whether it is on the ground"),
        mean_rise=_number("Pa", "Thrust of the propeller over its disc"),
        predicted=_flag("Whether more than the sign of a flow can be told"),
        needed_pressure=_optional(_mark(place=False)),
    )


def _mark(place: bool) -> Schema:
    where = {"place": _text("Where the number is used")} if place else {}
    about = "One uncertain number" if place else "Pressure needed across inlet, core and exit"
    return _record(
        about,
        **where,
        value=_number(NAMED_BESIDE, "The number"),
        unit=_text("Unit of value, low and high; empty for none"),
        low=_optional(_number(NAMED_BESIDE, "Low end, one standard deviation or as source says")),
        high=_optional(_number(NAMED_BESIDE, "High end")),
        mark=_word("Where the number comes from", *MARKS),
        source=_text("Author, title, number and year, or a word on it"),
    )


def _opening() -> Schema:
    return _record(
        "One opening on the closed skin",
        name=_text("Name"),
        use=_word("What it is for", *USES),
        kind=_word("How it is made", *KINDS),
        side=_word("The side it looks at", *SIDES),
        centre=_vector("m", "Centre on the skin"),
        normal=_vector("dimensionless", "Outward normal, of unit length"),
        area=_number("m2", "Area on the skin"),
        patch_pressure=_by_condition(_number("Pa", "Area mean on the closed skin")),
        pressure_spread=_by_condition(_number("Pa", "Standard deviation over the area")),
        total_pressure=_by_condition(_number("Pa", "Total pressure of the air there")),
        inlet_pressure=_optional(
            _by_condition(_number("Pa", "Behind an inlet with its recovery; null for others"))
        ),
    )


def _effect() -> Schema:
    record = _record(
        "One opening",
        name=_text("Name"),
        pressure=_by_condition(_number("Pa", "Patch pressure with all effects")),
    )
    words = {
        "slipstream": "what the propeller's slipstream adds",
        "swirl": "what its swirl adds",
        "wing": "what the wing adds",
        "ground": "what the ground adds",
    }
    for name, about in words.items():
        one = _by_condition(_number("Pa", f"Of the patch pressure, {about}; only where it acts"))
        record["properties"][name] = one
    return record


def _through_flow() -> Schema:
    ratio = "Mean speed through it over that of the air there at outside pressure"
    return _record(
        "One opening",
        name=_text("Name"),
        volume_flow=_by_condition(_number("m3/s", "Given flow, out of the body positive")),
        velocity_ratio=_if_known("", ratio),
        spillage=_if_known("", "Part of the air ahead of an inlet's face that goes round it"),
        lip_pressure=_if_known("Pa", "Lowest on the lip, all flows"),
        change_by_other_openings=_if_known(
            "Pa", "What the flows of the others add to the patch pressure"
        ),
    )


def _boundary_layer() -> Schema:
    states = sorted(STATE_NAMES.values())
    return _record(
        "One opening",
        name=_text("Name"),
        state=_list("State of the air there, by condition", _word("In one condition", *states)),
        thickness=_if_known("m", "Thickness of the layer, area mean"),
        way_to_separation=_if_known("m", "Least way from here to separation, negative behind it"),
        way_to_warning=_if_known("m", "The same to where separation may come"),
        pocket_pressure=_if_known("Pa", "Of a pocket of air over it"),
        recovery_share=_if_known("", "Part of its recovery that the layer leaves to a flush inlet"),
    )


def _exit_air() -> Schema:
    return _record(
        "Air of one exit near one thing in one condition",
        exit=_text("Name of the exit"),
        target=_text("What it comes near"),
        kind=_text("Kind of the target"),
        condition=_text("Name of the condition"),
        reached=_flag("Whether the widening plume covers the target"),
        way=_number("m", "From the exit along the skin to the nearest place"),
        clearance=_number("m", "From the edge of the plume, negative within it"),
        pressure_difference=_optional(
            _number("Pa", "Exit less target; null where the target is no opening")
        ),
    )


def _port_error() -> Schema:
    return _record(
        "One static port",
        name=_text("Name"),
        pressure=_by_condition(_number("Pa", "At the port")),
        airspeed_error=_if_known("m/s", "Calibrated airspeed shown too high, negative too low"),
        altitude_error=_if_known("m", "Altitude shown too high, negative too low"),
    )


def _ranking() -> Schema:
    return _record(
        "Pairs of inlet and exit by least available over needed pressure",
        n_pairs=_count("Pairs that were tried", 1),
        short_list=_list(
            "Ranks of the best pairs whose places do not overlap; dimensionless",
            _count("Rank", 1),
        ),
        best_of_each_side=_mapping(
            "Side of the exit -> rank of its best pair; dimensionless", _count("Rank", 1), SIDES
        ),
        pairs=_list("Best first, 500 at most; ranking.csv holds all", _pair()),
    )


def _pair() -> Schema:
    return _record(
        "One pair",
        rank=_count("Place in the order, 1 the best", 1),
        inlet=_text("Name of the inlet"),
        exit=_text("Name of the exit"),
        exit_side=_word("The side the exit looks at", *SIDES),
        exit_centre=_vector("m", "Centre of the exit"),
        least_ratio=_number("", "Least available over needed pressure of the deciding conditions"),
        least_ratio_deviation=_number("", "Its standard deviation"),
        mean_ratio=_number("", "Weighted mean of it over the deciding conditions"),
        limiting_condition=_text("Condition of the least"),
        available=_by_condition(_number("Pa", "Pressure behind the inlet less that at the exit")),
        deviation=_by_condition(_number("Pa", "Standard deviation of available")),
        ratio=_if_known("", "Available over needed pressure"),
        probability_enough=_optional(_share("That it is enough in all deciding conditions")),
        probability_enough_by_condition=_by_condition(_share("That it is enough"), known=False),
        probability_reversed=_by_condition(_share("That the air flows backwards"), known=False),
        largest_contributor=_optional(_text("What most of the variance comes from")),
        band=_optional(_band()),
        why=_text("Why it stands where it stands"),
    )


def _band() -> Schema:
    return _record(
        "What the sampled worlds say; of pairs of the short list only",
        samples=_count("Worlds"),
        quantiles=_list("Which quantiles; dimensionless", _share("One of the three"), 3),
        available=_list(
            "Available pressure, by quantile and condition; Pa",
            _if_known("Pa", "At one quantile"),
            3,
        ),
        least_ratio=_quantiles("", "least available over needed pressure"),
        least_ratio_shares=_mapping(
            "Kind of doubt -> its part of the variance of the least ratio; dimensionless",
            _number("", "Part of the variance"),
        ),
        variance_by_kind=_mapping(
            "Kind of doubt -> variance of available that it alone makes; Pa2",
            _if_known("Pa2", "Variance"),
        ),
    )


def _place() -> Schema:
    twin = _record(
        "Its mirror image, where both are one opening",
        name=_text("Name"),
        turn=_number("deg", "Turn of its axes"),
        centre=_vector("m", "Its centre on the skin"),
    )
    return _record(
        "One opening",
        name=_text("Name"),
        use=_word("What it is for", *USES),
        kind=_word("How it is made", *KINDS),
        shape=_word("Its outline", *SHAPES),
        length=_number("m", "Along its axis"),
        width=_number("m", "Across its axis"),
        turn=_number("deg", "Turn of its axes about the outward normal"),
        centre=_vector("m", "Centre on the skin"),
        twin=_optional(twin),
    )


def _choices_and_tape() -> dict[str, Schema]:
    tape = _record(
        "Centre of one opening, measured on the skin",
        centre_line=_number("m", "Shortest way to butt line 0"),
        side=_word("Centre line that was measured to", "top", "bottom"),
        hand=_word("Side of the centre line as the pilot sees it", "left", "right", ""),
        firewall=_optional(_number("m", "To the plane of the firewall, negative behind it")),
    )
    zone = _record(
        "A no-cut zone and how near it is",
        zone=_text("Name of the zone"),
        way=_number("m", "Straight way from the outline, clearance taken off, 0 inside"),
    )
    return {
        "choices": _optional(_choices()),
        "tape": _mapping("Name of an opening -> its distances along the skin", tape),
        "near_zones": _mapping("Name of an opening -> the no-cut zone next to it", _optional(zone)),
        "spoilers": _list("Every number beyond its limit, worst first", _spoiler()),
        "pocket_edges": _list("Pocket ahead of the windshield, by condition", _pocket()),
    }


def _choices() -> Schema:
    return _record(
        "The short list compared with itself; lists go in the order of pairs",
        pairs=_list("Ranks of the short list; dimensionless", _count("Rank", 1)),
        chance_of_best=_series("", "That it, or a place over it, is the best of all pairs"),
        chance_elsewhere=_share("That none of the short list is"),
        chance_of_exit=_series("", "That its exit is the best, whatever the inlet"),
        chance_among=_series("", "That it is the best of the short list"),
        regret=_list(
            "By deciding condition: what it loses against the best, in parts of the needed "
            "pressure; dimensionless",
            _series("", "In one condition, by pair"),
        ),
        worst_regret=_series("", "Greatest regret"),
        mean_regret=_series("", "Weighted mean regret"),
        worst_regret_band=_list(
            "16, 50 and 84 % of the worlds: worst regret; dimensionless",
            _series("", "At one quantile, by pair"),
            3,
        ),
        difference=_list(
            "Row less column: mean difference of the least ratio; dimensionless",
            _series("", "Of one pair less each"),
        ),
        difference_deviation=_list(
            "Its standard deviation; dimensionless", _series("", "Of one pair less each")
        ),
        tie=_list(
            "Whether row and column cannot be told apart",
            _list("Of one pair with each", _flag("With one pair")),
        ),
    )


def _spoiler() -> Schema:
    return _record(
        "One number beyond its limit",
        opening=_text("Name of the place"),
        kind=_text("What spoils it"),
        condition=_optional(_text("Worst condition; null where it holds in all, or parked")),
        value=_number(NAMED_BESIDE, "What was found"),
        limit=_number(NAMED_BESIDE, "From where on it is said"),
        unit=_word("Unit of value and limit; empty for parts of one", "m", "m2", "Pa", ""),
        mark=_word("Where the limit comes from", *MARKS),
        text=_text("A sentence for the builder"),
        severity=_word("How bad", "spoils", "look"),
        about=_text("The other thing it is about, empty without"),
    )


def _pocket() -> Schema:
    def station(about: str) -> Schema:
        return _optional(_number("m", about))

    return _record(
        "Stations in one condition",
        condition=_text("Name of the condition"),
        warned_station=station("From here on the air may separate"),
        separated_station=station("Where it separates"),
        stratford_station=station("Where it separates by Stratford's criterion"),
        reattached_station=station("Where it comes back"),
        base_station=station("Base of the windshield"),
    )


def _vent_map() -> Schema:
    return _record(
        "One map",
        use=_word("As what the opening would serve", "exit", "inlet"),
        kind=_text("Kind of opening, where it matters"),
        partners=_texts("Names of the inlets or exits it would work with"),
        panels_searched=_count("Panels looked at"),
        greatest_least_ratio=_number("", "Greatest least available over needed pressure"),
        place=_vector("m", "Where it is"),
        deciding_condition=_text("Condition that decides there"),
    )


def _curves() -> Schema:
    answer = _record(
        "How far forward an opening on the top centre line must lie",
        asked=_text("What must hold there"),
        station=_if_known("m", "Aftmost station at which it holds"),
        low=_if_known("m", "The same, on the safe side"),
        high=_if_known("m", "The same, on the other side"),
    )
    line = _record(
        "Pressure along one line on the closed skin",
        side=_word("Where the line runs", *SIDES),
        across=_number("m", "Its butt line above and below, its waterline at the sides"),
        station=_series("m", "Stations of its points"),
        pressure=_list("By condition; Pa", _series("Pa", "By point")),
        deviation=_list("Standard deviation, by condition; Pa", _series("Pa", "By point")),
    )
    return _record(
        "What the curves are drawn from",
        windshield_foot=_optional(_number("m", "Station of the windshield's foot")),
        sides=_mapping("Side -> its best exit", _side(), SIDES),
        how_far_forward=_list("Answers, by what is asked", answer),
        lines=_list("Lines on the skin", line),
        sweeps=_list("One number of a condition changed", _sweep()),
    )


def _side() -> Schema:
    return _record(
        "Best exit of one side with its best inlet",
        pair=_count("Rank of the pair", 1),
        exit_pressure=_by_condition(_number("Pa", "At the exit")),
        exit_deviation=_if_known("Pa", "Its standard deviation"),
        available=_by_condition(_number("Pa", "Available pressure")),
        deviation=_if_known("Pa", "Its standard deviation"),
        ratio=_if_known("", "Available over needed pressure"),
        probability_reversed=_by_condition(_share("That the air flows backwards"), known=False),
    )


def _sweep() -> Schema:
    pair = _record(
        "One pair of inlet and exit",
        inlet=_text("Name of the inlet"),
        exit=_text("Name of the exit"),
        exit_pressure=_series("Pa", "At the exit, by value", known=False),
        available=_series("Pa", "Available, by value", known=False),
        low=_series("Pa", "16 % of available, by value", known=False),
        high=_series("Pa", "84 % of available, by value", known=False),
    )
    unit = "deg, m/s or dimensionless, by quantity"
    return _record(
        "One number of one condition changed",
        quantity=_text(
            "What is changed: an angle or bearing in deg, airspeed in m/s, power or slipstream "
            "factor as parts of one"
        ),
        condition=_text("Name of the condition"),
        values=_series(unit, "Its values, increasing"),
        pairs=_list("Pairs that are shown", pair),
        needed=_series("Pa", "Needed pressure, by value", known=False),
        predicted=_list("By value", _flag("Whether more than a sign can be told")),
    )


def _combinations() -> Schema:
    return _record(
        "Inlets and exits that share one bay",
        possible=_count("Combinations there are"),
        looked_at=_count("Combinations looked at"),
        exact=_flag("Whether all of them were"),
        inlets=_texts("Names of the inlets that entered"),
        exits=_texts("Names of the exits that entered"),
        area_factors=_series("", "Factors on the area of exits that were tried"),
        needed_flow=_if_known("m3/s", "Air that the core needs"),
        needed_core_pressure=_if_known("Pa", "Pressure drop of the core at it"),
        preferred=_count("Rank of the one that is shown open", 1),
        combinations=_list("Best first", _combination()),
    )


def _combination() -> Schema:
    return _record(
        "One combination",
        rank=_count("Place in the order, 1 the best", 1),
        least_flow_ratio=_number("", "Least flow over needed flow of the deciding conditions"),
        deviation=_optional(_number("", "Its standard deviation")),
        mean_flow_ratio=_number("", "Weighted mean over the deciding conditions"),
        limiting_condition=_text("Condition of the least"),
        probability_enough=_optional(_share("That enough flows in all deciding conditions")),
        probability_best_of_these=_optional(_share("That it is the best of these")),
        difference_deviation=_optional(
            _number("", "Standard deviation of the first's least ratio less its own")
        ),
        equal_to_the_best=_flag("Whether it cannot be told from the first"),
        exit_area=_number("m2", "Of all its exits together"),
        flow=_if_known("m3/s", "Air through the core"),
        flow_ratio=_if_known("", "Flow over needed flow"),
        flow_ratio_deviation=_if_known("", "Its standard deviation"),
        core_pressure_ratio=_if_known("", "Pressure drop of the core over the needed one"),
        plenum_pressure=_if_known("Pa", "Total, ahead of the core"),
        bay_pressure=_if_known("Pa", "Total, behind the core"),
        inlets=_list("Its inlets", _combined("flow_in", "Into the body")),
        exits=_list(
            "Its exits",
            _combined(
                "flow_out",
                "Out of the body",
                area_factor=_number("", "Factor on its area"),
                area=_number("m2", "Area with the factor"),
            ),
        ),
        warnings=_texts("Where the air may flow the wrong way"),
    )


def _combined(flow: str, about: str, **more: Schema) -> Schema:
    return _record(
        "One opening",
        name=_text("Name"),
        **more,
        **{flow: _if_known("m3/s", about)},
        probability_reversed=_by_condition(_share("That the air flows the wrong way"), known=False),
    )


def _cooling() -> Schema:
    place = _record(
        "One place",
        pressure_Pa=_if_known("Pa", "Total gauge pressure"),
        temperature_K=_optional(_if_known("K", "Of the air")),
    )
    step = _record(
        "One step on the way of the air",
        core=_text("Name of the core"),
        what=_text("Words"),
        pressure_Pa=_if_known("Pa", "Total pressure lost; first and last step: pressure outside"),
    )
    return _record(
        "The cooling network; lists go by condition in the order of its own `conditions`",
        conditions=_texts("Names of the conditions"),
        decides=_flags("Whether it decides"),
        least_margin_K=_if_known("K", "Least room up to a limit"),
        limiting_core=_list(
            "Core of the least margin, by condition", _optional(_text("Name of the core"))
        ),
        judgement=_list(
            "By condition; common practice", _optional(_word("Of the margins", *JUDGEMENTS))
        ),
        available_over_needed=_if_known(
            "", "One over the factor on all pressures that leaves no margin"
        ),
        no_pressure_needed=_flags("Whether no pressure is needed"),
        highest_outside_temperature_K=_if_known(
            "K", "Outside air at which the first margin is used up"
        ),
        leak_share=_if_known("", "Part of the air taken in that leaks past the cores"),
        openings=_list("Openings of the network", _port()),
        cores=_list("Cores", _core()),
        fans=_list("Fans", _fan()),
        ways=_list("Ducts, leaks and doors of fans", _way()),
        places=_mapping("Name of a place -> its air", place),
        pressure_budget=_list("Where the total pressure goes, core by core", step),
        usual_ranges=_list("Numbers beside what builders usually meet", _usual()),
        solution=_solution(),
        notes=_texts("What was assumed"),
        warnings=_texts("What to look at"),
    )


def _banded(unit: str, about: str) -> Schema:
    def ends(words: str) -> Schema:
        return _if_known(unit, words)

    return _record(
        f"{about}; {unit}",
        value=ends("With every number at its central value"),
        low=ends("16 % of the sampled worlds"),
        high=ends("84 % of the sampled worlds"),
    )


def _port() -> Schema:
    return _record(
        "One opening",
        name=_text("Name"),
        use=_word("What it is for", *USES),
        kind=_word("How it is made", *KINDS),
        place=_text("Name of the place behind it"),
        area_m2=_number("m2", "Area"),
        height_m=_number("m", "Height for buoyancy"),
        pressure_Pa=_if_known("Pa", "Gauge pressure outside"),
        coupling_Pa=_if_known("Pa", "Part of it by other openings' flows"),
        flow_kg_per_s=_banded("kg/s", "Air in the sense of its use"),
        velocity_m_per_s=_if_known("m/s", "Through the opening"),
        velocity_ratio=_if_known("", "Over the true airspeed"),
        temperature_K=_if_known("K", "Of the air that passes"),
        reversed=_flags("Whether the air flows against its use"),
        probability_reversed=_by_condition(_share("That it does"), known=False),
    )


def _core() -> Schema:
    return _record(
        "One core",
        name=_text("Name, also of the place ahead of it"),
        role=_text("What it cools"),
        start=_text("Place ahead of it"),
        end=_text("Place behind it"),
        face_area_m2=_number("m2", "Of its face"),
        flow_kg_per_s=_banded("kg/s", "Air from ahead to behind"),
        face_velocity_m_per_s=_if_known("m/s", "Of the air on its face"),
        pressure_drop_Pa=_if_known("Pa", "Of total pressure"),
        beyond_measured_flows=_flags("Whether its drop was not measured at such a flow"),
        air_inlet_temperature_K=_if_known("K", "Air ahead of it"),
        air_outlet_temperature_K=_if_known("K", "Air behind it"),
        heat_W=_if_known("W", "Heat to the air"),
        hot_temperature_K=_if_known("K", "What it cools, ahead of it"),
        cold_temperature_K=_if_known("K", "What it cools, behind it"),
        limit_temperature_K=_if_known("K", "Limit, or boiling where that is less"),
        margin_K=_banded("K", "Room up to the limit"),
        judgement=_list(
            "By condition; common practice", _optional(_word("Of the margin", *JUDGEMENTS))
        ),
        probability_too_hot=_by_condition(_share("That the limit is passed"), known=False),
        thermostat_share=_if_known("", "Part of the coolant through the core"),
        too_cold=_flags("Whether it is over-cooled"),
        reversed=_flags("Whether the air flows backwards"),
        probability_reversed=_by_condition(_share("That it does"), known=False),
        flags=_list("What is to be said, by condition", _texts("In one condition")),
    )


def _fan() -> Schema:
    return _record(
        "One fan",
        name=_text("Name"),
        start=_text("Place ahead of it"),
        end=_text("Place behind it"),
        running=_flags("Whether it runs"),
        volume_flow_m3_per_s=_if_known("m3/s", "Air ahead of it"),
        flow_kg_per_s=_if_known("kg/s", "Air that the places beside it leave for it"),
        pressure_rise_Pa=_if_known("Pa", "Of total pressure, negative where it holds air back"),
        electrical_power_W=_if_known("W", "Electrical power"),
        near_stall_dip=_flags("Whether it is near its stall dip"),
        holds_ram_air_back=_flags("Whether it is in the way of ram air"),
    )


def _way() -> Schema:
    return _record(
        "One duct, leak, or doors of a fan",
        name=_text("Name"),
        kind=_word("What it is", "duct", "leak", "doors"),
        start=_text("Place it leads from"),
        end=_text("Place it leads to"),
        flow_kg_per_s=_if_known("kg/s", "Air from start to end"),
        pressure_drop_Pa=_if_known("Pa", "Of total pressure"),
    )


def _usual() -> Schema:
    return _record(
        "One number beside its usual range; never used as an input",
        what=_text("What is looked at"),
        name=_text("Of which thing, empty of the whole"),
        unit=_text("Of the numbers here; empty for none"),
        usual_low=_number(NAMED_BESIDE, "Low end of the usual range"),
        usual_high=_optional(_number(NAMED_BESIDE, "High end; null without one")),
        least=_number(NAMED_BESIDE, "Least over the conditions looked at"),
        most=_number(NAMED_BESIDE, "Greatest over them"),
        least_in=_text("Condition of the least"),
        most_in=_text("Condition of the greatest"),
        inside=_flag("Whether all lies in the usual range"),
        mark=_word("Where the range comes from", *MARKS),
    )


def _solution() -> Schema:
    state = _record(
        "A steady state besides the one shown",
        condition=_text("Name of the condition"),
        start=_text("From where it was reached"),
        flows_kg_per_s=_mapping(
            "Opening -> air in the sense of its use; kg/s", _optional(_number("kg/s", "Air"))
        ),
        margins_K=_mapping("Core -> room up to its limit; K", _optional(_number("K", "Margin"))),
    )
    return _record(
        "How well the network was solved",
        converged=_flags("Whether it was"),
        residual=_if_known("", "Greatest imbalance of pressure round a loop, a share"),
        heat_error=_if_known("", "Heat to the air less heat of the cores, over the latter"),
        newton_steps=_by_condition(_count("Steps of Newton's method")),
        samples=_count("Sampled worlds"),
        lost_samples=_by_condition(_count("Worlds that did not converge and are left out")),
        coupling_rounds=_count("Rounds until flows and pressures outside agreed"),
        coupling_change_kg_per_s=_optional(
            _number("kg/s", "Greatest change of a flow in the last round")
        ),
        other_states=_list("Other steady states that were found", state),
    )


def _margins() -> Schema:
    place = _record(
        "One place",
        name=_text("Name"),
        kind=_word("How it is made", *KINDS),
        side=_word("The side it looks at", *SIDES),
        area=_number("m2", "As searched or named"),
        least_margin=_optional(_number("K", "Least of the deciding conditions")),
        least_margin_with_own_area=_optional(_number("K", "The same with the place's own area")),
        limiting_condition=_text("Condition of the least"),
        margin=_if_known("K", "Least of all cores"),
        flow=_if_known("kg/s", "Air through all cores"),
        reversed=_flags("Whether some opening or core flows backwards"),
    )
    return _record(
        "Places of one use, best first",
        use=_word("For what the places stand", "exit", "inlet"),
        compared_area=_number("m2", "Area with which all are compared"),
        places=_list("The best; ranking-by-margin.csv holds all", place),
    )


def _inputs() -> Schema:
    return _record(
        "What the run was made from",
        surface_hash=_text("SHA-256 of the surface's file"),
        case={
            "description": "The case file as understood: its tables and keys, texts with units",
            "type": "object",
        },
    )
