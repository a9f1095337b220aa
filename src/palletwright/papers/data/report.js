"use strict";
// The fixture in 3D: WebGL 2 where there is one, otherwise the same picture drawn triangle by triangle.
(function () {
  const holder = document.getElementById("scene");
  if (!holder) return;
  const data = JSON.parse(document.getElementById("scene-data").textContent);
  const canvas = holder.querySelector("canvas");
  const CREASE = Math.cos(25 * Math.PI / 180), FLOATS = 13, LIGHT = [0.35, -0.45, 0.82];
  const FIRST = { around: -0.62, up: 0.55, zoom: 1 };
  const state = { ...FIRST, angle: 0, cycle: 0, cut: false, machine: false, scale: 1, mid: [0, 0, 0], radius: 1 };

  // ---- meshes -------------------------------------------------------------------------------------------------
  const bytes = (text, Kind) => new Kind(Uint8Array.from(atob(text), c => c.charCodeAt(0)).buffer);
  const read = {};
  function mesh(key) {
    if (!read[key]) {
      const m = data.meshes[key];
      read[key] = { v: bytes(m.vertices, Float32Array), t: bytes(m.triangles, Uint32Array) };
      read[key].sharp = creases(read[key]);
    }
    return read[key];
  }

  function normal(v, t, i) {
    const [a, b, c] = [3 * t[i], 3 * t[i + 1], 3 * t[i + 2]];
    const e = [0, 1, 2].map(k => v[b + k] - v[a + k]), f = [0, 1, 2].map(k => v[c + k] - v[a + k]);
    const n = [e[1] * f[2] - e[2] * f[1], e[2] * f[0] - e[0] * f[2], e[0] * f[1] - e[1] * f[0]];
    const l = Math.hypot(n[0], n[1], n[2]) || 1;
    return [n[0] / l, n[1] / l, n[2] / l];
  }

  // Least height of a triangle, mm: slivers have no normal to speak of.
  function thin(v, t, i) {
    const p = [0, 1, 2].map(k => v.subarray(3 * t[i + k], 3 * t[i + k] + 3));
    const l = [0, 1, 2].map(k => Math.hypot(...[0, 1, 2].map(r => p[(k + 1) % 3][r] - p[k][r])));
    const s = (l[0] + l[1] + l[2]) / 2, area = Math.sqrt(Math.max(0, s * (s - l[0]) * (s - l[1]) * (s - l[2])));
    return 2 * area / Math.max(...l);
  }

  // For every triangle side: 1 where the surface turns sharply, counted on the first of the two triangles.
  function creases({ v, t }) {
    const ids = new Map(), SLIVER = 0.03, weld = new Uint32Array(v.length / 3), sharp = new Uint8Array(t.length), seen = new Map();
    for (let i = 0; i < weld.length; i++) {
      const key = v.subarray(3 * i, 3 * i + 3).map(x => Math.round(x * 20)).join();
      if (!ids.has(key)) ids.set(key, i);
      weld[i] = ids.get(key);
    }
    for (let i = 0; i < t.length; i += 3) {
      const corner = [0, 1, 2].map(k => weld[t[i + k]]);
      if (corner[0] === corner[1] || corner[1] === corner[2] || corner[0] === corner[2]) continue;
      const n = thin(v, t, i) < SLIVER ? null : normal(v, t, i);
      for (let k = 0; k < 3; k++) {
        const a = weld[t[i + k]], b = weld[t[i + (k + 1) % 3]];
        const key = Math.min(a, b) * 4294967 + Math.max(a, b), other = seen.get(key);
        if (!other) seen.set(key, { n, at: i + k });
        else if (n && other.n && n[0] * other.n[0] + n[1] * other.n[1] + n[2] * other.n[2] < CREASE) sharp[other.at] = 1;
      }
    }
    return sharp;
  }

  // ---- one cycle as triangles and lines -----------------------------------------------------------------------
  function colour(name) {
    const text = getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
    return [1, 3, 5].map(i => parseInt(text.slice(i, i + 2), 16) / 255);
  }
  const ofMachine = b => b.kind === "table" || b.kind === "rotary" || b.kind === "tailstock";
  const bodies = () => data.cycles[state.cycle].bodies.filter(b => state.machine || !ofMachine(b));
  const meshOf = b => mesh(state.cut && b.after ? b.after : b.mesh);

  function moved(v, m) {
    const w = new Float32Array(v.length);
    for (let i = 0; i < v.length; i += 3) for (let r = 0; r < 3; r++)
      w[i + r] = m[4 * r] * v[i] + m[4 * r + 1] * v[i + 1] + m[4 * r + 2] * v[i + 2] + m[4 * r + 3];
    return w;
  }

  function geometry() {
    const shown = bodies().map(b => ({ b, m: meshOf(b) })), tints = {};
    const total = shown.reduce((s, { m }) => s + m.t.length, 0);
    const faces = new Float32Array(total * FLOATS), sharp = new Uint8Array(total);
    let at = 0;
    for (const { b, m } of shown) {
      const w = moved(m.v, b.pose), turns = b.group === "rotary" ? 1 : 0;
      const c = tints[b.colour] || (tints[b.colour] = colour(b.colour));
      for (let i = 0; i < m.t.length; i += 3) {
        const n = normal(w, m.t, i);
        for (let k = 0; k < 3; k++, at++) {
          const p = 3 * m.t[i + k];
          const off = [0, 1, 2].map(c => !m.sharp[i + (c + 1) % 3] || c === k ? 1 : 0);
          faces.set([w[p], w[p + 1], w[p + 2], n[0], n[1], n[2], c[0], c[1], c[2], turns, ...off], at * FLOATS);
          sharp[at] = m.sharp[i + k];
        }
      }
    }
    return { faces, sharp, count: total };
  }

  // ---- where the eye stands -----------------------------------------------------------------------------------
  function axes() {
    const ca = Math.cos(state.around), sa = Math.sin(state.around), cu = Math.cos(state.up), su = Math.sin(state.up);
    return [[ca, sa, 0], [-sa * su, ca * su, cu], [sa * cu, -ca * cu, su]];
  }

  // Frame the fixture so that it fills the picture from the first view's direction.
  function frame() {
    const low = [1e9, 1e9, 1e9], high = [-1e9, -1e9, -1e9], [x, y] = axes(), span = [1e9, -1e9, 1e9, -1e9], clouds = [];
    for (const b of data.cycles[state.cycle].bodies) {
      if (!state.machine && ofMachine(b)) continue;
      const w = turned(moved(meshOf(b).v, b.pose), b.group === "rotary");
      clouds.push(w);
      for (let i = 0; i < w.length; i++) { low[i % 3] = Math.min(low[i % 3], w[i]); high[i % 3] = Math.max(high[i % 3], w[i]); }
    }
    state.mid = low.map((v, i) => (v + high[i]) / 2);
    state.radius = Math.hypot(...low.map((v, i) => high[i] - v)) / 2 || 1;
    for (const w of clouds) for (let i = 0; i < w.length; i += 3) {
      const p = [0, 1, 2].map(k => w[i + k] - state.mid[k]);
      const h = p[0] * x[0] + p[1] * x[1] + p[2] * x[2], v = p[0] * y[0] + p[1] * y[1] + p[2] * y[2];
      span[0] = Math.min(span[0], h); span[1] = Math.max(span[1], h); span[2] = Math.min(span[2], v); span[3] = Math.max(span[3], v);
    }
    const wide = span[1] - span[0] || 1, tall = span[3] - span[2] || 1;
    const h = (span[0] + span[1]) / 2, v = (span[2] + span[3]) / 2;
    state.mid = state.mid.map((m, k) => m + h * x[k] + v * y[k]);
    state.scale = 0.94 * Math.min(canvas.clientWidth / wide, canvas.clientHeight / tall);
  }

  function turned(w, turns) {
    if (!turns || !state.angle) return w;
    const t = turning(), out = new Float32Array(w.length);
    for (let i = 0; i < w.length; i += 3) for (let r = 0; r < 3; r++)
      out[i + r] = t[r] * w[i] + t[4 + r] * w[i + 1] + t[8 + r] * w[i + 2] + t[12 + r];
    return out;
  }

  function turning() {
    const a = state.angle * Math.PI / 180, c = Math.cos(a), n = Math.sin(a), [px, py, pz] = data.axis.point;
    return data.axis.along === "y"
      ? [c, 0, -n, 0, 0, 1, 0, 0, n, 0, c, 0, px - c * px - n * pz, 0, pz + n * px - c * pz, 1]
      : [1, 0, 0, 0, 0, c, n, 0, 0, -n, c, 0, 0, py - c * py + n * pz, pz - n * py - c * pz, 1];
  }

  function eye(w, h) {
    const [x, y, z] = axes(), s = state.scale * state.zoom, k = [2 * s / w, 2 * s / h, -1 / (6 * state.radius)];
    const rows = [x, y, z].map((a, r) => a.map(v => v * k[r]));
    const off = rows.map(a => -(a[0] * state.mid[0] + a[1] * state.mid[1] + a[2] * state.mid[2]));
    return [0, 1, 2].flatMap(i => [rows[0][i], rows[1][i], rows[2][i], 0]).concat([...off, 1]);
  }

  // ---- two ways to put it on the screen -----------------------------------------------------------------------
  const VERTEX = `#version 300 es
    layout(location=0) in vec3 p; layout(location=1) in vec3 n; layout(location=2) in vec3 c; layout(location=3) in float g; layout(location=4) in vec3 e;
    uniform mat4 eye; uniform mat4 turn; out vec3 nn; out vec3 cc; out vec3 ee;
    void main(){ nn = g > .5 ? mat3(turn) * n : n; cc = c; ee = e; gl_Position = eye * (g > .5 ? turn * vec4(p,1.) : vec4(p,1.)); }`;
  const FRAGMENT = `#version 300 es
    precision highp float; in vec3 nn; in vec3 cc; in vec3 ee; uniform vec3 edge; uniform vec3 light; out vec4 o;
    void main(){ vec3 n = normalize(nn), off = ee / max(fwidth(ee), vec3(1e-6));
      vec3 face = min(vec3(1.), cc * (.72 + .42 * max(0., dot(n, normalize(light))) + .1 * n.z));
      o = vec4(mix(edge, face, smoothstep(.3, 1.2, min(off.x, min(off.y, off.z)))), 1.); }`;

  function glPainter() {
    const gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
    if (!gl) return null;
    const program = gl.createProgram();
    for (const [type, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const s = gl.createShader(type); gl.shaderSource(s, text); gl.compileShader(s); gl.attachShader(program, s);
    }
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
    gl.useProgram(program); gl.enable(gl.DEPTH_TEST);
    const place = Object.fromEntries(["eye", "turn", "edge", "light"].map(n => [n, gl.getUniformLocation(program, n)]));
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    for (const [i, size, from] of [[0, 3, 0], [1, 3, 12], [2, 3, 24], [3, 1, 36], [4, 3, 40]]) {
      gl.enableVertexAttribArray(i); gl.vertexAttribPointer(i, size, gl.FLOAT, false, 4 * FLOATS, from);
    }
    let shown = null;
    return {
      load(g) {
        shown = g;
        gl.bufferData(gl.ARRAY_BUFFER, g.faces, gl.STATIC_DRAW);
      },
      draw(w, h) {
        gl.viewport(0, 0, canvas.width, canvas.height);
        gl.clearColor(...colour("back"), 1); gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
        gl.uniformMatrix4fv(place.eye, false, eye(w, h)); gl.uniformMatrix4fv(place.turn, false, turning());
        gl.uniform3fv(place.light, LIGHT); gl.uniform3fv(place.edge, colour("edge"));
        gl.drawArrays(gl.TRIANGLES, 0, shown.count);
      },
    };
  }

  function flatPainter() {
    const pen = canvas.getContext("2d");
    if (!pen) return null;
    holder.querySelector(".nogl").hidden = false;
    let shown = null;
    const put = (m, a, i) => [0, 1, 2].map(r => m[r] * a[i] + m[4 + r] * a[i + 1] + m[8 + r] * a[i + 2]);
    function list(w, h) {
      const e = eye(w, h), t = turning(), z = axes()[2], f = shown.faces, found = [], length = Math.hypot(...LIGHT);
      for (let i = 0; i < f.length; i += 3 * FLOATS) {
        const turns = f[i + 9] > 0.5, n = turns ? put(t, f, i + 3) : [f[i + 3], f[i + 4], f[i + 5]];
        if (n[0] * z[0] + n[1] * z[1] + n[2] * z[2] <= 0) continue;
        const p = [0, 1, 2].map(k => {
          let a = [f[i + k * FLOATS], f[i + k * FLOATS + 1], f[i + k * FLOATS + 2]];
          if (turns) a = put(t, a, 0).map((v, r) => v + t[12 + r]);
          a = put(e, a, 0).map((v, r) => v + e[12 + r]);
          return [(a[0] + 1) / 2 * w, (1 - a[1]) / 2 * h, a[2]];
        });
        const d = 0.72 + 0.42 * Math.max(0, (n[0] * LIGHT[0] + n[1] * LIGHT[1] + n[2] * LIGHT[2]) / length) + 0.1 * n[2];
        found.push({ p, at: i / FLOATS, far: p[0][2] + p[1][2] + p[2][2], ink: [6, 7, 8].map(k => Math.min(255, f[i + k] * d * 255) | 0) });
      }
      return found.sort((a, b) => b.far - a.far);
    }
    return {
      load(g) { shown = g; },
      draw(w, h) {
        pen.setTransform(canvas.width / w, 0, 0, canvas.height / h, 0, 0); pen.clearRect(0, 0, w, h); pen.lineWidth = 0.7;
        const edge = "rgb(" + colour("edge").map(v => v * 255 | 0) + ")";
        for (const { p, at, ink } of list(w, h)) {
          pen.fillStyle = pen.strokeStyle = "rgb(" + ink + ")";
          pen.beginPath(); p.forEach((q, k) => k ? pen.lineTo(q[0], q[1]) : pen.moveTo(q[0], q[1])); pen.closePath(); pen.fill(); pen.stroke();
          pen.strokeStyle = edge;
          for (let k = 0; k < 3; k++) if (shown.sharp[at + k]) {
            const q = p[(k + 1) % 3]; pen.beginPath(); pen.moveTo(p[k][0], p[k][1]); pen.lineTo(q[0], q[1]); pen.stroke();
          }
        }
      },
    };
  }

  // ---- hands --------------------------------------------------------------------------------------------------
  const painter = glPainter() || flatPainter();
  if (!painter) { canvas.hidden = true; return; }
  let waiting = false;
  function draw() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; now(); });
  }
  function now() {
    const w = canvas.clientWidth, h = canvas.clientHeight, d = window.devicePixelRatio || 1;
    if (!w || !h) return;
    if (canvas.width !== Math.round(w * d) || canvas.height !== Math.round(h * d)) { canvas.width = Math.round(w * d); canvas.height = Math.round(h * d); }
    painter.draw(w, h);
  }
  function load(again) { painter.load(geometry()); if (again) frame(); draw(); }
  function turn(right, up) { state.around += right; state.up = Math.max(-1.5, Math.min(1.57, state.up + up)); draw(); }
  function zoom(by) { state.zoom = Math.max(0.2, Math.min(20, state.zoom * by)); draw(); }
  function reset() { Object.assign(state, FIRST); frame(); draw(); }
  function index(angle) {
    state.angle = angle;
    document.getElementById("index-angle").value = angle;
    document.getElementById("index-shown").textContent = angle + "°";
    draw();
  }
  const keys = {
    ArrowLeft: () => turn(0.1, 0), ArrowRight: () => turn(-0.1, 0), ArrowUp: () => turn(0, 0.1), ArrowDown: () => turn(0, -0.1),
    "+": () => zoom(1.15), "=": () => zoom(1.15), "-": () => zoom(1 / 1.15), "0": reset,
  };
  let drag = null;
  canvas.addEventListener("pointerdown", e => { drag = [e.clientX, e.clientY]; canvas.setPointerCapture(e.pointerId); });
  for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => { drag = null; });
  canvas.addEventListener("pointermove", e => {
    if (!drag) return;
    turn(-(e.clientX - drag[0]) * 0.008, (e.clientY - drag[1]) * 0.008); drag = [e.clientX, e.clientY];
  });
  canvas.addEventListener("wheel", e => { if (document.activeElement === canvas || e.ctrlKey) { e.preventDefault(); zoom(Math.exp(-e.deltaY * 0.001)); } }, { passive: false });
  canvas.addEventListener("keydown", e => { if (keys[e.key] && !e.ctrlKey && !e.metaKey) { e.preventDefault(); keys[e.key](); } });
  const on = (id, event, act) => { const x = document.getElementById(id); if (x) x.addEventListener(event, () => act(x)); };
  on("index-angle", "input", x => index(+x.value));
  on("which-cycle", "change", x => { state.cycle = +x.value; load(true); });
  on("as-cut", "change", x => { state.cut = x.checked; load(false); });
  on("with-machine", "change", x => { state.machine = x.checked; load(true); });
  for (const b of holder.querySelectorAll("[data-angle]")) b.addEventListener("click", () => index(+b.dataset.angle));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => load(false));
  new ResizeObserver(() => { frame(); now(); }).observe(canvas);
  load(true);
})();
