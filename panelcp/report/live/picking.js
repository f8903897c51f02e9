// Rays against the triangles of a surface.
//
// const picker = new Panelcp.Picker(points, triangles, mirrored)
// picker.cast(origin, direction, least = 0) -> the nearest hit farther than `least`, or null:
//   {triangle, weights: [a, b, c], point: [x, y, z], mirrored, distance}
//   Weights belong to the three vertices of the triangle as given, also on the mirrored half.
//
// Triangles are ordered along a curve that fills space (bits of the three coordinates in turn) and
// boxed in a complete binary tree over that order. Hits: Moeller and Trumbore, "Fast, minimum
// storage ray/triangle intersection", Journal of Graphics Tools 2 (1997).
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const LEAF = 4; // triangles in one box of the lowest row
  const EDGE = 1e-7; // share by which a hit may lie beside a triangle, so that rays find no gaps

  // 10 bits with two empty bits after each.
  function spread(number) {
    let bits = number & 1023;
    bits = (bits | (bits << 16)) & 0x30000ff;
    bits = (bits | (bits << 8)) & 0x300f00f;
    bits = (bits | (bits << 4)) & 0x30c30c3;
    return (bits | (bits << 2)) & 0x9249249;
  }

  function orderAlongCurve(points, triangles) {
    const count = triangles.length / 3;
    const middles = new Float32Array(3 * count);
    const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (let k = 0; k < 3 * count; k++) {
      const t = Math.floor(k / 3), i = k % 3;
      let sum = 0;
      for (let corner = 0; corner < 3; corner++) sum += points[3 * triangles[3 * t + corner] + i];
      middles[k] = sum;
      low[i] = Math.min(low[i], sum);
      high[i] = Math.max(high[i], sum);
    }
    const size = Math.max(...high.map((value, i) => value - low[i])) || 1;
    const keys = new Float64Array(count);
    for (let t = 0; t < count; t++) {
      let code = 0;
      for (let i = 0; i < 3; i++) {
        code |= spread(Math.floor((1023 * (middles[3 * t + i] - low[i])) / size)) << i;
      }
      keys[t] = code * 4194304 + t;
    }
    keys.sort();
    const order = new Uint32Array(count);
    for (let t = 0; t < count; t++) order[t] = keys[t] % 4194304;
    return order;
  }

  Panelcp.Picker = class Picker {
    constructor(points, triangles, mirrored = false) {
      this.points = points;
      this.triangles = triangles;
      this.mirrored = mirrored;
      this.order = orderAlongCurve(points, triangles);
      let leaves = 1;
      while (leaves * LEAF < this.order.length) leaves *= 2;
      this.leaves = leaves;
      this.perLeaf = Math.ceil(this.order.length / leaves);
      this.boxes = new Float32Array(12 * leaves); // node k: low 3, high 3; its children 2k, 2k + 1
      this._fillBoxes();
    }

    _fillBoxes() {
      const { boxes, leaves, perLeaf, order, points, triangles } = this;
      for (let node = 0; node < 2 * leaves; node++) {
        boxes.fill(Infinity, 6 * node, 6 * node + 3);
        boxes.fill(-Infinity, 6 * node + 3, 6 * node + 6);
      }
      for (let place = 0; place < order.length; place++) {
        const box = 6 * (leaves + Math.floor(place / perLeaf));
        for (let corner = 0; corner < 3; corner++) {
          const vertex = 3 * triangles[3 * order[place] + corner];
          for (let i = 0; i < 3; i++) {
            boxes[box + i] = Math.min(boxes[box + i], points[vertex + i]);
            boxes[box + 3 + i] = Math.max(boxes[box + 3 + i], points[vertex + i]);
          }
        }
      }
      for (let node = leaves - 1; node > 0; node--) {
        for (let i = 0; i < 3; i++) {
          const [first, second] = [12 * node + i, 12 * node + 6 + i];
          boxes[6 * node + i] = Math.min(boxes[first], boxes[second]);
          boxes[6 * node + 3 + i] = Math.max(boxes[first + 3], boxes[second + 3]);
        }
      }
    }

    cast(origin, direction, least = 0) {
      const hit = this._castHalf(origin, direction, least, Infinity);
      if (!this.mirrored) return hit;
      const flip = ([x, y, z]) => [x, -y, z];
      const other = this._castHalf(flip(origin), flip(direction), least, hit ? hit.distance : Infinity);
      if (!other) return hit;
      return { ...other, point: flip(other.point), mirrored: true };
    }

    _castHalf(origin, direction, least, most) {
      const { boxes, leaves } = this;
      const [ox, oy, oz] = origin;
      const [ix, iy, iz] = direction.map((value) => 1 / (value || 1e-300));
      const waiting = [1];
      let best = null;
      let farthest = most;
      while (waiting.length) {
        const node = waiting.pop();
        const b = 6 * node;
        if (boxes[b] > boxes[b + 3]) continue; // empty
        const x0 = (boxes[b] - ox) * ix, x1 = (boxes[b + 3] - ox) * ix;
        const y0 = (boxes[b + 1] - oy) * iy, y1 = (boxes[b + 4] - oy) * iy;
        const z0 = (boxes[b + 2] - oz) * iz, z1 = (boxes[b + 5] - oz) * iz;
        const enter = Math.max(Math.min(x0, x1), Math.min(y0, y1), Math.min(z0, z1));
        const leave = Math.min(Math.max(x0, x1), Math.max(y0, y1), Math.max(z0, z1));
        const room = 1e-9 * (1 + Math.abs(leave));
        if (!(enter <= leave + room) || leave + room < least || enter > farthest) continue;
        if (node < leaves) {
          waiting.push(2 * node, 2 * node + 1);
          continue;
        }
        const first = (node - leaves) * this.perLeaf;
        const last = Math.min(first + this.perLeaf, this.order.length);
        for (let place = first; place < last; place++) {
          const hit = this._meet(this.order[place], origin, direction);
          if (hit && hit.distance > least && hit.distance < farthest) {
            best = hit;
            farthest = hit.distance;
          }
        }
      }
      if (best) best.point = origin.map((value, i) => value + best.distance * direction[i]);
      return best;
    }

    _meet(triangle, [ox, oy, oz], [dx, dy, dz]) {
      const { points, triangles } = this;
      const a = 3 * triangles[3 * triangle], b = 3 * triangles[3 * triangle + 1], c = 3 * triangles[3 * triangle + 2];
      const ax = points[a], ay = points[a + 1], az = points[a + 2];
      const ux = points[b] - ax, uy = points[b + 1] - ay, uz = points[b + 2] - az;
      const vx = points[c] - ax, vy = points[c + 1] - ay, vz = points[c + 2] - az;
      const px = dy * vz - dz * vy, py = dz * vx - dx * vz, pz = dx * vy - dy * vx;
      const volume = ux * px + uy * py + uz * pz;
      if (volume === 0) return null;
      const tx = ox - ax, ty = oy - ay, tz = oz - az;
      const second = (tx * px + ty * py + tz * pz) / volume;
      if (second < -EDGE || second > 1 + EDGE) return null;
      const qx = ty * uz - tz * uy, qy = tz * ux - tx * uz, qz = tx * uy - ty * ux;
      const third = (dx * qx + dy * qy + dz * qz) / volume;
      if (third < -EDGE || second + third > 1 + EDGE) return null;
      const distance = (vx * qx + vy * qy + vz * qz) / volume;
      return { triangle, weights: [1 - second - third, second, third], point: null, mirrored: false, distance };
    }
  };
})();
