// Superposition of the unit velocities in the browser: the same steps as panelcp.flow and
// panelcp.onset take, also for changed angles, speed, altitude and slipstream factor.
//
// Panelcp.flow(block, c, changes, options)  pressures of condition c at all control points
// Panelcp.airOf(block, c, changes)          what the air brings: stream, density, slipstream, q
// Panelcp.changeable(block, c)              names that `changes` may have in condition c
// Panelcp.speedRange(block, c, changes)     true airspeeds between stall and the limit of Mach
// All throw an Error in plain words where a change is not possible (stall, a brake too hard, ...).
(function () {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});

  const RADIANS = Math.PI / 180;
  const STILL = 1e-6; // m/s, a tail wind below it is rounding
  const MACH_LIMIT = 0.4;
  const GAS = 287.05287, HEAT_RATIO = 1.4; // J/(kg K)
  const SEA_TEMPERATURE = 288.15, SEA_PRESSURE = 101325; // K, Pa
  const LAPSE = 0.0065, TROPOPAUSE = 11000; // K/m, m
  const SHARE_POINTS = 2001; // of the integral over the disc
  const UNMATCHED = 1e-3; // of a slipstream; less is as good as exact

  // What a change does to a condition; what it leaves as it was solved.
  const IN_FLIGHT = ["alpha", "beta", "speed", "calibrated", "altitude", "factor"];
  const NEAR_GROUND = ["beta", "speed", "calibrated", "altitude", "factor"];
  const ON_GROUND = ["groundSpeed", "windSpeed", "windFrom", "altitude", "factor"];
  // Smallest and greatest value, as panelcp.onset.conditions and panelcp.atmosphere allow them.
  const LIMITS = {
    alpha: [-45, 45], beta: [-45, 45], windFrom: [-360, 360], altitude: [-2000, 20000],
    speed: [0, Infinity], calibrated: [0, Infinity], groundSpeed: [0, Infinity],
    windSpeed: [0, Infinity], factor: [0, Infinity],
  };
  const EXACT = ["stream", "air density", "slipstream", "wing"];
  const FROZEN = ["boundary layer", "separated air", "edges of the pocket", "needed pressure",
    "cooling network"];

  // --- air --------------------------------------------------------------------------------

  function airAt(gravity, altitude, condition) {
    const standard = SEA_TEMPERATURE - LAPSE * Math.min(altitude, TROPOPAUSE);
    const power = gravity / (GAS * LAPSE);
    let pressure = SEA_PRESSURE * (standard / SEA_TEMPERATURE) ** power;
    pressure *= Math.exp((-gravity * Math.max(altitude - TROPOPAUSE, 0)) / (GAS * standard));
    let temperature = condition.temperature;
    if (condition.day === "hot day") {
      // 100 degF at sea level, 3.6 degF less per 1000 ft, not below -69.7 degF
      const degF = Math.max(100 - 3.6e-3 * (altitude / 0.3048), -69.7);
      temperature = (degF + 459.67) * (5 / 9);
    } else if (temperature === null) {
      temperature = standard + condition.temperature_offset;
    }
    return {
      temperature, pressure,
      density: pressure / (GAS * temperature),
      sound: Math.sqrt(HEAT_RATIO * GAS * temperature),
    };
  }

  // True airspeed at which a faultless indicator shows a calibrated one: same impact pressure.
  function trueAirspeed(calibrated, air) {
    const half = 0.5 * (HEAT_RATIO - 1), exponent = HEAT_RATIO / (HEAT_RATIO - 1);
    const mach = calibrated / Math.sqrt(HEAT_RATIO * GAS * SEA_TEMPERATURE);
    const ratio = Math.expm1(exponent * Math.log1p(half * mach ** 2));
    const other = (ratio * SEA_PRESSURE) / air.pressure;
    return Math.sqrt(Math.expm1(Math.log1p(other) / exponent) / half) * air.sound;
  }

  // --- the condition as changed -----------------------------------------------------------

  function changeable(block, c) {
    const condition = block.conditions[c];
    let names = condition.ground_speed !== null ? ON_GROUND : condition.on_ground ? NEAR_GROUND : IN_FLIGHT;
    if (!block.propeller || !block.header.effects.includes("slipstream")) {
      names = names.filter(name => name !== "factor");
    }
    return names;
  }

  function given(changes) {
    return Object.keys(changes || {}).filter(name => changes[name] !== undefined && changes[name] !== null);
  }

  function checked(block, c, changes) {
    const names = given(changes), allowed = changeable(block, c);
    const wrong = names.filter(name => !allowed.includes(name));
    if (wrong.length) {
      throw new Error(`${block.conditions[c].name}: ${wrong[0]} cannot be changed here; what can: ` +
        allowed.join(", "));
    }
    for (const name of names) {
      const [low, high] = LIMITS[name], value = changes[name];
      if (!Number.isFinite(value) || value < low || value > high) {
        throw new Error(`${block.conditions[c].name}: ${name} is ${value}; expected ${low} to ${high}`);
      }
    }
    return names;
  }

  // Stream far ahead in body axes, m/s, with its speed, m/s.
  function streamOf(condition, changes, air) {
    const pick = (name, own) => (changes[name] ?? own);
    const alpha = (condition.attitude || pick("alpha", condition.alpha)) * RADIANS;
    let aft, right, speed;
    if (condition.ground_speed !== null) {
      const bearing = pick("windFrom", condition.wind_from) * RADIANS;
      const wind = pick("windSpeed", condition.wind_speed);
      aft = pick("groundSpeed", condition.ground_speed) + wind * Math.cos(bearing);
      right = -wind * Math.sin(bearing);
      speed = Math.hypot(aft, right);
    } else {
      const beta = pick("beta", condition.beta) * RADIANS;
      const calibrated = changes.calibrated ?? (changes.speed === undefined ? condition.calibrated_airspeed : null);
      speed = calibrated !== null ? trueAirspeed(calibrated, air) : pick("speed", condition.true_airspeed);
      aft = speed * Math.cos(beta);
      right = -speed * Math.sin(beta);
    }
    return { stream: [aft * Math.cos(alpha), right, aft * Math.sin(alpha)], speed };
  }

  // True airspeeds, m/s, between stall and the limit of Mach number, with the other changes.
  function speedRange(block, c, changes) {
    const condition = block.conditions[c], wing = block.wing;
    const altitude = (changes && changes.altitude) ?? condition.altitude;
    const air = airAt(block.header.gravity, altitude, condition);
    const lift = wing && block.header.effects.includes("wing") ?
      Math.abs(condition.lift_over_weight) * wing.mass * block.header.gravity : 0;
    const low = lift > 0 ? Math.sqrt((2 * lift) / (air.density * wing.area * wing.max_lift_coefficient)) : 0;
    return [low, MACH_LIMIT * air.sound];
  }

  // --- slipstream by momentum theory ------------------------------------------------------

  // Linear between places that increase, zero outside.
  function tableAt(places, values, x) {
    const last = places.length - 1;
    if (!(x >= places[0] && x <= places[last])) return 0;
    let low = 0, high = last;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (places[middle] <= x) low = middle; else high = middle;
    }
    const share = (x - places[low]) / (places[high] - places[low]);
    return values[low] + share * (values[high] - values[low]);
  }

  function inducedVelocity(rise, along, density) {
    const root = 0.25 * along * along + rise / (2 * density);
    if (root < 0) {
      throw new Error("the propeller brakes so hard that the air behind it would flow forward");
    }
    return Math.sqrt(root) - 0.5 * along;
  }

  // Thrust, N, of a disc that makes the stated part of the shaft power useful.
  function thrustFromPower(power, along, density, area, figure, efficiency) {
    if (power <= 0) return 0;
    const excess = thrust => {
      const v = inducedVelocity(thrust / area, along, density);
      const share = along / (along + v);
      return thrust * (along + v) - (figure + (efficiency - figure) * share) * power;
    };
    const most = (2 * density * area) ** (1 / 3) * (Math.max(figure, efficiency) * power) ** (2 / 3);
    let low = 1e-9 * most, high = 1.0001 * most;
    for (let step = 0; step < 60; step++) {
      const middle = 0.5 * (low + high);
      if (excess(middle) > 0) high = middle; else low = middle;
    }
    return 0.5 * (low + high);
  }

  function slipstreamOf(block, condition, stream, density, factor) {
    const propeller = block.propeller, header = block.header;
    if (!propeller || !header.effects.includes("slipstream")) return null;
    const power = condition.power ? condition.power * header.rated_power : 0;
    if (!power && !condition.thrust) return null;
    const area = Math.PI * propeller.radius ** 2;
    const airspeed = stream.reduce((sum, value, k) => sum + value * propeller.aft[k], 0);
    const along = Math.max(airspeed, 0);
    let thrust = condition.thrust;
    if (thrust === null && condition.propeller_efficiency !== null) {
      if (along <= 0) throw new Error(`${condition.name}: a propeller efficiency says nothing at rest`);
      thrust = (condition.propeller_efficiency * power) / along;
    } else if (thrust === null) {
      thrust = thrustFromPower(power, along, density, area, propeller.figure_of_merit, propeller.efficiency);
    }
    const most = thrustFromPower(power, along, density, area, 1, 1);
    if (power && thrust > 1.0001 * most) {
      throw new Error(`${condition.name}: ${thrust.toFixed(0)} N of thrust from this power at ` +
        `${along.toFixed(1)} m/s; the propeller gives at most ${most.toFixed(0)} N`);
    }
    const meanRise = thrust / area;
    const loading = fraction => tableAt(propeller.loading_fraction, propeller.loading_value, fraction);
    const induced = fraction => inducedVelocity(meanRise * loading(fraction), along, density);
    return {
      factor, airspeed, along, density, thrust, meanRise, loading, induced,
      meanInduced: inducedVelocity(meanRise, along, density),
      predicted: airspeed >= -STILL,
      rise(fraction) {
        const v = factor * induced(fraction);
        return 2 * density * v * Math.max(airspeed + v, 0);
      },
      swirl: swirlStrength(block, condition, power, density, along, { loading, induced }),
    };
  }

  // r v_t, m2/s, of air that has met the mean loading: the shaft power goes into the air.
  function swirlStrength(block, condition, power, density, along, disc) {
    const propeller = block.propeller;
    if (!power || !block.header.effects.includes("swirl")) return 0;
    let turning = condition.rotational_speed;
    if (!turning && propeller.rotational_speed !== null) {
      turning = propeller.rotational_speed * (condition.power || 0) ** (1 / 3);
    }
    const step = 1 / (SHARE_POINTS - 1);
    let passed = 0;
    for (let k = 0; k < SHARE_POINTS; k++) {
      const share = k * step, weight = k === 0 || k === SHARE_POINTS - 1 ? 0.5 : 1;
      const flow = along + disc.induced(share);
      passed += weight * step * disc.loading(share) * flow * 2 * Math.PI * share * propeller.radius ** 2;
    }
    return passed > 0 ? power / (density * turning * passed) : 0;
  }

  // How much of every slipstream field there is, the factor left out, and what that leaves.
  function slipstreamShares(block, part, slipstream) {
    const { middles, areas } = block.propeller;
    const profile = middles.map(place => slipstream.induced(place));
    let size = 0;
    profile.forEach((v, k) => { size += areas[k] * v * v; });
    let met = 0;
    const shares = part.fields.map(field => {
      if (field.kind !== "slipstream") return 0;
      let sum = 0;
      profile.forEach((v, k) => { sum += field.profile[k] * v; });
      met += sum * sum;
      return sum;
    });
    return { shares, unmatched: size > 0 ? Math.sqrt(Math.max(1 - met / size, 0)) : 0 };
  }

  // --- wing -------------------------------------------------------------------------------

  function circulation(block, condition, speed, density) {
    const wing = block.wing, load = condition.lift_over_weight;
    if (!wing || !block.header.effects.includes("wing") || load === 0) return 0;
    const q = 0.5 * density * speed ** 2, lift = load * wing.mass * block.header.gravity;
    if (!(q * wing.area * wing.max_lift_coefficient >= Math.abs(lift))) {
      throw new Error(`${condition.name}: at this speed the wing would be beyond stall (lift ` +
        `coefficient ${(lift / (q * wing.area)).toFixed(2)}, at most ${wing.max_lift_coefficient})`);
    }
    return (2 * (lift / (q * wing.area)) * speed * wing.area) / (Math.PI * wing.span);
  }

  // --- what the air brings ----------------------------------------------------------------

  // Everything that a condition, with changes, brings: stream, density, weights of the fields.
  function airOf(block, c, changes) {
    const names = checked(block, c, changes), condition = block.conditions[c];
    const change = changes || {};
    const air = airAt(block.header.gravity, change.altitude ?? condition.altitude, condition);
    const density = change.altitude === undefined || change.altitude === null ? condition.density : air.density;
    const { stream, speed } = names.length ? streamOf(condition, change, air) :
      { stream: condition.stream, speed: condition.speed };
    if (speed / air.sound > MACH_LIMIT) {
      throw new Error(`${condition.name}: Mach number above ${MACH_LIMIT}, where this model ends`);
    }
    const slipstream = slipstreamOf(block, condition, stream, density, change.factor ?? block.header.factor);
    const part = block.parts[condition.part];
    const fitted = slipstream ? slipstreamShares(block, part, slipstream) : { shares: [], unmatched: 0 };
    const lift = circulation(block, condition, speed, density);
    const weights = part.fields.map((field, k) => {
      if (field.kind === "stream") return stream[field.axis];
      if (field.kind === "wing") return lift;
      if (!slipstream) return 0;
      return slipstream.factor * (field.kind === "swirl" ? slipstream.swirl : fitted.shares[k]);
    });
    const meanRise = slipstream ? slipstream.meanRise : 0, q = 0.5 * density * speed ** 2;
    return {
      condition: c, changed: names, temperature: air.temperature, density, stream, speed, slipstream, weights, part, meanRise,
      dynamicPressure: q, referencePressure: q + Math.max(meanRise, 0),
      predicted: !slipstream || slipstream.predicted,
      unmatched: fitted.unmatched,
    };
  }

  // Upper total pressure, Pa, and part of the pressure in the middle between the bounds.
  function headsAt(block, air, panels) {
    const n = panels ? panels.length : block.nPanels;
    const upper = new Float64Array(n).fill(air.dynamicPressure);
    const wetting = new Float64Array(n).fill(1);
    const s = air.slipstream;
    if (!s) return { upper, wetting };
    const radius = block.propeller.radius, atDisc = block.sectionAtDisc / Math.PI;
    const v = s.meanInduced, floor = 0.1 * Math.abs(s.meanRise);
    const induced = Math.max(v, 1e-12);
    for (let i = 0; i < n; i++) {
      const panel = panels ? panels[i] : i;
      const axial = block.axial[panel], distance = block.distance[panel];
      let lower = air.dynamicPressure;
      if (axial > 0) {
        const far = axial / Math.hypot(axial, radius);
        const contraction = (s.along + induced) / (s.along + induced * (1 + far));
        const between = Math.max(distance ** 2 - block.section[panel] / Math.PI, 0);
        const high = s.rise(distance / radius);
        const low = s.rise(Math.sqrt(atDisc + between / contraction) / radius);
        upper[i] += high;
        lower += Math.abs(low) < Math.abs(high) ? low : high;
      }
      const whole = upper[i] + floor;
      const share = whole > 0 ? (lower + floor) / whole : 1;
      wetting[i] = 0.5 * (1 + Math.min(Math.max(share, 0), 2));
    }
    return { upper, wetting };
  }

  // Velocity along the two axes of every panel, m/s: (2 n) numbers.
  function velocityOf(block, air) {
    const sum = new Float32Array(2 * block.nPanels);
    air.part.fields.forEach((field, k) => {
      const weight = air.weights[k], values = field.velocity;
      if (weight === 0) return;
      for (let i = 0; i < sum.length; i++) sum[i] += weight * values[i];
    });
    return sum;
  }

  // Scale of the frozen change by separated air: it goes with q and mean rise together.
  function separationScale(block, air) {
    const solved = block.conditions[air.condition].reference_pressure;
    return solved > 0 ? air.referencePressure / solved : 0;
  }

  // Pressure at the control points of all panels in one condition.
  //   changes: { alpha, beta (deg), speed or calibrated (m/s), altitude (m), factor }, on the
  //     ground { groundSpeed, windSpeed (m/s), windFrom (deg), altitude, factor }
  //   options: { separated: false } leaves separated air out
  function flow(block, c, changes, options) {
    const air = airOf(block, c, changes), n = block.nPanels;
    const velocity = velocityOf(block, air), { upper, wetting } = headsAt(block, air);
    const gauge = new Float32Array(n), cp = new Float32Array(n);
    const separated = options && options.separated === false ? null : block.separation[c];
    const scale = separationScale(block, air), q = air.dynamicPressure, half = 0.5 * air.density;
    for (let i = 0; i < n; i++) {
      const a = velocity[i], b = velocity[n + i];
      let p = wetting[i] * (upper[i] - half * (a * a + b * b));
      if (separated) p += scale * separated[i];
      gauge[i] = p;
      cp[i] = q > 0 ? p / q : NaN;
    }
    return { gauge, cp, velocity, air, dynamicPressure: q, ...toldOf(block, air) };
  }

  // What is exact after a change, what is not quite (the slipstream, where those stored cannot be
  // added up to it), and what stays as it was solved.
  function toldOf(block, air) {
    const changed = air.changed.length > 0, rough = air.unmatched > UNMATCHED;
    const exact = EXACT.filter(name => !rough || name !== "slipstream");
    return {
      exact: changed ? exact : [...exact, ...FROZEN],
      approximate: rough ? ["slipstream"] : [],
      frozen: changed ? FROZEN : [],
      unmatched: air.unmatched,
      predicted: air.predicted,
      referencePressure: air.referencePressure,
    };
  }

  Object.assign(Panelcp, {
    flow, airOf, headsAt, separationScale, changeable, speedRange, trueAirspeed,
  });
})();
