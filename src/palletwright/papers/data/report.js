"use strict";
// One canvas, one draw call a colour group: a small WebGL 2 view of the fixture in the machine.
(function () {
  const holder = document.getElementById("scene");
  if (!holder) return;
  const data = JSON.parse(document.getElementById("scene-data").textContent);
  const canvas = holder.querySelector("canvas");
  const gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
  if (!gl) { holder.querySelector(".nogl").hidden = false; return; }
  const bytes = (s, T) => new T(Uint8Array.from(atob(s), c => c.charCodeAt(0)).buffer);
  const meshes = {};
  for (const [k, m] of Object.entries(data.meshes)) meshes[k] = { v: bytes(m.vertices, Float32Array), t: bytes(m.triangles, Uint32Array) };
  const program = gl.createProgram();
  for (const [type, text] of [[gl.VERTEX_SHADER, `#version 300 es
    layout(location=0) in vec3 p; layout(location=1) in vec3 n; layout(location=2) in vec3 c; layout(location=3) in float g;
    uniform mat4 eye; uniform mat4 turn; out vec3 nn; out vec3 cc;
    void main(){ vec4 q = g > .5 ? turn * vec4(p,1.) : vec4(p,1.); nn = g > .5 ? mat3(turn) * n : n; cc = c; gl_Position = eye * q; }`],
    [gl.FRAGMENT_SHADER, `#version 300 es
    precision highp float; in vec3 nn; in vec3 cc; out vec4 o;
    void main(){ vec3 n = normalize(nn); float d = .62 + .30 * max(0., dot(n, normalize(vec3(.35,-.45,.82)))) + .12 * n.z; o = vec4(cc * d, 1.); }`]]) {
    const s = gl.createShader(type); gl.shaderSource(s, text); gl.compileShader(s); gl.attachShader(program, s);
  }
  gl.linkProgram(program); gl.useProgram(program);
  const colours = data.colours;
  let count = 0, low = [1e9, 1e9, 1e9], high = [-1e9, -1e9, -1e9];
  function build(cycle) {
    let total = 0;
    const bodies = data.cycles[cycle].bodies.filter(b => b.kind !== "rotary" || true);
    for (const b of bodies) total += meshes[b.mesh].t.length;
    const out = new Float32Array(total * 10);
    let at = 0; low = [1e9, 1e9, 1e9]; high = [-1e9, -1e9, -1e9];
    for (const b of bodies) {
      const { v, t } = meshes[b.mesh], m = b.pose, c = colours[b.colour], g = b.group === "table" ? 0 : 1;
      const w = new Float32Array(v.length);
      for (let i = 0; i < v.length; i += 3) for (let r = 0; r < 3; r++)
        w[i + r] = m[4 * r] * v[i] + m[4 * r + 1] * v[i + 1] + m[4 * r + 2] * v[i + 2] + m[4 * r + 3];
      if (b.kind !== "table") for (let i = 0; i < w.length; i += 3) for (let r = 0; r < 3; r++) {
        low[r] = Math.min(low[r], w[i + r]); high[r] = Math.max(high[r], w[i + r]); }
      for (let i = 0; i < t.length; i += 3) {
        const p = [0, 1, 2].map(k => w.subarray(3 * t[i + k], 3 * t[i + k] + 3));
        const e = [0, 1, 2].map(k => p[1][k] - p[0][k]), f = [0, 1, 2].map(k => p[2][k] - p[0][k]);
        const n = [e[1] * f[2] - e[2] * f[1], e[2] * f[0] - e[0] * f[2], e[0] * f[1] - e[1] * f[0]];
        const l = Math.hypot(...n) || 1;
        for (const q of p) { out.set([q[0], q[1], q[2], n[0] / l, n[1] / l, n[2] / l, c[0], c[1], c[2], g], at); at += 10; }
      }
    }
    gl.bindBuffer(gl.ARRAY_BUFFER, buffer); gl.bufferData(gl.ARRAY_BUFFER, out, gl.STATIC_DRAW); count = total;
  }
  const buffer = gl.createBuffer(); gl.bindBuffer(gl.ARRAY_BUFFER, buffer);
  for (const [i, size, from] of [[0, 3, 0], [1, 3, 12], [2, 3, 24], [3, 1, 36]]) { gl.enableVertexAttribArray(i); gl.vertexAttribPointer(i, size, gl.FLOAT, false, 40, from); }
  gl.enable(gl.DEPTH_TEST);
  let around = -0.65, up = 0.62, zoom = 1, angle = 0;
  const mul = (a, b) => { const o = new Float32Array(16); for (let c = 0; c < 4; c++) for (let r = 0; r < 4; r++) { let s = 0; for (let k = 0; k < 4; k++) s += a[4 * k + r] * b[4 * c + k]; o[4 * c + r] = s; } return o; };
  function draw() {
    const w = canvas.clientWidth, h = canvas.clientHeight, d = window.devicePixelRatio || 1;
    canvas.width = w * d; canvas.height = h * d; gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clearColor(.93, .945, .95, 1); gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const mid = low.map((v, i) => (v + high[i]) / 2), size = Math.hypot(...low.map((v, i) => high[i] - v)) / 2 || 1;
    const ca = Math.cos(around), sa = Math.sin(around), cu = Math.cos(up), su = Math.sin(up);
    const x = [ca, sa, 0], y = [-sa * su, ca * su, cu], z = [sa * cu, -ca * cu, su];
    const s = zoom / size * Math.min(1, w / h), f = [s * h / w * Math.max(1, 1), s, -0.2 / size];
    const sx = zoom / size * (w > h ? h / w : 1), sy = zoom / size * (w > h ? 1 : w / h), sz = -1 / (8 * size);
    const view = new Float32Array([x[0] * sx, y[0] * sy, z[0] * sz, 0, x[1] * sx, y[1] * sy, z[1] * sz, 0, x[2] * sx, y[2] * sy, z[2] * sz, 0, 0, 0, 0, 1]);
    const shift = new Float32Array([1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, -mid[0], -mid[1], -mid[2], 1]);
    gl.uniformMatrix4fv(gl.getUniformLocation(program, "eye"), false, mul(view, shift));
    const a = angle * Math.PI / 180, c = Math.cos(a), n = Math.sin(a), [px, py, pz] = data.axis.point;
    const t = data.axis.along === "y"
      ? [c, 0, -n, 0, 0, 1, 0, 0, n, 0, c, 0, px - c * px - n * pz, 0, pz + n * px - c * pz, 1]
      : [1, 0, 0, 0, 0, c, n, 0, 0, -n, c, 0, 0, py - c * py + n * pz, pz - n * py - c * pz, 1];
    gl.uniformMatrix4fv(gl.getUniformLocation(program, "turn"), false, new Float32Array(t));
    gl.drawArrays(gl.TRIANGLES, 0, count);
  }
  let drag = null;
  canvas.addEventListener("pointerdown", e => { drag = [e.clientX, e.clientY]; canvas.setPointerCapture(e.pointerId); });
  canvas.addEventListener("pointerup", () => { drag = null; });
  canvas.addEventListener("pointermove", e => { if (!drag) return; around -= (e.clientX - drag[0]) * .008; up = Math.max(-1.5, Math.min(1.57, up + (e.clientY - drag[1]) * .008)); drag = [e.clientX, e.clientY]; draw(); });
  canvas.addEventListener("wheel", e => { e.preventDefault(); zoom *= Math.exp(-e.deltaY * .001); draw(); }, { passive: false });
  canvas.addEventListener("keydown", e => { const k = { ArrowLeft: [.1, 0], ArrowRight: [-.1, 0], ArrowUp: [0, .1], ArrowDown: [0, -.1] }[e.key]; if (k) { around += k[0]; up += k[1]; e.preventDefault(); draw(); } });
  const range = document.getElementById("index-angle"), which = document.getElementById("which-cycle");
  if (range) range.addEventListener("input", () => { angle = +range.value; document.getElementById("index-shown").textContent = angle + "°"; draw(); });
  if (which) which.addEventListener("change", () => { build(+which.value); draw(); });
  new ResizeObserver(draw).observe(canvas);
  build(0); draw();
})();
