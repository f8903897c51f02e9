// Openings laid onto the skin, and pressures between the control points: the same steps as
// panelcp.surface.opening, panelcp.surface.interpolation and panelcp.placement.ranking take.
//
// Panelcp.prepareOpenings(block)                 once, ahead of the first opening
// Panelcp.lay(block, place)                      outline, samples and axes of a place
// Panelcp.patch(block, place, changes)           its pressures in every condition
// Panelcp.patchIn(block, laid, c, changes)       the same in one condition, a record of single values
// Panelcp.available(block, inlet, outlet)        available, needed, ratio, breathing
// Panelcp.readOut(block, c, point, panel, changes)   what holds at one point of the skin
// Panelcp.nearest(block, point)                  nearest point of the skin and its panel
(function () {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});

  const SAMPLES = 9, OUTLINE_POINTS = 48;
  const STEEP = 0.25; // least cosine between the opening's axis and the skin under it
  const STEP = 0.8; // heights that differ by more of the distance lie on different sheets
  const SINGULAR = 0.05; // of the largest; smaller singular values are dropped
  const SIDES = [["front", "rear"], ["left", "right"], ["bottom", "top"]];

  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const cross = (a, b) =>
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  const minus = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
  const unit = a => { const s = Math.hypot(...a); return [a[0] / s, a[1] / s, a[2] / s]; };
  const at = (values, i) => [values[3 * i], values[3 * i + 1], values[3 * i + 2]];

  // --- the mesh: facets, neighbours, corner groups ----------------------------------------

  function corners(block, panel) {
    const t = block.triangles;
    return [0, 1, 2].map(k => at(block.vertices, t[3 * panel + k]));
  }

  // Facet normals, centroids and their greatest distance to a corner; made once.
  function facets(block) {
    if (block.facets) return block.facets;
    const n = block.nPanels, normals = new Float64Array(3 * n), centroids = new Float64Array(3 * n);
    const sizes = new Float64Array(n);
    let reach = 0;
    for (let i = 0; i < n; i++) {
      const [a, b, c] = corners(block, i);
      const middle = [0, 1, 2].map(k => (a[k] + b[k] + c[k]) / 3);
      normals.set(unit(cross(minus(b, a), minus(c, a))), 3 * i);
      centroids.set(middle, 3 * i);
      sizes[i] = Math.max(...[a, b, c].map(corner => Math.hypot(...minus(corner, middle))));
      reach = Math.max(reach, sizes[i]);
    }
    return (block.facets = { normals, centroids, sizes, reach });
  }

  // Edge neighbours within the smooth skin, -1 elsewhere, and groups of corners; made once.
  function topology(block) {
    if (block.topology) return block.topology;
    const t = block.triangles, n = block.nPanels, nVertices = block.vertices.length / 3;
    const neighbours = new Int32Array(3 * n).fill(-1), edges = new Map();
    for (let i = 0; i < 3 * n; i++) {
      const a = t[i], b = t[i - (i % 3) + ((i + 1) % 3)];
      const key = Math.min(a, b) * nVertices + Math.max(a, b);
      const other = edges.get(key);
      if (other === undefined) edges.set(key, i);
      else {
        const smooth = k => (block.joints[Math.floor(k / 3)] >> k % 3) & 1;
        if (smooth(i) && smooth(other)) {
          neighbours[i] = Math.floor(other / 3);
          neighbours[other] = Math.floor(i / 3);
        }
      }
    }
    return (block.topology = { neighbours, ...cornerGroups(t, neighbours, n) });
  }

  function cornerGroups(t, neighbours, n) {
    const parent = Int32Array.from({ length: 3 * n }, (_, i) => i);
    const root = i => {
      while (parent[i] !== i) i = parent[i] = parent[parent[i]];
      return i;
    };
    for (let i = 0; i < 3 * n; i++) {
      if (neighbours[i] < 0) continue;
      const panel = i - (i % 3);
      for (const corner of [i, panel + ((i + 1) % 3)]) {
        for (let k = 0; k < 3; k++) {
          const other = 3 * neighbours[i] + k;
          if (t[other] === t[corner]) parent[root(corner)] = root(other);
        }
      }
    }
    const groups = Int32Array.from({ length: 3 * n }, (_, i) => root(i));
    const members = new Map();
    groups.forEach((group, corner) => {
      if (!members.has(group)) members.set(group, []);
      members.get(group).push(corner);
    });
    return { groups, members };
  }

  // --- values between the control points --------------------------------------------------

  function termsOf(x, y) {
    return [1, x, y, x * x, x * y, y * y];
  }

  function inverse(matrix) {
    const n = matrix.length;
    const rows = matrix.map((row, i) => [...row, ...row.map((_, k) => (i === k ? 1 : 0))]);
    for (let i = 0; i < n; i++) {
      let pivot = i;
      for (let k = i + 1; k < n; k++) if (Math.abs(rows[k][i]) > Math.abs(rows[pivot][i])) pivot = k;
      [rows[i], rows[pivot]] = [rows[pivot], rows[i]];
      const own = rows[i][i];
      for (let j = 0; j < 2 * n; j++) rows[i][j] /= own;
      for (let k = 0; k < n; k++) {
        const factor = rows[k][i];
        if (k === i || factor === 0) continue;
        for (let j = i; j < 2 * n; j++) rows[k][j] -= factor * rows[i][j];
      }
    }
    return rows.map(row => row.slice(n));
  }

  function tangentAxes(mean) {
    const normal = unit(mean), size = normal.map(Math.abs);
    const axis = [0, 0, 0];
    axis[size.indexOf(Math.min(...size))] = 1;
    const first = unit(cross(normal, axis));
    return [first, cross(normal, first)];
  }

  // Offset in the tangent plane, stretched to the full distance, parts of the scale.
  function flattened(step, axes, scale) {
    const x = dot(step, axes[0]), y = dot(step, axes[1]);
    const stretch = Math.hypot(...step) / Math.max(Math.hypot(x, y), 1e-300) / scale;
    return [x * stretch, y * stretch];
  }

  // Quadratic fit at a corner through the control points of the panels there and beside them.
  function fitOf(block, group) {
    const known = (block.fits = block.fits || new Map());
    if (known.has(group)) return known.get(group);
    const { neighbours, members } = topology(block), near = new Set();
    for (const corner of members.get(group)) {
      const panel = Math.floor(corner / 3);
      near.add(panel);
      for (let k = 0; k < 3; k++) if (neighbours[3 * panel + k] >= 0) near.add(neighbours[3 * panel + k]);
    }
    const panels = [...near], origin = at(block.vertices, block.triangles[members.get(group)[0]]);
    const mean = [0, 0, 0];
    for (const panel of panels) for (let k = 0; k < 3; k++) mean[k] += block.normals[3 * panel + k];
    const axes = tangentAxes(mean);
    const steps = panels.map(panel => minus(at(block.points, panel), origin));
    const lengths = steps.map(step => Math.hypot(...step));
    const scale = lengths.reduce((a, b) => a + b, 0) / panels.length;
    const matrix = Array.from({ length: 6 }, () => new Array(6).fill(0));
    const weighted = steps.map((step, j) => {
      const terms = termsOf(...flattened(step, axes, scale)), weight = scale / lengths[j];
      for (let a = 0; a < 6; a++) for (let b = 0; b < 6; b++) matrix[a][b] += weight * terms[a] * terms[b];
      return terms.map(term => weight * term);
    });
    const fit = { panels, origin, axes, scale, weighted, inverse: inverse(matrix) };
    known.set(group, fit);
    return fit;
  }

  function addFit(block, row, group, point, share) {
    const fit = fitOf(block, group), solution = new Float64Array(6);
    const terms = termsOf(...flattened(minus(point, fit.origin), fit.axes, fit.scale));
    for (let i = 0; i < 6; i++) for (let k = 0; k < 6; k++) solution[i] += fit.inverse[i][k] * terms[k];
    for (let j = 0; j < fit.panels.length; j++) {
      const weighted = fit.weighted[j], panel = fit.panels[j];
      let value = 0;
      for (let k = 0; k < 6; k++) value += weighted[k] * solution[k];
      row.set(panel, (row.get(panel) || 0) + share * value);
    }
  }

  // Weights (k of 3, 3) that turn differences to the edge neighbours into a gradient, 1/m.
  function gradientWeights(block, panel) {
    const { neighbours } = topology(block), normal = at(block.normals, panel);
    const [first, second] = tangentAxes(normal), rows = [];
    let usable = 0;
    for (let k = 0; k < 3; k++) {
      const other = neighbours[3 * panel + k];
      const step = other < 0 ? [0, 0, 0] : minus(at(block.points, other), at(block.points, panel));
      const x = dot(step, first), y = dot(step, second), shadow = Math.hypot(x, y);
      if (other < 0 || !(shadow > 0)) { rows.push([0, 0, 0]); continue; }
      usable += 1;
      rows.push([x / shadow, y / shadow, 1 / Math.hypot(...step)]);
    }
    if (usable < 2) return rows.map(() => [0, 0, 0]);
    let xx = 0, xy = 0, yy = 0;
    for (const [x, y] of rows) { xx += x * x; xy += x * y; yy += y * y; }
    const middle = 0.5 * (xx + yy), half = Math.hypot(0.5 * (xx - yy), xy);
    const angle = 0.5 * Math.atan2(2 * xy, xx - yy);
    const axes = [[Math.cos(angle), Math.sin(angle)], [-Math.sin(angle), Math.cos(angle)]];
    const squares = [middle + half, middle - half];
    return rows.map(([x, y, weight]) => {
      let a = 0, b = 0;
      axes.forEach((axis, i) => {
        if (!(squares[i] > SINGULAR ** 2 * squares[0])) return;
        const part = (x * axis[0] + y * axis[1]) / squares[i];
        a += part * axis[0];
        b += part * axis[1];
      });
      return [0, 1, 2].map(k => weight * (a * first[k] + b * second[k]));
    });
  }

  function addLinear(block, row, panel, point, share) {
    const normal = at(block.normals, panel), { neighbours } = topology(block);
    let offset = minus(point, at(block.points, panel));
    const out = dot(offset, normal);
    offset = offset.map((value, k) => value - out * normal[k]);
    let rest = 1;
    gradientWeights(block, panel).forEach((weight, k) => {
      const other = neighbours[3 * panel + k], value = dot(weight, offset);
      if (other < 0) return;
      row.set(other, (row.get(other) || 0) + share * value);
      rest -= value;
    });
    row.set(panel, (row.get(panel) || 0) + share * rest);
  }

  function barycentric(block, panel, point) {
    const [o, p, q] = corners(block, panel), a = minus(p, o), b = minus(q, o), c = minus(point, o);
    const aa = dot(a, a), ab = dot(a, b), bb = dot(b, b), ca = dot(c, a), cb = dot(c, b);
    const second = ca * bb - cb * ab, third = cb * aa - ca * ab, area = aa * bb - ab * ab;
    const shares = [area - second - third, second, third].map(value => Math.max(value, 0));
    const sum = shares[0] + shares[1] + shares[2];
    return shares.map(value => value / sum);
  }

  // The fits at the three corners weighted with barycentric coordinates, times a factor.
  function addBlended(block, row, panel, point, factor) {
    const shares = barycentric(block, panel, point), { groups } = topology(block);
    let trusted = 0;
    for (let k = 0; k < 3; k++) {
      if (!((block.joints[panel] >> (3 + k)) & 1) || shares[k] === 0) continue;
      trusted += shares[k];
      addFit(block, row, groups[3 * panel + k], point, factor * shares[k]);
    }
    if (trusted < 1) addLinear(block, row, panel, point, factor * (1 - trusted));
    return shares[0] * shares[1] * shares[2];
  }

  // What the fits say at the control point of a panel; kept, since it serves all its points.
  function atControl(block, panel) {
    const known = (block.controls = block.controls || new Map());
    if (!known.has(panel)) {
      const row = new Map();
      known.set(panel, { row, share: addBlended(block, row, panel, at(block.points, panel), 1) });
    }
    return known.get(panel);
  }

  // Weights of the panels that give the value at a point of a panel: Map panel -> weight.
  function pointWeights(block, point, panel) {
    const row = new Map(), share = addBlended(block, row, panel, point, 1);
    const control = atControl(block, panel), bubble = share / control.share;
    control.row.forEach((weight, other) => row.set(other, (row.get(other) || 0) - bubble * weight));
    row.set(panel, (row.get(panel) || 0) + bubble);
    return row;
  }

  // --- rays and nearest points ------------------------------------------------------------

  function closestOnTriangle(p, [a, b, c]) {
    // by the regions of a triangle; C. Ericson, Real-Time Collision Detection, 2005 (from memory)
    const ab = minus(b, a), ac = minus(c, a), ap = minus(p, a);
    const along = (start, way, share) => start.map((value, k) => value + share * way[k]);
    const d1 = dot(ab, ap), d2 = dot(ac, ap);
    if (d1 <= 0 && d2 <= 0) return a;
    const bp = minus(p, b), d3 = dot(ab, bp), d4 = dot(ac, bp);
    if (d3 >= 0 && d4 <= d3) return b;
    const vc = d1 * d4 - d3 * d2;
    if (vc <= 0 && d1 >= 0 && d3 <= 0) return along(a, ab, d1 / (d1 - d3));
    const cp = minus(p, c), d5 = dot(ab, cp), d6 = dot(ac, cp);
    if (d6 >= 0 && d5 <= d6) return c;
    const vb = d5 * d2 - d1 * d6;
    if (vb <= 0 && d2 >= 0 && d6 <= 0) return along(a, ac, d2 / (d2 - d6));
    const va = d3 * d6 - d5 * d4;
    if (va <= 0 && d4 - d3 >= 0 && d5 - d6 >= 0) {
      return along(b, minus(c, b), (d4 - d3) / (d4 - d3 + (d5 - d6)));
    }
    const sum = va + vb + vc;
    return a.map((value, k) => value + (vb / sum) * ab[k] + (vc / sum) * ac[k]);
  }

  // Nearest point of the skin: { point, panel, distance }.
  function nearest(block, point) {
    const { centroids, sizes } = facets(block);
    let best = { distance: Infinity };
    for (let i = 0; i < block.nPanels; i++) {
      const away = Math.hypot(point[0] - centroids[3 * i], point[1] - centroids[3 * i + 1],
        point[2] - centroids[3 * i + 2]);
      if (away - sizes[i] >= best.distance) continue;
      const foot = closestOnTriangle(point, corners(block, i));
      const distance = Math.hypot(...minus(foot, point));
      if (distance < best.distance) best = { point: foot, panel: i, distance };
    }
    return best;
  }

  // Panels about a point that look along the normal and of which some part lies within a radius
  // of it in the plane of the axes, seen in these axes.
  function shadows(block, foot, axes, radius) {
    const { normals, centroids, sizes, reach } = facets(block), found = [];
    const [u, v, w] = axes, farthest = (1.5 * radius + reach) ** 2;
    for (let i = 0; i < block.nPanels; i++) {
      const x = centroids[3 * i] - foot[0], y = centroids[3 * i + 1] - foot[1];
      const z = centroids[3 * i + 2] - foot[2];
      if (x * x + y * y + z * z > farthest) continue;
      const across = Math.hypot(x * u[0] + y * u[1] + z * u[2], x * v[0] + y * v[1] + z * v[2]);
      if (across > radius + sizes[i]) continue;
      const normal = at(normals, i);
      if (dot(normal, w) <= 0) continue;
      const flat = corners(block, i).map(corner => {
        const step = minus(corner, foot);
        return [dot(step, u), dot(step, v), dot(step, w)];
      });
      const bounds = [0, 1].map(k => [Math.min(...flat.map(f => f[k])), Math.max(...flat.map(f => f[k]))]);
      found.push({ panel: i, flat, bounds, local: axes.map(axis => dot(normal, axis)) });
    }
    return found;
  }

  // Where lines along the normal meet the skin from outside, nearest to their origins.
  function project(block, foot, axes, places) {
    const radius = Math.max(...places.map(place => Math.hypot(...place)));
    const near = shadows(block, foot, axes, radius);
    return places.map(([x, y]) => {
      let best = null;
      for (const { panel, flat, bounds, local } of near) {
        if (x < bounds[0][0] || x > bounds[0][1] || y < bounds[1][0] || y > bounds[1][1]) continue;
        let inside = true;
        for (let k = 0; k < 3 && inside; k++) {
          const [ax, ay] = flat[k], [bx, by] = flat[(k + 1) % 3];
          inside = (bx - ax) * (y - ay) - (by - ay) * (x - ax) >= 0;
        }
        if (!inside) continue;
        const [ax, ay, az] = flat[0];
        const height = az - (local[0] * (x - ax) + local[1] * (y - ay)) / local[2];
        if (best === null || Math.abs(height) < Math.abs(best.height)) best = { panel, height };
      }
      if (best === null) return null;
      const point = foot.map((value, k) => value + x * axes[0][k] + y * axes[1][k] + best.height * axes[2][k]);
      return { panel: best.panel, point, height: best.height };
    });
  }

  // --- openings laid onto the skin --------------------------------------------------------

  // Along, across and normal.
  function axesOf(normal, turn) {
    const reference = Math.abs(normal[0]) > 0.8 ? [0, 0, 1] : [1, 0, 0];
    const out = dot(reference, normal);
    const along = unit(reference.map((value, k) => value - out * normal[k]));
    const across = cross(normal, along), angle = (turn * Math.PI) / 180;
    const turned = along.map((value, k) => Math.cos(angle) * value + Math.sin(angle) * across[k]);
    return [turned, cross(normal, turned), normal];
  }

  function sampleGrid(shape) {
    const places = [];
    for (let i = 0; i < SAMPLES; i++) {
      for (let k = 0; k < SAMPLES; k++) {
        const first = (i + 0.5) / SAMPLES, second = (k + 0.5) / SAMPLES;
        if (shape === "oval") {
          const radius = 0.5 * Math.sqrt(first), angle = 2 * Math.PI * (second + 0.5 * first);
          places.push([radius * Math.cos(angle), radius * Math.sin(angle)]);
        } else places.push([first - 0.5, second - 0.5]);
      }
    }
    return places;
  }

  function rim(shape) {
    const square = [[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5], [-0.5, -0.5]];
    return Array.from({ length: OUTLINE_POINTS }, (_, i) => {
      const part = i / OUTLINE_POINTS;
      if (shape === "oval") return [0.5 * Math.cos(2 * Math.PI * part), 0.5 * Math.sin(2 * Math.PI * part)];
      const k = Math.floor(4 * part), share = 4 * part - k;
      return [0, 1].map(j => square[k][j] + share * (square[k + 1][j] - square[k][j]));
    });
  }

  // Why an opening does not lie well: samples side by side at other heights than the slope says.
  function stepUnder(block, flat, hits, axes) {
    const { normals } = facets(block);
    const slopes = hits.map(({ panel }) => {
      const normal = at(normals, panel), out = Math.max(dot(normal, axes[2]), STEEP);
      return [-dot(normal, axes[0]) / out, -dot(normal, axes[1]) / out];
    });
    const gap = (i, k) => Math.hypot(flat[i][0] - flat[k][0], flat[i][1] - flat[k][1]);
    const least = flat.map((_, i) => Math.min(...flat.map((__, k) => (i === k ? Infinity : gap(i, k)))));
    const reach = 1.6 * [...least].sort((a, b) => a - b)[Math.floor(least.length / 2)];
    for (let i = 0; i < flat.length; i++) {
      for (let k = i + 1; k < flat.length; k++) {
        const run = gap(i, k);
        if (run > reach) continue;
        const rise = [0, 1].reduce((sum, j) =>
          sum + 0.5 * (slopes[i][j] + slopes[k][j]) * (flat[k][j] - flat[i][j]), 0);
        if (Math.abs(hits[k].height - hits[i].height - rise) > STEP * run) return true;
      }
    }
    return false;
  }

  // An opening laid onto the skin.
  //   place: { centre (m, near the skin), length, width (m), turn (deg), shape: "rectangle" or
  //     "oval", paired: true for one opening of two mirrored halves }, and whatever else it has
  // Gives { valid: false, reason } where it does not lie well, else { valid: true, centre, panel,
  // distance (m, from the centre asked for), axes (along, across, normal), outline, points, panels,
  // weights, area (m2), side } with the place's own entries; of a pair the points, panels, weights
  // and area are those of both, and `twin` is its mirror image.
  function lay(block, place) {
    const own = layOne(block, place);
    if (!place.paired || !own.valid) return own;
    const [x, y, z] = own.centre;
    const twin = layOne(block, { ...place, centre: [x, -y, z], turn: -own.turn });
    if (!twin.valid) return twin;
    return {
      ...own, twin, area: own.area + twin.area,
      points: [...own.points, ...twin.points], panels: [...own.panels, ...twin.panels],
      weights: [...own.weights, ...twin.weights].map(weight => 0.5 * weight),
    };
  }

  function layOne(block, place) {
    const shape = place.shape || "rectangle", turn = place.turn || 0;
    const size = [place.length, place.width];
    if (!(place.length > 0 && place.width > 0)) return { valid: false, reason: "length and width must be above zero" };
    const { normals } = facets(block), start = nearest(block, place.centre), foot = start.point;
    const scaled = places => places.map(([x, y]) => [x * size[0], y * size[1]]);
    const flat = scaled(sampleGrid(shape));
    const hanging = { valid: false, reason: "it hangs over the edge of the body", centre: foot };
    const areas = (hits, normal) => hits.map(hit => 1 / Math.max(dot(at(normals, hit.panel), normal), STEEP));
    let normal = at(normals, start.panel);
    for (let pass = 0; pass < 3; pass++) {
      const hits = project(block, foot, axesOf(normal, turn), flat);
      if (hits.includes(null)) return hanging;
      const weights = areas(hits, normal), mean = [0, 0, 0];
      hits.forEach((hit, i) => { for (let k = 0; k < 3; k++) mean[k] += weights[i] * normals[3 * hit.panel + k]; });
      normal = unit(mean);
    }
    const axes = axesOf(normal, turn);
    const hits = project(block, foot, axes, flat), outline = project(block, foot, axes, scaled(rim(shape)));
    if (hits.includes(null) || outline.includes(null)) return hanging;
    if (stepUnder(block, flat, hits, axes)) return { valid: false, reason: "the skin under it has a step", centre: foot };
    const weights = areas(hits, axes[2]), sum = weights.reduce((a, b) => a + b, 0);
    const side = axes[2].map(Math.abs), axis = side.indexOf(Math.max(...side));
    return {
      ...place, shape, turn, valid: true, centre: foot, panel: start.panel, distance: start.distance,
      axes, outline: outline.map(hit => hit.point),
      points: hits.map(hit => hit.point), panels: hits.map(hit => hit.panel),
      weights: weights.map(weight => weight / sum),
      area: place.length * place.width * (shape === "oval" ? Math.PI / 4 : 1) * (sum / weights.length),
      side: SIDES[axis][axes[2][axis] > 0 ? 1 : 0],
    };
  }

  // --- pressures at points and openings ---------------------------------------------------

  // The rows of some points as arrays over the panels that they use, and the fields there.
  function reader(block, points, panels) {
    const rows = points.map((point, i) => pointWeights(block, point, panels[i]));
    const used = [...new Set(rows.flatMap(row => [...row.keys()]))].sort((a, b) => a - b);
    const number = new Map(used.map((panel, k) => [panel, k]));
    const places = rows.map(row => Int32Array.from(row.keys(), panel => number.get(panel)));
    const weights = rows.map(row => Float64Array.from(row.values()));
    return { panels: Int32Array.from(used), places, weights };
  }

  function applied(table, values) {
    return Float64Array.from(table.places, (places, i) => {
      let sum = 0;
      for (let k = 0; k < places.length; k++) sum += table.weights[i][k] * values[places[k]];
      return sum;
    });
  }

  // Velocity at the used panels, three arrays, from the weights of the fields.
  function velocityAt(block, air, panels) {
    const n = block.nPanels, found = [0, 1, 2].map(() => new Float64Array(panels.length));
    panels.forEach((panel, i) => {
      let a = 0, b = 0;
      air.part.fields.forEach((field, k) => {
        a += air.weights[k] * field.velocity[panel];
        b += air.weights[k] * field.velocity[n + panel];
      });
      for (let k = 0; k < 3; k++) found[k][i] = a * block.first[3 * panel + k] + b * block.second[3 * panel + k];
    });
    return found;
  }

  // Gauge and total pressure at the points of a reader, Pa, in one condition.
  function airThrough(block, air, table) {
    const { upper, wetting } = Panelcp.headsAt(block, air, table.panels);
    const velocity = velocityAt(block, air, table.panels).map(part => applied(table, part));
    const head = applied(table, upper), share = applied(table, wetting);
    const change = block.separation[air.condition], scale = Panelcp.separationScale(block, air);
    const added = change ? applied(table, Float64Array.from(table.panels, panel => scale * change[panel])) : null;
    const gauge = head.map((value, i) => {
      const square = velocity[0][i] ** 2 + velocity[1][i] ** 2 + velocity[2][i] ** 2;
      return share[i] * (value - 0.5 * air.density * square) + (added ? added[i] : 0);
    });
    return { gauge, total: head.map((value, i) => share[i] * value), velocity };
  }

  // What is read at one point of the skin in one condition, as Python's point operator gives it.
  function readOut(block, c, point, panel, changes) {
    const air = Panelcp.airOf(block, c, changes), table = reader(block, [point], [panel]);
    const { gauge, total, velocity } = airThrough(block, air, table), q = air.dynamicPressure;
    const state = block.state[c];
    return {
      gauge: gauge[0], total: total[0], cp: q > 0 ? gauge[0] / q : NaN, dynamicPressure: q,
      velocity: velocity.map(part => part[0]), region: block.regionNames[block.region[panel]],
      state: state ? block.states[state[panel]] : null, frozen: air.changed.length > 0,
    };
  }

  function changesOf(changes, c) {
    if (typeof changes === "function") return changes(c);
    return Array.isArray(changes) ? changes[c] : undefined;
  }

  // Patch means of an opening in every condition.
  //   place: as for lay, or what lay gave (then it is not laid anew); recovery: one number, or one
  //     for every condition, 0 where left out
  //   changes: list of changes by condition, or a function of its number
  // Gives the laid opening with, by condition: patch, total, inlet (Pa), lowest, highest, spread
  // (Pa over its area), dynamicPressure, referencePressure, frozen (whether changed).
  function patch(block, place, changes) {
    const laid = place.valid === undefined ? lay(block, place) : place;
    if (!laid.valid) return laid;
    const table = laid.table || reader(block, laid.points, laid.panels);
    const means = { patch: [], total: [], inlet: [], lowest: [], highest: [], spread: [] };
    const told = { dynamicPressure: [], referencePressure: [], predicted: [], frozen: [], problem: [] };
    block.conditions.forEach((_, c) => {
      const found = onePatch(block, laid, table, c, changesOf(changes, c));
      for (const name of Object.keys(means)) means[name].push(found[name]);
      for (const name of Object.keys(told)) told[name].push(found[name]);
    });
    return { ...laid, table, ...means, ...told };
  }

  // The same in one condition, for whatever has points, panels and weights; the rows of the points
  // are kept in `laid.table`.
  function patchIn(block, laid, c, changes) {
    laid.table = laid.table || reader(block, laid.points, laid.panels);
    return onePatch(block, laid, laid.table, c, changes);
  }

  function onePatch(block, laid, table, c, changes) {
    let air;
    try {
      air = Panelcp.airOf(block, c, changes);
    } catch (error) {
      const none = { patch: NaN, total: NaN, inlet: NaN, lowest: NaN, highest: NaN, spread: NaN };
      return { ...none, dynamicPressure: NaN, referencePressure: NaN, predicted: false, frozen: true, problem: error.message };
    }
    const { gauge, total } = airThrough(block, air, table);
    let mean = 0, head = 0, square = 0;
    laid.weights.forEach((weight, i) => {
      mean += weight * gauge[i];
      head += weight * total[i];
      square += weight * gauge[i] ** 2;
    });
    const recovery = Array.isArray(laid.recovery) ? laid.recovery[c] : laid.recovery || 0;
    return {
      patch: mean, total: head, inlet: mean + recovery * (head - mean),
      lowest: Math.min(...gauge), highest: Math.max(...gauge),
      spread: Math.sqrt(Math.max(square - mean ** 2, 0)),
      dynamicPressure: air.dynamicPressure, referencePressure: air.referencePressure,
      predicted: air.predicted, frozen: air.changed.length > 0, problem: null,
    };
  }

  // An inlet with an exit in every condition. Both: what patch gave, or entries of the header's
  // `openings`. Gives available, needed, ratio, breathes and uneven by condition; least ratio over
  // the deciding conditions, its condition, and the weighted mean.
  function available(block, inlet, outlet) {
    const conditions = block.conditions;
    const difference = conditions.map((_, c) => inlet.inlet[c] - outlet.patch[c]);
    const needed = conditions.map(condition => condition.needed ?? NaN);
    const ratio = difference.map((value, c) => (needed[c] > 0 ? value / needed[c] : NaN));
    let least = Infinity, limiting = -1, sum = 0, whole = 0;
    conditions.forEach((condition, c) => {
      if (!condition.decides) return;
      if (ratio[c] < least) { least = ratio[c]; limiting = c; }
      sum += condition.weight * ratio[c];
      whole += condition.weight;
    });
    const range = outlet.highest ? difference.map((_, c) => outlet.highest[c] - outlet.lowest[c]) : null;
    const over = limit => difference.map((value, c) => (range ? range[c] > limit * Math.abs(value) : null));
    return {
      available: difference, needed, ratio, least, limiting, mean: whole > 0 ? sum / whole : NaN,
      range, breathes: over(block.header.breathes), uneven: over(block.header.uneven),
    };
  }

  // What openings need of the mesh, made ahead of the first one: some 0.1 s at 20 000 panels.
  function prepareOpenings(block) {
    facets(block);
    topology(block);
  }

  Object.assign(Panelcp, {
    lay, patch, patchIn, available, readOut, nearest, pointWeights, prepareOpenings,
  });
})();
