// Draws a scene on a plain 2-D canvas with a depth buffer of its own; same face as the GlPainter.
//
// Triangles that face away are dropped; the others are filled in turn and the nearest stays. Colours,
// lines of equal value and hatches then come from what each pixel shows, as in the shaders.
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const INSIDE = -1e-6; // least share of a corner at which a pixel counts as inside

  const clamp = (value, low, high) => (value < low ? low : value > high ? high : value);
  function smoothstep([low, high], value) {
    const t = clamp((value - low) / (high - low), 0, 1);
    return t * t * (3 - 2 * t);
  }

  Panelcp.CanvasPainter = class CanvasPainter {
    constructor(canvas) {
      this.kind = "2d";
      this.context = canvas.getContext("2d");
      if (!this.context) throw new Error("no 2-D canvas");
    }

    setGeometry(geometry) {
      this.geometry = geometry;
      const halves = geometry.mirrored ? 2 : 1;
      const count = geometry.source.length;
      this.values = Array.from({ length: halves }, () => new Float32Array(count));
      this.states = Array.from({ length: halves }, () => null);
      this.places = Array.from({ length: halves }, () => new Float32Array(4 * count)); // x, y, depth, light
      this.slopes = new Float32Array(2 * halves * geometry.areas.length);
    }

    setValues(half, values) {
      this.values[half] = values;
    }

    setStates(half, states) {
      this.states[half] = states;
    }

    _sized(width, height) {
      if (this.width === width && this.height === height) return;
      Object.assign(this, { width, height });
      this.depth = new Float32Array(width * height);
      this.owner = new Int32Array(width * height); // 0 nothing, else 1 + triangle, second half after the first
      this.value = new Float32Array(width * height);
      this.light = new Float32Array(width * height);
      this.image = this.context.createImageData(width, height);
      this.pixels = new Uint32Array(this.image.data.buffer);
    }

    draw(scene, camera, width, height, ratio) {
      this._sized(width, height);
      this.depth.fill(Infinity);
      this.owner.fill(0);
      this.places.forEach((places, half) => {
        this._project(places, half ? -1 : 1, camera, ratio);
        this._fill(half);
      });
      this._colour(scene, camera, ratio);
      this.context.putImageData(this.image, 0, 0);
      this._drawStrokes(scene, camera, ratio);
    }

    _project(places, side, camera, ratio) {
      const { points, normals } = this.geometry;
      const m = camera.matrix, [lx, ly, lz] = camera.light;
      const sx = (camera.width * ratio) / 2, sy = (camera.height * ratio) / 2;
      for (let v = 0, k = 0; k < points.length; v += 4, k += 3) {
        const x = points[k], y = side * points[k + 1], z = points[k + 2];
        const w = m[3] * x + m[7] * y + m[11] * z + m[15];
        if (!(w > 1e-6)) {
          places[v] = NaN; // behind the viewer: its triangles are dropped
          continue;
        }
        places[v] = (1 + (m[0] * x + m[4] * y + m[8] * z + m[12]) / w) * sx;
        places[v + 1] = (1 - (m[1] * x + m[5] * y + m[9] * z + m[13]) / w) * sy;
        places[v + 2] = (m[2] * x + m[6] * y + m[10] * z + m[14]) / w;
        const light = normals[k] * lx + side * normals[k + 1] * ly + normals[k + 2] * lz;
        places[v + 3] = light < 0 ? 0 : light > 1 ? 1 : light;
      }
    }

    _fill(half) {
      const { triangles } = this.geometry;
      const { width, height, depth, owner, value, light, slopes } = this;
      const places = this.places[half], values = this.values[half];
      const count = triangles.length / 3, offset = half * count;
      const turn = half ? -1 : 1; // y grows downwards: the first half turns clockwise, seen from outside
      for (let t = 0; t < count; t++) {
        const i0 = triangles[3 * t], i1 = triangles[3 * t + 1], i2 = triangles[3 * t + 2];
        const p0 = 4 * i0, p1 = 4 * i1, p2 = 4 * i2;
        const x0 = places[p0], y0 = places[p0 + 1], x1 = places[p1], y1 = places[p1 + 1], x2 = places[p2], y2 = places[p2 + 1];
        const area = (x1 - x0) * (y2 - y0) - (x2 - x0) * (y1 - y0);
        if (!(area * turn < 0)) continue;
        const left = Math.max(0, Math.ceil(Math.min(x0, x1, x2) - 0.5));
        const right = Math.min(width - 1, Math.floor(Math.max(x0, x1, x2) - 0.5));
        const top = Math.max(0, Math.ceil(Math.min(y0, y1, y2) - 0.5));
        const bottom = Math.min(height - 1, Math.floor(Math.max(y0, y1, y2) - 0.5));
        if (left > right || top > bottom) continue;
        const a0x = (y1 - y2) / area, a0y = (x2 - x1) / area, a1x = (y2 - y0) / area, a1y = (x0 - x2) / area;
        const z0 = places[p0 + 2], z1 = places[p1 + 2], z2 = places[p2 + 2];
        const v0 = values[i0], v1 = values[i1], v2 = values[i2];
        const l0 = places[p0 + 3], l1 = places[p1 + 3], l2 = places[p2 + 3];
        slopes[2 * (offset + t)] = a0x * (v0 - v2) + a1x * (v1 - v2);
        slopes[2 * (offset + t) + 1] = a0y * (v0 - v2) + a1y * (v1 - v2);
        for (let row = top; row <= bottom; row++) {
          const dy = row + 0.5 - y2;
          let dx = left + 0.5 - x2;
          let w0 = a0x * dx + a0y * dy, w1 = a1x * dx + a1y * dy;
          for (let pixel = row * width + left, end = row * width + right; pixel <= end; pixel++, w0 += a0x, w1 += a1x) {
            const w2 = 1 - w0 - w1;
            if (w0 < INSIDE || w1 < INSIDE || w2 < INSIDE) continue;
            const z = w0 * z0 + w1 * z1 + w2 * z2;
            if (z >= depth[pixel]) continue;
            depth[pixel] = z;
            owner[pixel] = offset + t + 1;
            value[pixel] = w0 * v0 + w1 * v1 + w2 * v2;
            light[pixel] = w0 * l0 + w1 * l1 + w2 * l2;
          }
        }
      }
    }

    // Colours of all pixels. Plain numbers only inside the loop: it runs over a million of them.
    _colour(scene, camera, ratio) {
      const { width, height, owner, value, light, pixels, slopes } = this;
      const { LOOK } = Panelcp;
      const table = Panelcp.colourTable(scene.grey), last = table.length / 3 - 1;
      const factor = (last + 1) / (2 * scene.limit), limit = scene.limit, perStep = 1 / scene.step;
      const [plainRed, plainGreen, plainBlue] = LOOK.plain, darkening = LOOK.darkening;
      const [ax, ay] = camera.project(camera.centre).map((place) => Math.round(place * ratio));
      const states = this._statesByOwner();
      const hasField = scene.hasField, drawLines = hasField && scene.drawLines;
      const most = limit * perStep + 0.5;
      const reach = (0.5 * LOOK.zero * ratio + 0.5) ** 2; // pixels squared: no line is wider
      pixels.fill(0);
      for (let row = 0, pixel = 0; row < height; row++) {
        for (let column = 0; column < width; column++, pixel++) {
          const of = owner[pixel];
          if (of === 0) continue;
          const v = value[pixel], known = hasField && v < 1e20 && v > -1e20;
          let red = plainRed, green = plainGreen, blue = plainBlue;
          if (known) {
            const place = (v + limit) * factor;
            const entry = 3 * (place < 0 ? 0 : place > last ? last : place | 0);
            red = table[entry];
            green = table[entry + 1];
            blue = table[entry + 2];
          }
          const keep = 1 - darkening * (1 - light[pixel]);
          red *= keep;
          green *= keep;
          blue *= keep;
          if (states !== null && states[of - 1] !== 0) {
            const ink = LOOK.hatchStrength * hatchStrength(states[of - 1], column - ax, ay - row, ratio);
            red += (LOOK.hatchInk[0] - red) * ink;
            green += (LOOK.hatchInk[1] - green) * ink;
            blue += (LOOK.hatchInk[2] - blue) * ink;
          }
          if (drawLines && known) {
            const level = v * perStep, nearest = Math.floor(level + 0.5), away = level - nearest;
            const gx = slopes[2 * of - 2] * perStep, gy = slopes[2 * of - 1] * perStep;
            const steep = gx * gx + gy * gy;
            if (away * away < reach * steep && nearest <= most && nearest >= -most) {
              const line = lineStrength(nearest, away, gx, gy, column - ax, row - ay, ratio);
              red += (LOOK.ink[0] - red) * line;
              green += (LOOK.ink[1] - green) * line;
              blue += (LOOK.ink[2] - blue) * line;
            }
          }
          pixels[pixel] = 0xff000000 | ((blue + 0.5) << 16) | ((green + 0.5) << 8) | (red + 0.5);
        }
      }
    }

    _statesByOwner() {
      if (!this.states.some(Boolean)) return null;
      const count = this.geometry.areas.length;
      const out = new Uint8Array(this.states.length * count);
      this.states.forEach((states, half) => states && out.set(states, half * count));
      return out;
    }

    _drawStrokes(scene, camera, ratio) {
      const { LOOK } = Panelcp;
      const matrix = camera.matrix, { context } = this;
      context.lineCap = "round";
      context.lineJoin = "round";
      const put = (path, rgb, width, dash) => {
        context.setLineDash(dash ? [6 * ratio, 4 * ratio] : []);
        context.strokeStyle = `rgb(${rgb})`;
        context.lineWidth = width * ratio;
        context.stroke(path);
      };
      scene.edges.forEach((segments, kind) => {
        const path = this._visiblePath(segments, camera, matrix, ratio, LOOK.edgeLift, kind ? 0 : 1);
        put(path, LOOK.edge, LOOK.edgeWidth, false);
      });
      for (const { segments, colour, width, casing, dashed } of scene.strokes) {
        const path = this._visiblePath(segments, camera, matrix, ratio, LOOK.strokeLift);
        if (casing) put(path, [255, 255, 255], width + 2.4, false);
        put(path, colour, width, dashed);
      }
    }

    // What of a line is not hidden: it is cut into pieces of two pixels, each looked up in the depths.
    // With `room` 1 a piece shows as soon as it does in one of the pixels around: a silhouette lies
    // beside the pixels that its own triangles fill.
    _visiblePath(segments, camera, matrix, ratio, lift, room = 0) {
      const { width, height, depth } = this;
      const hidden = (column, row, z) => {
        for (let y = row - room; y <= row + room; y++) {
          for (let x = column - room; x <= column + room; x++) {
            const inside = x >= 0 && x < width && y >= 0 && y < height;
            if (!inside || z <= depth[y * width + x]) return false;
          }
        }
        return true;
      };
      const path = new Path2D();
      const shift = camera.frame.toward.map((value) => value * lift * camera.radius);
      let endX = NaN, endY = NaN;
      for (let k = 0; k < segments.length; k += 8) {
        const ends = [0, 4].map((i) =>
          camera.project([0, 1, 2].map((axis) => segments[k + i + axis] + shift[axis]), matrix),
        );
        const [[ax, ay, az], [bx, by, bz]] = ends.map(([x, y, z]) => [x * ratio, y * ratio, z]);
        if (Math.max(ax, bx) < 0 || Math.min(ax, bx) > width || Math.max(ay, by) < 0 || Math.min(ay, by) > height) continue;
        const pieces = Math.min(2000, Math.max(1, Math.ceil(Math.hypot(bx - ax, by - ay) / 2)));
        for (let piece = 0; piece < pieces; piece++) {
          const from = piece / pieces, to = (piece + 1) / pieces, middle = 0.5 * (from + to);
          const column = Math.floor(ax + middle * (bx - ax)), row = Math.floor(ay + middle * (by - ay));
          if (hidden(column, row, az + middle * (bz - az))) continue;
          const x = ax + from * (bx - ax), y = ay + from * (by - ay);
          if (!(Math.abs(x - endX) < 0.01 && Math.abs(y - endY) < 0.01)) path.moveTo(x, y);
          endX = ax + to * (bx - ax);
          endY = ay + to * (by - ay);
          path.lineTo(endX, endY);
        }
      }
      return path;
    }

    finish() {}
  };

  // Both as in the fragment shader; places in pixels from the anchor.
  function lineStrength(nearest, away, gx, gy, x, y, ratio) {
    const { LOOK } = Panelcp;
    const zero = nearest === 0;
    const steep = Math.sqrt(gx * gx + gy * gy);
    let strength = clamp(0.5 * ratio * (zero ? LOOK.zero : LOOK.line) + 0.5 - Math.abs(away) / steep, 0, 1);
    strength *= smoothstep(LOOK.flat, steep * ratio);
    if (!zero) strength *= 1 - smoothstep(LOOK.crowded, steep * ratio);
    if (nearest < 0) {
      const [period, share] = LOOK.dash;
      const along = (Math.abs(gy) > Math.abs(gx) ? x : y) / (period * ratio);
      const place = Math.abs(along - Math.floor(along) - 0.5) * 2;
      strength *= clamp((share - place) * 0.5 * period * ratio + 0.5, 0, 1);
    }
    return strength;
  }

  function hatchStrength(state, px, py, ratio) {
    const x = px / ratio, y = py / ratio;
    if (state === 1) {
      const u = (x + y) / 9, v = (x - y) / 9;
      const away = 9 * Math.hypot(u - Math.floor(u) - 0.5, v - Math.floor(v) - 0.5);
      return clamp((1.3 - away) * ratio + 0.5, 0, 1);
    }
    const spacing = state === 2 ? 6 : 9;
    const across = ((state === 2 ? x - y : x + y) * 0.70711) / spacing;
    return clamp((0.5 - Math.abs(across - Math.floor(across) - 0.5) * spacing) * ratio + 0.5, 0, 1);
  }
})();
