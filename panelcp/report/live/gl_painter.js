// Draws a scene with WebGL2. Both painters have the same face:
//
// new Panelcp.GlPainter(canvas, evenIfSlow) throws when there is no WebGL2; unless evenIfSlow also when
//                                           the browser computes it without a graphics processor
// painter.setGeometry(geometry), setValues(half, Float32Array), setStates(half, states or null)
// painter.draw(scene, camera, width, height, ratio)   width, height in pixels of the canvas,
//                                                     ratio of them to CSS pixels
// scene: {limit, step, grey, hasField, drawLines, strokes, edges, mirrored}; a stroke is
// {segments (see Panelcp.segments), colour [0..255], width (CSS pixels), casing, dashed}
// painter.finish()  waits until the picture is there (for measurements)
(() => {
  "use strict";
  const Panelcp = (globalThis.Panelcp = globalThis.Panelcp || {});
  Panelcp.LOOK = {
    plain: [222, 226, 228], // skin without a value
    ink: [29, 35, 38],
    edge: [89, 99, 106],
    edgeWidth: 1.3,
    darkening: 0.15,
    line: 1.0, // widths in CSS pixels
    zero: 2.2,
    dash: [9, 0.62], // period in CSS pixels, share drawn
    flat: [0.0008, 0.003], // steps of the lines per CSS pixel, below which lines fade out
    crowded: [0.2, 0.45], // above which all but the zero line fade out
    hatchInk: [32, 39, 43],
    hatchStrength: 0.72,
    edgeLift: 0.0015, // of the radius, towards the viewer
    strokeLift: 0.006,
  };
  const UNKNOWN = 1e30; // stands for a value that is not known
  Panelcp.UNKNOWN = UNKNOWN;
  const LOOK = Panelcp.LOOK;
  const number = (value) => (Number.isInteger(value) ? `${value}.0` : `${value}`);
  const colour = (rgb) => `vec3(${rgb.map((value) => number(value / 255)).join(", ")})`;

  const SKIN_VERTEX = `#version 300 es
in vec3 place; in vec3 normal; in float value;
uniform mat4 matrix; uniform float side; uniform vec3 light;
out float vLight; out float vValue;
void main() {
  vec3 across = vec3(1.0, side, 1.0);
  gl_Position = matrix * vec4(place * across, 1.0);
  vLight = dot(normal * across, light);
  vValue = value;
}`;

  const SKIN_FRAGMENT = `#version 300 es
precision highp float; precision highp int;
in float vLight; in float vValue; out vec4 colour;
uniform sampler2D table; uniform float limit, levelStep, ratio; uniform vec2 anchor;
uniform int state; uniform bool hasField, drawLines;
const vec3 INK = ${colour(LOOK.ink)}; const vec3 HATCH_INK = ${colour(LOOK.hatchInk)};

float lineStrength() {
  float level = vValue / levelStep;
  vec2 slope = vec2(dFdx(level), dFdy(level));
  float steep = max(length(slope), 1e-12);
  float nearest = round(level);
  bool zero = abs(nearest) < 0.5;
  if (abs(nearest) > limit / levelStep + 0.5) return 0.0;
  float halfWidth = 0.5 * ratio * (zero ? ${number(LOOK.zero)} : ${number(LOOK.line)});
  float strength = clamp(halfWidth + 0.5 - abs(level - nearest) / steep, 0.0, 1.0);
  strength *= smoothstep(${LOOK.flat.map(number).join(", ")}, steep * ratio);
  if (!zero) strength *= 1.0 - smoothstep(${LOOK.crowded.map(number).join(", ")}, steep * ratio);
  if (nearest < -0.5) {
    vec2 place = (gl_FragCoord.xy - anchor) / (${number(LOOK.dash[0])} * ratio);
    float along = abs(slope.y) > abs(slope.x) ? place.x : place.y;
    float share = abs(fract(along) - 0.5) * 2.0;
    strength *= clamp((${number(LOOK.dash[1])} - share) * 0.5 * ${number(LOOK.dash[0])} * ratio + 0.5, 0.0, 1.0);
  }
  return strength;
}

float hatchStrength() {
  vec2 place = (gl_FragCoord.xy - anchor) / ratio;
  if (state == 1) {
    vec2 cell = abs(fract(vec2(place.x + place.y, place.x - place.y) / 9.0) - 0.5) * 9.0;
    return clamp((1.3 - length(cell)) * ratio + 0.5, 0.0, 1.0);
  }
  float across = state == 2 ? (place.x - place.y) * 0.70711 : (place.x + place.y) * 0.70711;
  float spacing = state == 2 ? 6.0 : 9.0;
  return clamp((0.5 - abs(fract(across / spacing) - 0.5) * spacing) * ratio + 0.5, 0.0, 1.0);
}

void main() {
  float shade = 1.0 - ${number(LOOK.darkening)} * (1.0 - clamp(vLight, 0.0, 1.0));
  vec3 skin = ${colour(LOOK.plain)};
  bool known = hasField && abs(vValue) < 1e20;
  float line = known && drawLines ? lineStrength() : 0.0;
  if (known) {
    float entries = float(textureSize(table, 0).x);
    float entry = clamp((vValue + limit) * entries / (2.0 * limit), 0.0, entries - 1.0);
    skin = texelFetch(table, ivec2(int(entry), 0), 0).rgb;
  }
  skin *= shade;
  if (state > 0) skin = mix(skin, HATCH_INK, ${number(LOOK.hatchStrength)} * hatchStrength());
  colour = vec4(mix(skin, INK, line), 1.0);
}`;

  // Each piece of a line has four corners. Where it goes on, both pieces end in the same slanting side;
  // an open end is round. The neighbour of an open end is the end itself.
  const STROKE_VERTEX = `#version 300 es
in vec3 before; in vec4 first; in vec4 second; in vec3 after;
uniform mat4 matrix; uniform vec3 lift; uniform vec2 size; uniform float halfWidth;
out vec2 vPlace; out vec2 vOpen; out float vLength; out float vAlong;
vec4 clip(vec3 place) { return matrix * vec4(place + lift, 1.0); }
vec2 flat2(vec4 place) { return place.xy / place.w * 0.5 * size; }
vec2 direction(vec2 run, vec2 otherwise) {
  float len = length(run);
  return len > 1e-3 ? run / len : otherwise;
}
void main() {
  vec4 a = clip(first.xyz), b = clip(second.xyz);
  float len = length(flat2(b) - flat2(a));
  vec2 along = direction(flat2(b) - flat2(a), vec2(1.0, 0.0));
  bool atEnd = (gl_VertexID & 2) != 0;
  float side = float(gl_VertexID & 1) * 2.0 - 1.0, way = atEnd ? 1.0 : -1.0, pad = halfWidth + 1.0;
  vec2 across = vec2(-along.y, along.x);
  vOpen = vec2(before == first.xyz, after == second.xyz);
  vec2 offset = (side * across + way * along) * pad;
  float beyond = way * pad;
  if ((atEnd ? vOpen.y : vOpen.x) < 0.5) {
    vec2 other = atEnd ? flat2(clip(after)) - flat2(b) : flat2(a) - flat2(clip(before));
    vec2 middle = direction(direction(other, along) + along, along);
    vec2 slant = vec2(-middle.y, middle.x);
    offset = side * slant * pad / max(dot(slant, across), 0.5);
    beyond = dot(offset, along);
  }
  vec4 place = atEnd ? b : a;
  gl_Position = vec4(place.xy + offset * 2.0 / size * place.w, place.zw);
  vPlace = vec2((atEnd ? len : 0.0) + beyond, dot(offset, across));
  vLength = len;
  vAlong = atEnd ? second.w : first.w;
}`;

  const STROKE_FRAGMENT = `#version 300 es
precision highp float;
in vec2 vPlace; in vec2 vOpen; in float vLength; in float vAlong; out vec4 result;
uniform vec3 colour; uniform float halfWidth, dash;
void main() {
  float beyond = max(max(-vPlace.x * vOpen.x, (vPlace.x - vLength) * vOpen.y), 0.0);
  float strength = clamp(halfWidth + 0.5 - length(vec2(beyond, vPlace.y)), 0.0, 1.0);
  if (dash > 0.0 && fract(vAlong / dash) > 0.6) strength = 0.0;
  result = vec4(colour * strength, strength);
}`;
  const STROKE_PARTS = [["before", 3, 0], ["first", 4, 3], ["second", 4, 7], ["after", 3, 11]];
  const STROKE_FLOATS = 14;

  // Pieces of lines (see Panelcp.segments) with their neighbours, once for each of their corners.
  function strokeCorners(segments) {
    const pieces = segments.length / 8;
    const corners = new Float32Array(4 * STROKE_FLOATS * pieces);
    const joined = (k, l) =>
      k >= 0 && l < pieces && [0, 1, 2].every((i) => segments[8 * k + 4 + i] === segments[8 * l + i]);
    const firsts = new Map(); // a closed line: its last piece leads to its first
    let start = 0;
    for (let k = 0; k < pieces; k++) {
      if (joined(k, k + 1)) continue;
      if (k > start && [0, 1, 2].every((i) => segments[8 * k + 4 + i] === segments[8 * start + i])) {
        firsts.set(k, start).set(-start - 1, k);
      }
      start = k + 1;
    }
    for (let k = 0; k < pieces; k++) {
      const previous = joined(k - 1, k) ? k - 1 : firsts.get(-k - 1);
      const next = joined(k, k + 1) ? k + 1 : firsts.get(k);
      const before = previous === undefined ? 8 * k : 8 * previous;
      const after = next === undefined ? 8 * k + 4 : 8 * next + 4;
      const at = 4 * STROKE_FLOATS * k;
      corners.set(segments.subarray(before, before + 3), at);
      corners.set(segments.subarray(8 * k, 8 * k + 8), at + 3);
      corners.set(segments.subarray(after, after + 3), at + 11);
      for (let corner = 1; corner < 4; corner++) corners.copyWithin(at + corner * STROKE_FLOATS, at, at + STROKE_FLOATS);
    }
    return corners;
  }

  function program(gl, vertex, fragment) {
    const built = gl.createProgram();
    for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, fragment]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(built, shader);
    }
    gl.linkProgram(built);
    if (!gl.getProgramParameter(built, gl.LINK_STATUS) && !gl.isContextLost()) {
      const logs = gl.getAttachedShaders(built).map((shader) => gl.getShaderInfoLog(shader));
      throw new Error(`shader: ${[gl.getProgramInfoLog(built), ...logs].join(" ")}`);
    }
    const uniforms = {};
    for (let k = 0; k < gl.getProgramParameter(built, gl.ACTIVE_UNIFORMS); k++) {
      const { name } = gl.getActiveUniform(built, k);
      uniforms[name] = gl.getUniformLocation(built, name);
    }
    return { built, uniforms, place: (name) => gl.getAttribLocation(built, name) };
  }

  let slow; // whether WebGL2 is computed without a graphics processor; looked up once

  // Not every browser calls that a caveat, so the name of the renderer is looked at as well. On a canvas
  // of its own, since one that has had a context takes no other.
  Panelcp.slowGl = () => {
    if (slow !== undefined) return slow;
    const gl = document.createElement("canvas").getContext("webgl2", { failIfMajorPerformanceCaveat: true });
    slow = !gl;
    if (gl) {
      const info = gl.getExtension("WEBGL_debug_renderer_info");
      const name = info ? gl.getParameter(info.UNMASKED_RENDERER_WEBGL) : "";
      slow = /swiftshader|llvmpipe|softpipe|software|basic render/i.test(name);
      gl.getExtension("WEBGL_lose_context")?.loseContext();
    }
    return slow;
  };

  // Triangles in the order of their states, and where each state starts.
  function sortedByState(triangles, states) {
    const order = new Uint32Array(triangles.length);
    const ranges = [];
    let used = 0;
    for (const state of states ? [0, 1, 2, 3] : [0]) {
      const start = used;
      for (let t = 0; t < triangles.length / 3; t++) {
        if (states && states[t] !== state) continue;
        for (let corner = 3 * t; corner < 3 * t + 3; corner++) order[used++] = triangles[corner];
      }
      if (used > start) ranges.push([state, start, used - start]);
    }
    return { order, ranges };
  }
  Panelcp.sortedByState = sortedByState;

  Panelcp.GlPainter = class GlPainter {
    constructor(canvas, evenIfSlow = false) {
      this.kind = "webgl2";
      if (!evenIfSlow && Panelcp.slowGl()) throw new Error("no WebGL2, or none with a graphics processor");
      const gl = canvas.getContext("webgl2", { alpha: true, antialias: false, depth: true });
      if (!gl) throw new Error("no WebGL2");
      this.canvas = canvas;
      this.gl = gl;
      this.skin = program(gl, SKIN_VERTEX, SKIN_FRAGMENT);
      this.stroke = program(gl, STROKE_VERTEX, STROKE_FRAGMENT);
      this.strokeBuffers = new Map();
      this.tables = [this._table(false), this._table(true)];
      this.edgeBuffers = [this._strokeArray(), this._strokeArray()];
    }

    _table(grey) {
      const gl = this.gl;
      const colours = Panelcp.colourTable(grey);
      const texture = gl.createTexture();
      gl.bindTexture(gl.TEXTURE_2D, texture);
      gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
      gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGB8, colours.length / 3, 1, 0, gl.RGB, gl.UNSIGNED_BYTE, colours);
      gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MIN_FILTER, gl.NEAREST);
      gl.texParameteri(gl.TEXTURE_2D, gl.TEXTURE_MAG_FILTER, gl.NEAREST);
      return texture;
    }

    _fill(target, buffer, data, use) {
      this.gl.bindBuffer(target, buffer);
      this.gl.bufferData(target, data, use);
    }

    setGeometry(geometry) {
      const gl = this.gl;
      this.geometry = geometry;
      const shared = [gl.createBuffer(), gl.createBuffer()];
      this._fill(gl.ARRAY_BUFFER, shared[0], geometry.points, gl.STATIC_DRAW);
      this._fill(gl.ARRAY_BUFFER, shared[1], geometry.normals, gl.STATIC_DRAW);
      const sides = geometry.mirrored ? [1, -1] : [1];
      this.halves = sides.map((side) => this._half(side, shared));
      for (const half of this.halves.keys()) this.setStates(half, null);
    }

    _half(side, shared) {
      const gl = this.gl;
      const half = { side, array: gl.createVertexArray(), values: gl.createBuffer(), indices: gl.createBuffer(), ranges: [] };
      gl.bindVertexArray(half.array);
      this._fill(gl.ARRAY_BUFFER, half.values, new Float32Array(this.geometry.source.length), gl.DYNAMIC_DRAW);
      for (const [name, buffer, count] of [["place", shared[0], 3], ["normal", shared[1], 3], ["value", half.values, 1]]) {
        const place = this.skin.place(name);
        gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
        gl.enableVertexAttribArray(place);
        gl.vertexAttribPointer(place, count, gl.FLOAT, false, 0, 0);
      }
      gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, half.indices);
      gl.bindVertexArray(null);
      return half;
    }

    setValues(half, values) {
      this._fill(this.gl.ARRAY_BUFFER, this.halves[half].values, values, this.gl.DYNAMIC_DRAW);
    }

    setStates(half, states) {
      const { order, ranges } = sortedByState(this.geometry.triangles, states);
      const gl = this.gl;
      gl.bindVertexArray(this.halves[half].array);
      this._fill(gl.ELEMENT_ARRAY_BUFFER, this.halves[half].indices, order, gl.DYNAMIC_DRAW);
      gl.bindVertexArray(null);
      this.halves[half].ranges = ranges;
    }

    draw(scene, camera, width, height, ratio) {
      const gl = this.gl;
      if (gl.isContextLost() || !this.geometry) return;
      const matrix = Float32Array.from(camera.matrix);
      gl.viewport(0, 0, width, height);
      gl.enable(gl.DEPTH_TEST);
      gl.depthFunc(gl.LEQUAL);
      gl.depthMask(true);
      gl.disable(gl.BLEND);
      gl.enable(gl.CULL_FACE);
      gl.clearColor(0, 0, 0, 0);
      gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
      this._drawSkin(scene, camera, matrix, ratio);
      this._drawStrokes(scene, camera, matrix, [width, height], ratio);
      gl.bindVertexArray(null);
    }

    _drawSkin(scene, camera, matrix, ratio) {
      const { gl, skin } = this;
      const { uniforms } = skin;
      const [x, y] = camera.project(camera.centre);
      gl.useProgram(skin.built);
      gl.bindTexture(gl.TEXTURE_2D, this.tables[scene.grey ? 1 : 0]);
      gl.uniformMatrix4fv(uniforms.matrix, false, matrix);
      gl.uniform3fv(uniforms.light, camera.light);
      gl.uniform1f(uniforms.limit, scene.limit);
      gl.uniform1f(uniforms.levelStep, scene.step);
      gl.uniform1f(uniforms.ratio, ratio);
      gl.uniform2f(uniforms.anchor, Math.round(x * ratio), Math.round((camera.height - y) * ratio));
      gl.uniform1i(uniforms.hasField, scene.hasField ? 1 : 0);
      gl.uniform1i(uniforms.drawLines, scene.drawLines ? 1 : 0);
      for (const half of this.halves) {
        gl.frontFace(half.side > 0 ? gl.CCW : gl.CW);
        gl.uniform1f(uniforms.side, half.side);
        gl.bindVertexArray(half.array);
        for (const [state, start, count] of half.ranges) {
          gl.uniform1i(uniforms.state, state);
          gl.drawElements(gl.TRIANGLES, count, gl.UNSIGNED_INT, 4 * start);
        }
      }
    }

    _strokeArray(segments) {
      const gl = this.gl;
      const found = { array: gl.createVertexArray(), buffer: gl.createBuffer(), count: 0 };
      gl.bindVertexArray(found.array);
      gl.bindBuffer(gl.ARRAY_BUFFER, found.buffer);
      for (const [name, count, offset] of STROKE_PARTS) {
        const place = this.stroke.place(name);
        gl.enableVertexAttribArray(place);
        gl.vertexAttribPointer(place, count, gl.FLOAT, false, 4 * STROKE_FLOATS, 4 * offset);
      }
      found.indices = gl.createBuffer();
      gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, found.indices);
      gl.bindVertexArray(null);
      if (segments) this._fillStroke(found, segments, gl.STATIC_DRAW);
      return found;
    }

    // Instances would be shorter, but software GL draws them one by one.
    _fillStroke(found, segments, use) {
      const gl = this.gl;
      const pieces = segments.length / 8;
      this._fill(gl.ARRAY_BUFFER, found.buffer, strokeCorners(segments), use);
      if (pieces > (found.room || 0)) {
        found.room = Math.ceil(1.5 * pieces);
        const indices = Uint32Array.from({ length: 6 * found.room }, (_, k) => 4 * Math.floor(k / 6) + [0, 1, 2, 2, 1, 3][k % 6]);
        gl.bindVertexArray(found.array);
        this._fill(gl.ELEMENT_ARRAY_BUFFER, found.indices, indices, gl.STATIC_DRAW);
        gl.bindVertexArray(null);
      }
      found.count = 6 * pieces;
    }

    // Buffers of strokes that are still there; others are given back.
    _buffersOf(strokes) {
      const wanted = new Set(strokes.map((stroke) => stroke.segments));
      for (const [segments, found] of this.strokeBuffers) {
        if (wanted.has(segments)) continue;
        this.gl.deleteBuffer(found.buffer);
        this.gl.deleteBuffer(found.indices);
        this.gl.deleteVertexArray(found.array);
        this.strokeBuffers.delete(segments);
      }
      for (const segments of wanted) {
        if (!this.strokeBuffers.has(segments)) this.strokeBuffers.set(segments, this._strokeArray(segments));
      }
      return this.strokeBuffers;
    }

    _drawStrokes(scene, camera, matrix, size, ratio) {
      const { gl, stroke } = this;
      const { uniforms } = stroke;
      const { toward } = camera.frame;
      const buffers = this._buffersOf(scene.strokes);
      gl.useProgram(stroke.built);
      gl.disable(gl.CULL_FACE);
      gl.enable(gl.BLEND);
      gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
      gl.depthMask(false);
      gl.uniformMatrix4fv(uniforms.matrix, false, matrix);
      gl.uniform2f(uniforms.size, ...size);
      this.edgeBuffers.forEach((found, k) => this._fillStroke(found, scene.edges[k], gl.STREAM_DRAW));
      const put = (found, lift, rgb, width, dash) => {
        gl.uniform3fv(uniforms.lift, toward.map((value) => value * lift * camera.radius));
        gl.uniform3fv(uniforms.colour, rgb.map((value) => value / 255));
        gl.uniform1f(uniforms.halfWidth, 0.5 * width * ratio);
        gl.uniform1f(uniforms.dash, dash);
        gl.bindVertexArray(found.array);
        gl.drawElements(gl.TRIANGLES, found.count, gl.UNSIGNED_INT, 0);
      };
      // Of a silhouette only the outer half shows: the skin stands before the other.
      put(this.edgeBuffers[0], LOOK.edgeLift, LOOK.edge, 1.7 * LOOK.edgeWidth, 0);
      put(this.edgeBuffers[1], LOOK.edgeLift, LOOK.edge, LOOK.edgeWidth, 0);
      for (const { segments, colour: rgb, width, casing, dashed } of scene.strokes) {
        const found = buffers.get(segments);
        if (casing) put(found, LOOK.strokeLift, [255, 255, 255], width + 2.4, 0);
        put(found, LOOK.strokeLift, rgb, width, dashed ? 10 / camera.pixelsPerMetre : 0);
      }
    }

    finish() {
      const pixel = new Uint8Array(4);
      this.gl.readPixels(0, 0, 1, 1, this.gl.RGBA, this.gl.UNSIGNED_BYTE, pixel);
    }
  };
})();
