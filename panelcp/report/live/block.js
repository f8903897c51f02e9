// Reading of the block that block.py writes: surface, unit velocities, what is frozen.
//
// Panelcp.readBlock(base64) -> Promise of the block: {
//   header            what block.py wrote, with `openings` and `best` of a run
//   conditions        header.conditions: name, part, speed, alpha, ..., needed (Pa or null), decides
//   nPanels, mirrored, vertices (3 v, m), triangles (3 n), region (n), regionNames: both halves
//   points, normals, first, second   (3 n) control points, m, and the frames of the panels
//   parts             one for every ground and for the free air: { ground, fields }
//   separation        per condition (n) Pa or null; state: per condition (n) or null, see states }
// Panels keep the order of the surface in Python.
(function () {
  "use strict";
  globalThis.Panelcp = globalThis.Panelcp || {};

  const FORMAT = 1;
  const MAGIC = "PCLB";
  const TYPES = { u1: Uint8Array, i1: Int8Array, u2: Uint16Array, i2: Int16Array, u4: Uint32Array };

  // Whole numbers, whose bytes lie in planes, the lowest first.
  function arrayOf(raw, start, entry) {
    const size = entry.shape.reduce((a, b) => a * b, 1);
    const Type = TYPES[entry.type], values = new Type(size);
    for (let plane = 0; plane < Type.BYTES_PER_ELEMENT; plane++) {
      const at = start + entry.at + plane * size;
      for (let i = 0; i < size; i++) values[i] |= raw[at + i] << (8 * plane);
    }
    return values;
  }

  function placed(numbers, box) {
    const points = new Float64Array(numbers.length);
    for (let i = 0; i < numbers.length; i++) points[i] = box.low[i % 3] + box.step[i % 3] * numbers[i];
    return points;
  }

  // (2 n) numbers: components along the first axes, then along the second ones, m/s.
  function velocities(numbers, field, n, stored) {
    const values = new Float32Array(2 * n);
    const kept = field.parity ? stored : n;
    for (let axis = 0; axis < 2; axis++) {
      for (let i = 0; i < kept; i++) {
        const value = field.step * numbers[axis * kept + i];
        values[axis * n + i] = value;
        if (field.parity) values[axis * n + stored + i] = field.parity * value;
      }
      if (field.parity && stored === n) throw new Error("a field with parity on a whole surface");
    }
    return values;
  }

  // Distance behind the disc and from the thrust line of every control point, m.
  function aboutThrustLine(points, propeller) {
    const n = points.length / 3, axial = new Float64Array(n), distance = new Float64Array(n);
    const [cx, cy, cz] = propeller.centre, [ax, ay, az] = propeller.aft;
    for (let i = 0; i < n; i++) {
      const x = points[3 * i] - cx, y = points[3 * i + 1] - cy, z = points[3 * i + 2] - cz;
      const along = x * ax + y * ay + z * az;
      axial[i] = along;
      distance[i] = Math.hypot(x - along * ax, y - along * ay, z - along * az);
    }
    return { axial, distance };
  }

  function blockOf(raw) {
    const view = new DataView(raw.buffer);
    const magic = String.fromCharCode(...raw.subarray(0, 4));
    const size = view.getUint32(4, true);
    const header = JSON.parse(new TextDecoder().decode(raw.subarray(8, 8 + size)));
    if (magic !== MAGIC || header.format !== FORMAT) {
      throw new Error(`the data of the page has format ${magic} ${header.format}; expected ${MAGIC} ${FORMAT}`);
    }
    const left = {};
    for (const entry of header.arrays) left[entry.name] = arrayOf(raw, 8 + size, entry);
    const arrays = Panelcp.decodedArrays(header, left);
    const n = header.n_panels, stored = header.n_stored, mirrored = header.mirrored;
    const points = Panelcp.withImages(placed(arrays.points, header.point_box), mirrored);
    const axes = Panelcp.blockFrames(arrays.normals);
    const block = {
      header, nPanels: n, mirrored,
      conditions: header.conditions, regionNames: header.region_names, states: header.states,
      propeller: header.propeller || null, wing: header.wing || null,
      vertices: placed(arrays.vertices, header.vertex_box),
      triangles: arrays.triangles, region: arrays.region, joints: arrays.joints,
      points,
      normals: Panelcp.withImages(axes.normals, mirrored),
      first: Panelcp.withImages(axes.first, mirrored),
      second: Panelcp.withImages(axes.second, mirrored),
      parts: header.parts.map(part => ({
        ground: part.ground,
        fields: part.fields.map(field => ({
          ...field, velocity: velocities(arrays[field.array], field, n, stored),
        })),
      })),
      // per condition, null where there is none
      separation: header.conditions.map(() => null),
      state: header.conditions.map((_, c) =>
        arrays.state ? arrays.state.subarray(c * n, (c + 1) * n) : null),
      // m, of the layer over panel i in condition c as solved; NaN where it is not known
      thickness(c, i) {
        const code = arrays.thickness ? arrays.thickness[c * n + i] : 0;
        if (!code) return NaN;
        return header.thickness.thinnest * 10 ** ((code - 1) / header.thickness.steps);
      },
    };
    header.separated.conditions.forEach((c, row) => {
      const step = header.separated.steps[row], change = new Float32Array(n);
      for (let i = 0; i < n; i++) change[i] = step * arrays.separation[row * n + i];
      block.separation[c] = change;
    });
    if (block.propeller) {
      Object.assign(block, aboutThrustLine(points, block.propeller));
      block.section = Float64Array.from(arrays.section, k => header.section_step * k);
      block.sectionAtDisc = header.section_at_disc;
    }
    return block;
  }

  // base64 text of the deflated block -> Promise of the block
  async function readBlock(base64) {
    return blockOf(new Uint8Array(await Panelcp.unpacked(base64)));
  }

  Object.assign(globalThis.Panelcp, { readBlock });
})();
