// Surface as it is drawn: vertices divided at sharp edges, normals, edges.
//
// Panelcp.buildGeometry({points, triangles, mirrored}) -> {
//   points, normals  Float32Array(3 r): one entry per drawn vertex; at sharp edges several share a place
//   triangles        Uint32Array(3 m): drawn vertices
//   source           Uint32Array(r): vertex of the surface
//   faceNormals      Float32Array(3 m), areas Float32Array(m)
//   edges            Uint32Array(2 e): drawn vertices; edgeFaces Int32Array(2 e): -1 beside an open
//                    edge, -2 where the mirrored half goes on; sharp Uint8Array(e)
//   mirrored, low, high, centre, radius, corners (8 places of the box of the whole body) }
// Panelcp.cornerMeans(geometry, values)  per triangle -> per drawn vertex, weighted by area
// Panelcp.edgesInView(geometry, camera)  [silhouette, sharp edges], each Float32Array(8 k), see `segments`;
//                                        they are overwritten by the next call
// Panelcp.pointsIn(geometry, low, high)  Float32Array(3 k): vertices of both halves in a box, or its corners
//                                        when there are none
// Panelcp.segments(points, closed)       polyline -> Float32Array(8 k): both ends of each piece, with
//                                        the length along the line after each: x y z s, x y z s
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const SHARP_COSINE = Math.cos((40 * Math.PI) / 180);
  const ON_PLANE = 1e-6; // of the radius
  const FLAT_ACROSS = 0.34; // sine of 20 degrees

  function checked(surface) {
    const points = new Float32Array(surface.points), triangles = new Uint32Array(surface.triangles);
    if (points.length % 3 || triangles.length % 3 || !triangles.length) {
      throw new Error(
        `surface: ${points.length} numbers of points and ${triangles.length} of triangles; ` +
          "expected three for each, and at least one triangle",
      );
    }
    let most = 0;
    for (let k = 0; k < triangles.length; k++) if (triangles[k] > most) most = triangles[k];
    if (3 * most >= points.length) throw new Error(`surface: triangles name point ${most} of ${points.length / 3}`);
    for (let k = 0; k < points.length; k++) {
      if (!Number.isFinite(points[k])) throw new Error(`surface: point ${Math.floor(k / 3)} is not finite`);
    }
    return [points, triangles];
  }

  function faceNormals(points, triangles) {
    const count = triangles.length / 3;
    const normals = new Float32Array(3 * count);
    const areas = new Float32Array(count);
    for (let t = 0; t < count; t++) {
      const a = 3 * triangles[3 * t], b = 3 * triangles[3 * t + 1], c = 3 * triangles[3 * t + 2];
      const ux = points[b] - points[a], uy = points[b + 1] - points[a + 1], uz = points[b + 2] - points[a + 2];
      const vx = points[c] - points[a], vy = points[c + 1] - points[a + 1], vz = points[c + 2] - points[a + 2];
      const x = uy * vz - uz * vy, y = uz * vx - ux * vz, z = ux * vy - uy * vx;
      const length = Math.sqrt(x * x + y * y + z * z) || 1;
      normals[3 * t] = x / length;
      normals[3 * t + 1] = y / length;
      normals[3 * t + 2] = z / length;
      areas[t] = 0.5 * length;
    }
    return [normals, areas];
  }

  // Plain loops below, and no small arrays in them: they run over every side of every triangle.

  function counted(length) {
    const numbers = new Uint32Array(length);
    for (let k = 0; k < length; k++) numbers[k] = k;
    return numbers;
  }

  const nextCorner = (side) => (side % 3 === 2 ? side - 2 : side + 1);

  // Sides of triangles sorted by the pair of vertices that they join: neighbours stand together.
  function sortedSides(triangles, vertices) {
    const sides = triangles.length;
    const keys = new Float64Array(sides);
    for (let side = 0; side < sides; side++) {
      const first = triangles[side], second = triangles[nextCorner(side)];
      keys[side] = Math.min(first, second) * vertices + Math.max(first, second);
    }
    const order = counted(sides);
    if (vertices * vertices * sides >= Number.MAX_SAFE_INTEGER) return [keys, order.sort((a, b) => keys[a] - keys[b])];
    const packed = new Float64Array(sides);
    for (let side = 0; side < sides; side++) packed[side] = keys[side] * sides + side;
    packed.sort();
    for (let k = 0; k < sides; k++) order[k] = packed[k] % sides;
    return [keys, order];
  }

  // starts: the side that stands for each edge; others: its other side, or -1; faces; sharp
  function edgesOf(points, triangles, normals, mirrored, tolerance) {
    const [keys, order] = sortedSides(triangles, points.length / 3);
    const starts = new Uint32Array(order.length), others = new Int32Array(order.length);
    const faces = new Int32Array(2 * order.length), sharp = new Uint8Array(order.length);
    let count = 0;
    for (let k = 0; k < order.length; k++) {
      const side = order[k];
      const paired = k + 1 < order.length && keys[order[k + 1]] === keys[side];
      const face = Math.floor(side / 3);
      starts[count] = side;
      others[count] = paired ? order[k + 1] : -1;
      faces[2 * count] = face;
      let cosine = -1;
      if (paired) {
        const n = 3 * face, m = 3 * Math.floor(order[k + 1] / 3);
        cosine = normals[n] * normals[m] + normals[n + 1] * normals[m + 1] + normals[n + 2] * normals[m + 2];
        faces[2 * count + 1] = m / 3;
        k++;
      } else {
        const a = Math.abs(points[3 * triangles[side] + 1]), b = Math.abs(points[3 * triangles[nextCorner(side)] + 1]);
        const across = mirrored && a <= tolerance && b <= tolerance;
        if (across) cosine = 1 - 2 * normals[3 * face + 1] ** 2;
        faces[2 * count + 1] = across ? -2 : -1;
      }
      sharp[count] = cosine < SHARP_COSINE ? 1 : 0;
      count++;
    }
    return {
      starts: starts.subarray(0, count),
      others: others.subarray(0, count),
      faces: faces.slice(0, 2 * count),
      sharp: sharp.slice(0, count),
    };
  }

  // Corners of triangles that are drawn with one vertex: those joined across edges that bend little.
  function joinedCorners(triangles, { starts, others, sharp }) {
    const root = counted(triangles.length);
    const find = (corner) => {
      let found = corner;
      while (root[found] !== found) {
        root[found] = root[root[found]];
        found = root[found];
      }
      return found;
    };
    const join = (first, second) => {
      const a = find(first), b = find(second);
      if (a < b) root[b] = a;
      else root[a] = b;
    };
    for (let e = 0; e < sharp.length; e++) {
      const side = starts[e], other = others[e];
      if (sharp[e] || other < 0) continue;
      const same = triangles[side] === triangles[other];
      join(side, same ? other : nextCorner(other));
      join(nextCorner(side), same ? nextCorner(other) : other);
    }
    for (let corner = 0; corner < root.length; corner++) root[corner] = find(corner);
    return root;
  }

  // Drawn vertex of every corner, and the vertex of the surface behind each drawn one.
  function numbered(roots, triangles) {
    const number = new Int32Array(roots.length).fill(-1);
    const drawn = new Uint32Array(roots.length), source = new Uint32Array(roots.length);
    let count = 0;
    for (let corner = 0; corner < roots.length; corner++) {
      const root = roots[corner];
      if (number[root] < 0) {
        source[count] = triangles[corner];
        number[root] = count++;
      }
      drawn[corner] = number[root];
    }
    return [drawn, source.slice(0, count)];
  }

  function vertexNormals(drawn, source, points, normals, areas, mirrored, tolerance) {
    const out = new Float32Array(3 * source.length);
    for (let corner = 0; corner < drawn.length; corner++) {
      const face = Math.floor(corner / 3), vertex = 3 * drawn[corner];
      for (let i = 0; i < 3; i++) out[vertex + i] += areas[face] * normals[3 * face + i];
    }
    for (let v = 0; v < source.length; v++) {
      let length = Math.hypot(out[3 * v], out[3 * v + 1], out[3 * v + 2]) || 1;
      const onPlane = mirrored && Math.abs(points[3 * source[v] + 1]) <= tolerance;
      if (onPlane && Math.abs(out[3 * v + 1]) < FLAT_ACROSS * length) {
        out[3 * v + 1] = 0;
        length = Math.hypot(out[3 * v], out[3 * v + 2]) || 1;
      }
      for (let i = 0; i < 3; i++) out[3 * v + i] /= length;
    }
    return out;
  }

  function boundsOf(points, mirrored) {
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (let k = 0; k < points.length; k++) {
      low[k % 3] = Math.min(low[k % 3], points[k]);
      high[k % 3] = Math.max(high[k % 3], points[k]);
    }
    if (mirrored) {
      high[1] = Math.max(high[1], -low[1]);
      low[1] = -high[1];
    }
    const centre = low.map((value, i) => 0.5 * (value + high[i]));
    const radius = 0.5 * Math.hypot(...low.map((value, i) => high[i] - value)) || 1;
    return { low, high, centre, radius };
  }

  Panelcp.buildGeometry = (surface) => {
    const [points, triangles] = checked(surface);
    const mirrored = Boolean(surface.mirrored);
    const bounds = boundsOf(points, mirrored);
    const tolerance = ON_PLANE * bounds.radius;
    const [normals, areas] = faceNormals(points, triangles);
    const edges = edgesOf(points, triangles, normals, mirrored, tolerance);
    const [drawn, source] = numbered(joinedCorners(triangles, edges), triangles);
    const drawnPoints = new Float32Array(3 * source.length);
    for (let k = 0; k < drawnPoints.length; k++) drawnPoints[k] = points[3 * source[Math.floor(k / 3)] + (k % 3)];
    const ends = new Uint32Array(2 * edges.starts.length);
    for (let e = 0; e < edges.starts.length; e++) {
      ends[2 * e] = drawn[edges.starts[e]];
      ends[2 * e + 1] = drawn[nextCorner(edges.starts[e])];
    }
    return {
      points: drawnPoints,
      normals: vertexNormals(drawn, source, points, normals, areas, mirrored, tolerance),
      triangles: drawn,
      source,
      vertexCount: points.length / 3,
      faceNormals: normals,
      areas,
      edges: ends,
      edgeFaces: edges.faces,
      sharp: edges.sharp,
      mirrored,
      ...bounds,
    };
  };

  Panelcp.cornerMeans = (geometry, values) => {
    const { triangles, areas, source } = geometry;
    const sum = new Float64Array(source.length), weight = new Float64Array(source.length);
    for (let corner = 0; corner < triangles.length; corner++) {
      const face = Math.floor(corner / 3);
      sum[triangles[corner]] += areas[face] * values[face];
      weight[triangles[corner]] += areas[face];
    }
    const out = new Float32Array(sum.length);
    for (let k = 0; k < out.length; k++) out[k] = sum[k] / weight[k];
    return out;
  };

  Panelcp.pointsIn = ({ points, mirrored }, low, high) => {
    const found = [];
    for (const side of mirrored ? [1, -1] : [1]) {
      for (let k = 0; k < points.length; k += 3) {
        const place = [points[k], side * points[k + 1], points[k + 2]];
        if (place.every((value, i) => value >= low[i] - 1e-6 && value <= high[i] + 1e-6)) found.push(...place);
      }
    }
    if (found.length) return Float32Array.from(found);
    return Float32Array.from({ length: 24 }, (_, k) => ((k / 3) >> k % 3) & 1 ? high[k % 3] : low[k % 3]);
  };

  Panelcp.segments = (points, closed = false) => {
    const count = points.length / 3;
    const pieces = closed && count > 2 ? count : Math.max(0, count - 1);
    const out = new Float32Array(8 * pieces);
    let along = 0;
    for (let k = 0; k < pieces; k++) {
      const [a, b] = [3 * k, 3 * ((k + 1) % count)];
      out.set([points[a], points[a + 1], points[a + 2], along], 8 * k);
      along += Math.hypot(points[b] - points[a], points[b + 1] - points[a + 1], points[b + 2] - points[a + 2]);
      out.set([points[b], points[b + 1], points[b + 2], along], 8 * k + 4);
    }
    return out;
  };

  // Which triangles of one half face the viewer. `sign` is -1 for the mirrored half.
  function facing(geometry, camera, sign, out) {
    const { faceNormals: n, triangles, points } = geometry;
    const { toward } = camera.frame;
    const [tx, ty, tz] = [toward[0], sign * toward[1], toward[2]];
    if (!camera.perspective) {
      for (let t = 0; t < out.length; t++) out[t] = n[3 * t] * tx + n[3 * t + 1] * ty + n[3 * t + 2] * tz > 0 ? 1 : 0;
      return;
    }
    const [ex, ey, ez] = camera.eye;
    for (let t = 0; t < out.length; t++) {
      const v = 3 * triangles[3 * t];
      const x = ex - points[v], y = sign * ey - points[v + 1], z = ez - points[v + 2];
      out[t] = n[3 * t] * x + n[3 * t + 1] * y + n[3 * t + 2] * z > 0 ? 1 : 0;
    }
  }

  const rooms = [new Float32Array(0), new Float32Array(0)];

  Panelcp.edgesInView = (geometry, camera) => {
    const { edges, edgeFaces, sharp, points, mirrored } = geometry;
    if (rooms[0].length < 16 * sharp.length) rooms.forEach((_, k) => (rooms[k] = new Float32Array(16 * sharp.length)));
    const seen = new Uint8Array(geometry.areas.length);
    const seenAcross = new Uint8Array(seen.length);
    const used = [0, 0];
    for (const sign of mirrored ? [1, -1] : [1]) {
      facing(geometry, camera, sign, seen);
      if (mirrored) facing(geometry, camera, -sign, seenAcross);
      for (let e = 0; e < sharp.length; e++) {
        const first = seen[edgeFaces[2 * e]];
        const other = edgeFaces[2 * e + 1];
        const second = other >= 0 ? seen[other] : other === -2 ? seenAcross[edgeFaces[2 * e]] : 1 - first;
        if (first === second && !(sharp[e] && first)) continue;
        const kind = first === second ? 1 : 0;
        const a = 3 * edges[2 * e], b = 3 * edges[2 * e + 1];
        const room = rooms[kind], at = used[kind];
        room[at] = points[a];
        room[at + 1] = sign * points[a + 1];
        room[at + 2] = points[a + 2];
        room[at + 4] = points[b];
        room[at + 5] = sign * points[b + 1];
        room[at + 6] = points[b + 2];
        used[kind] += 8;
      }
    }
    return rooms.map((room, kind) => room.subarray(0, used[kind]));
  };
})();
