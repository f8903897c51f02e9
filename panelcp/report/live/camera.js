// Camera: where the viewer stands, and what that makes of points.
//
// Angles in degrees: azimuth 180 looks from ahead, -90 from the left, elevation 90 from above; the
// named views are those of the static maps. `span` is the height of the picture in metres at `target`.
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  const RADIANS = Math.PI / 180;
  const HALF_FIELD = Math.tan(14 * RADIANS); // perspective: half the angle of sight up and down
  const LIGHT = [-0.35, 0.55, 1.0].map((value) => value / Math.hypot(-0.35, 0.55, 1.0));

  Panelcp.VIEWS = {
    left: [-90, 0],
    right: [90, 0],
    top: [-90, 90],
    bottom: [-90, -90],
    front: [180, 0],
    "three-quarter": [
      Math.atan2(-0.62, -0.68) / RADIANS,
      Math.atan2(0.4, Math.hypot(0.68, 0.62)) / RADIANS,
    ],
  };

  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  Panelcp.dot = dot;

  Panelcp.Camera = class Camera {
    constructor(centre, radius) {
      this.radius = radius;
      this.target = [...centre];
      this.centre = [...centre];
      [this.azimuth, this.elevation] = Panelcp.VIEWS["three-quarter"];
      this.span = 2 * radius;
      this.perspective = false;
      this.width = this.height = 1; // of the picture in CSS pixels
    }

    get state() {
      const { azimuth, elevation, span, perspective } = this;
      return { azimuth, elevation, span, perspective, target: [...this.target] };
    }

    set state(state) {
      Object.assign(this, state, { target: [...state.target] });
    }

    get frame() {
      const a = this.azimuth * RADIANS, e = this.elevation * RADIANS;
      const toward = [Math.cos(e) * Math.cos(a), Math.cos(e) * Math.sin(a), Math.sin(e)];
      const right = [-Math.sin(a), Math.cos(a), 0];
      const up = [
        toward[1] * right[2] - toward[2] * right[1],
        toward[2] * right[0] - toward[0] * right[2],
        toward[0] * right[1] - toward[1] * right[0],
      ];
      return { right, up, toward };
    }

    // Direction to the light, body axes: from the upper left of the viewer.
    get light() {
      const { right, up, toward } = this.frame;
      return right.map((_, i) => LIGHT[0] * right[i] + LIGHT[1] * up[i] + LIGHT[2] * toward[i]);
    }

    get eyeDistance() {
      return this.span / 2 / HALF_FIELD;
    }

    get eye() {
      const { toward } = this.frame;
      return this.target.map((value, i) => value + this.eyeDistance * toward[i]);
    }

    get pixelsPerMetre() {
      return this.height / this.span;
    }

    // Column by column, body axes to clip space.
    get matrix() {
      const { right, up, toward } = this.frame;
      const sx = (2 * this.height) / (this.width * this.span), sy = 2 / this.span;
      const depth = this.radius + Math.hypot(...this.target.map((value, i) => value - this.centre[i]));
      const rows = [right.map((v) => v * sx), up.map((v) => v * sy)].map((row) => [...row, -dot(row, this.target)]);
      const away = [...toward.map((v) => -v), dot(toward, this.target)]; // distance behind the target
      if (this.perspective) {
        const distance = this.eyeDistance;
        const near = Math.max(distance - 1.02 * depth, 0.01 * distance), far = distance + 1.02 * depth;
        const w = away.map((v, i) => (v + (i === 3 ? distance : 0)) / distance);
        const slope = (far + near) / (far - near), shift = (-2 * far * near) / (far - near) / distance;
        rows.push(w.map((v, i) => v * slope + (i === 3 ? shift : 0)), w);
      } else {
        rows.push(away.map((v) => v / (1.02 * depth)), [0, 0, 0, 1]);
      }
      return Float64Array.from({ length: 16 }, (_, k) => rows[k % 4][Math.floor(k / 4)]);
    }

    // [x, y] in CSS pixels from the upper left corner, then depth from -1 (near) to 1.
    project(point, matrix = this.matrix) {
      const clip = [0, 1, 2, 3].map(
        (i) => matrix[i] * point[0] + matrix[4 + i] * point[1] + matrix[8 + i] * point[2] + matrix[12 + i],
      );
      const w = Math.max(clip[3], 1e-9);
      return [((1 + clip[0] / w) * this.width) / 2, ((1 - clip[1] / w) * this.height) / 2, clip[2] / w];
    }

    // Ray through a pixel, from the viewer into the picture; direction of length 1.
    ray(x, y) {
      const { right, up, toward } = this.frame;
      const across = (x - this.width / 2) / this.pixelsPerMetre;
      const above = (this.height / 2 - y) / this.pixelsPerMetre;
      const place = this.target.map((v, i) => v + across * right[i] + above * up[i]);
      if (this.perspective) {
        const eye = this.eye;
        const line = place.map((v, i) => v - eye[i]);
        const length = Math.hypot(...line);
        return { origin: eye, direction: line.map((v) => v / length) };
      }
      const back = 2 * this.radius + Math.hypot(...this.target.map((v, i) => v - this.centre[i]));
      return { origin: place.map((v, i) => v + back * toward[i]), direction: toward.map((v) => -v) };
    }

    // Unit vector from a point to the viewer.
    towardViewer(point) {
      if (!this.perspective) return this.frame.toward;
      const line = this.eye.map((v, i) => v - point[i]);
      const length = Math.hypot(...line);
      return line.map((v) => v / length);
    }

    turn(azimuth, elevation) {
      this.azimuth = ((((this.azimuth + azimuth + 180) % 360) + 360) % 360) - 180;
      this.elevation = Math.min(90, Math.max(-90, this.elevation + elevation));
    }

    // Move the picture by pixels: the body follows the pointer.
    pan(dx, dy) {
      const { right, up } = this.frame;
      this.target = this.target.map((v, i) => v + (-dx * right[i] + dy * up[i]) / this.pixelsPerMetre);
    }

    // Zoom so that the point under (x, y) stays.
    zoom(factor, x = this.width / 2, y = this.height / 2) {
      const span = Math.min(6 * this.radius, Math.max(0.004 * this.radius, this.span / factor));
      const share = this.span / span;
      const dx = x - this.width / 2, dy = y - this.height / 2;
      this.span = span;
      this.pan(dx * (1 - share), dy * (1 - share));
    }

    // Target and span that show all points (Float32Array(3 n)) from this direction.
    fit(points, margin = 0.08) {
      const { right, up, toward } = this.frame;
      const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
      for (let k = 0; k < points.length; k += 3) {
        [right, up, toward].forEach((axis, i) => {
          const along = points[k] * axis[0] + points[k + 1] * axis[1] + points[k + 2] * axis[2];
          low[i] = Math.min(low[i], along);
          high[i] = Math.max(high[i], along);
        });
      }
      const middle = low.map((value, i) => 0.5 * (value + high[i]));
      this.target = right.map((_, i) => middle[0] * right[i] + middle[1] * up[i] + middle[2] * toward[i]);
      const tall = Math.max(high[1] - low[1], ((high[0] - low[0]) * this.height) / this.width);
      this.span = (tall || 2 * this.radius) * (1 + 2 * margin);
      if (this.perspective) this.span *= 1 + (0.5 * (high[2] - low[2])) / this.eyeDistance;
    }
  };
})();
