// Arrays of the block from what block_coding.py left of them: the same steps backwards.
//
// Panelcp.decodedArrays(header, left) -> name -> array; left: name -> array of the block as it
// stands, arrays without an entry `code` are kept. Both sides must foretell the same whole numbers:
// sums from left to right, square roots, halves rounded up; no Math.hypot, no Math.round.
(function () {
  "use strict";
  globalThis.Panelcp = globalThis.Panelcp || {};

  const DENSE = 32767;
  const TYPES = { u1: Uint8Array, i1: Int8Array, u2: Uint16Array, i2: Int16Array, u4: Uint32Array };
  const rounded = value => Math.floor(value + 0.5);

  // 0, 1, 2, 3, 4 ... as 0, -1, 1, -2, 2 ...
  function unfolded(numbers) {
    const values = new Float64Array(numbers.length);
    for (let i = 0; i < values.length; i++) {
      const k = numbers[i];
      values[i] = k % 2 ? -(k + 1) / 2 : k / 2;
    }
    return values;
  }

  function unit(x, y, z) {
    const length = Math.sqrt(x * x + y * y + z * z);
    return [x / length, y / length, z / length];
  }

  // Normals of the stored panels and two axes along the skin; the same steps as `frames_of`.
  function frames(numbers) {
    const n = numbers.length;
    const normals = new Float64Array(n), first = new Float64Array(n), second = new Float64Array(n);
    for (let i = 0; i < n; i += 3) {
      const [x, y, z] = unit(numbers[i], numbers[i + 1], numbers[i + 2]);
      const a = Math.abs(x), b = Math.abs(y), c = Math.abs(z);
      let one;
      if (a <= b && a <= c) one = unit(0, z, -y);
      else if (b <= c) one = unit(-z, 0, x);
      else one = unit(y, -x, 0);
      normals.set([x, y, z], i);
      first.set(one, i);
      second.set([y * one[2] - z * one[1], z * one[0] - x * one[2], x * one[1] - y * one[0]], i);
    }
    return { normals, first, second };
  }

  // Points or directions of the stored panels and, on a mirrored surface, of their images.
  function withImages(values, mirrored) {
    if (!mirrored) return values;
    const n = values.length, all = new Float64Array(2 * n);
    all.set(values);
    for (let i = 0; i < n; i++) all[n + i] = i % 3 === 1 ? -values[i] : values[i];
    return all;
  }

  // Where corner k of a triangle stands in the triangle whose image it is.
  const TWIN = [0, 2, 1];

  function trianglesOf(left, n, half) {
    const triangles = new Uint32Array(3 * n), image = new Map();
    let fresh = 0;
    for (let t = 0; t < n; t++) {
      for (let k = 0; k < 3; k++) {
        const twin = t < half ? -1 : triangles[3 * (t - half) + TWIN[k]];
        const foretold = t >= half && image.has(twin) ? image.get(twin) : fresh;
        const vertex = foretold - left[k * n + t];
        triangles[3 * t + k] = vertex;
        fresh = Math.max(fresh, vertex + 1);
        if (t >= half) image.set(twin, vertex);
      }
    }
    return triangles;
  }

  // One whole number for an edge.
  const keyOf = (one, other, count) => (one < other ? one * count + other : other * count + one);

  function verticesOf(left, triangles, half, levels) {
    const count = left.length / 3, n = triangles.length / 3;
    const places = new Uint32Array(3 * count), known = new Uint8Array(count), third = new Map();
    let next = 0, last = -1;
    const of = (vertex, i) => (vertex < 0 ? 0 : places[3 * vertex + i]);
    for (let t = 0; t < n; t++) {
      const corners = triangles.subarray(3 * t, 3 * t + 3);
      for (let k = 0; k < 3; k++) {
        const vertex = corners[k];
        if (known[vertex]) continue;
        let foretold;
        if (t < half) {
          const one = corners[(k + 1) % 3], other = corners[(k + 2) % 3];
          const across = third.get(keyOf(one, other, count));
          if (across !== undefined) foretold = i => of(one, i) + of(other, i) - of(across, i);
          else foretold = (from => i => of(from, i))(known[one] ? one : known[other] ? other : last);
        } else {
          const twin = triangles[3 * (t - half) + TWIN[k]];
          foretold = i => (i === 1 ? levels - of(twin, 1) : of(twin, i));
        }
        for (let i = 0; i < 3; i++) places[3 * vertex + i] = left[i * count + next] + foretold(i);
        next += 1;
        known[vertex] = 1;
        last = vertex;
      }
      for (let k = 0; k < 3; k++) {
        const key = keyOf(corners[k], corners[(k + 1) % 3], count);
        if (!third.has(key)) third.set(key, corners[(k + 2) % 3]);
      }
    }
    for (let vertex = 0; vertex < count; vertex++) {
      if (known[vertex]) continue;
      for (let i = 0; i < 3; i++) places[3 * vertex + i] = left[i * count + next];
      next += 1;
    }
    return places;
  }

  // (3 n): across each edge the first triangle that has it; -1 where it is the same one.
  function neighboursOf(triangles, count) {
    const n = triangles.length / 3, first = new Map(), found = new Int32Array(3 * n).fill(-1);
    for (let t = 0; t < n; t++) {
      for (let k = 0; k < 3; k++) {
        const key = keyOf(triangles[3 * t + k], triangles[3 * t + (k + 1) % 3], count);
        const earlier = first.get(key);
        if (earlier === undefined) first.set(key, t);
        else if (earlier !== t) found[3 * t + k] = earlier;
      }
    }
    return found;
  }

  // Mean of the values of the earlier neighbours of a panel, which begin at `start`; 0 without any.
  function mean(across, t, values, start) {
    let total = 0, count = 0;
    for (let k = 3 * t; k < 3 * t + 3; k++) {
      if (across[k] < 0) continue;
      total += values[start + across[k]];
      count += 1;
    }
    return count > 1 ? total / count : total;
  }

  function cornersOf(vertices, triangles, box) {
    return (t, k, i) => box.low[i] + box.step[i] * vertices[3 * triangles[3 * t + k] + i];
  }

  function pointsOf(left, corner, across, box) {
    const n = left.length / 3, points = new Uint32Array(3 * n);
    for (let i = 0; i < 3; i++) {
      const beside = new Float64Array(n);
      for (let t = 0; t < n; t++) {
        beside[t] = left[i * n + t] + rounded(mean(across, t, beside, 0));
        const middle = (corner(t, 0, i) + corner(t, 1, i) + corner(t, 2, i)) / 3;
        points[3 * t + i] = beside[t] + rounded((middle - box.low[i]) / box.step[i]);
      }
    }
    return points;
  }

  function normalsOf(left, corner) {
    const n = left.length / 3, normals = new Int16Array(3 * n), u = [0, 0, 0], v = [0, 0, 0];
    for (let t = 0; t < n; t++) {
      for (let i = 0; i < 3; i++) {
        u[i] = corner(t, 1, i) - corner(t, 0, i);
        v[i] = corner(t, 2, i) - corner(t, 0, i);
      }
      const flat = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
      const length = Math.sqrt(flat[0] * flat[0] + flat[1] * flat[1] + flat[2] * flat[2]);
      for (let i = 0; i < 3; i++) flat[i] = rounded((DENSE * flat[i]) / (length > 0 ? length : 1));
      const size = flat.map(Math.abs);
      const most = size[0] >= size[1] && size[0] >= size[2] ? 0 : size[1] >= size[2] ? 1 : 2;
      const one = most === 0 ? 1 : 0, two = most === 2 ? 1 : 2;
      const a = left[t] + flat[one], b = left[n + t] + flat[two];
      const third = rounded(Math.sqrt(Math.max(DENSE * DENSE - a * a - b * b, 0)));
      normals[3 * t + one] = a;
      normals[3 * t + two] = b;
      normals[3 * t + most] = left[2 * n + t] + (flat[most] < 0 ? -third : third);
    }
    return normals;
  }

  // (2 n): components in the frames of the panels.
  function alongOf(left, axes, across) {
    const n = left.length / 2, { first, second } = axes;
    const along = new Float64Array(2 * n);
    const space = [0, 1, 2].map(() => new Float64Array(n));
    for (let t = 0; t < n; t++) {
      const x = mean(across, t, space[0], 0), y = mean(across, t, space[1], 0), z = mean(across, t, space[2], 0);
      const i = 3 * t, j = i + 1, k = i + 2;
      along[t] = left[t] + rounded(x * first[i] + y * first[j] + z * first[k]);
      along[n + t] = left[n + t] + rounded(x * second[i] + y * second[j] + z * second[k]);
      space[0][t] = along[t] * first[i] + along[n + t] * second[i];
      space[1][t] = along[t] * first[j] + along[n + t] * second[j];
      space[2][t] = along[t] * first[k] + along[n + t] * second[k];
    }
    return along;
  }

  function velocityOf(left, axes, across, like, ratio) {
    const values = alongOf(left, axes, across);
    if (like) for (let i = 0; i < values.length; i++) values[i] += rounded(ratio * like[i]);
    return Int16Array.from(values);
  }

  // (conditions n): row by row.
  function thicknessOf(left, across, n) {
    const codes = new Uint8Array(left.length);
    for (let row = 0; row < left.length; row += n) {
      for (let t = 0; t < n; t++) {
        codes[row + t] = left[row + t] + rounded(mean(across, t, codes, row));
      }
    }
    return codes;
  }

  function decodedArrays(header, left) {
    const coded = {}, arrays = {}, n = header.n_panels;
    for (const entry of header.arrays) {
      const name = entry.name;
      if (!entry.code) arrays[name] = left[name];
      else coded[name] = { ...entry, left: unfolded(left[name]) };
    }
    if (!coded.triangles) return arrays;
    const half = header.mirrored ? header.n_stored : n;
    const triangles = trianglesOf(coded.triangles.left, n, half);
    const count = coded.vertices.left.length / 3, across = neighboursOf(triangles, count);
    arrays.triangles = TYPES[coded.triangles.of].from(triangles);
    arrays.vertices = verticesOf(coded.vertices.left, triangles, half, header.levels);
    const corner = cornersOf(arrays.vertices, triangles, header.vertex_box);
    arrays.points = pointsOf(coded.points.left, corner, across, header.point_box);
    arrays.normals = normalsOf(coded.normals.left, corner);
    const { first, second } = frames(arrays.normals);
    const axes = { first: withImages(first, header.mirrored), second: withImages(second, header.mirrored) };
    const steps = {};
    for (const part of header.parts) for (const field of part.fields) steps[field.array] = field.step;
    for (const { name, code, like, left: rest } of Object.values(coded)) {
      const ratio = like ? steps[like] / steps[name] : 0;
      if (code === "velocity") arrays[name] = velocityOf(rest, axes, across, arrays[like], ratio);
      if (code === "thickness") arrays[name] = thicknessOf(rest, across, n);
    }
    return arrays;
  }

  Object.assign(globalThis.Panelcp, { blockFrames: frames, withImages, decodedArrays });
})();
