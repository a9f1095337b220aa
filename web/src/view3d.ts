// One canvas with a camera that turns round what it shows. Draws when something changed, never in between.
import * as THREE from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";

export function colour(name: string): THREE.Color {
  const text = getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
  return new THREE.Color(text || "#888");
}

export class View3d {
  readonly scene = new THREE.Scene();
  readonly camera = new THREE.PerspectiveCamera(32, 1, 1, 20000);
  readonly renderer: THREE.WebGLRenderer;
  readonly controls: OrbitControls;
  private asked = 0;
  private home: { at: THREE.Vector3; to: THREE.Vector3 } | null = null;
  private readonly watch: ResizeObserver;
  private readonly theme = matchMedia("(prefers-color-scheme: dark)");
  onDraw: (() => void) | null = null;
  onTheme: (() => void) | null = null;

  constructor(readonly canvas: HTMLCanvasElement) {
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true, preserveDrawingBuffer: true });
    this.renderer.setPixelRatio(Math.min(devicePixelRatio, 2));
    this.renderer.localClippingEnabled = true;
    this.camera.up.set(0, 0, 1);
    const sky = new THREE.HemisphereLight(0xffffff, 0x8a8f94, 2.2);
    sky.position.set(0, 0, 1);
    const sun = new THREE.DirectionalLight(0xffffff, 1.5);
    sun.position.set(0.5, 0.4, 1);
    this.camera.add(sun);
    this.scene.add(sky, this.camera);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.addEventListener("change", () => this.draw());
    this.watch = new ResizeObserver(() => this.resize());
    this.watch.observe(canvas.parentElement ?? canvas);
    this.theme.addEventListener("change", this.themed);
    canvas.addEventListener("keydown", this.key);
    this.resize();
  }

  private readonly themed = () => {
    this.onTheme?.();
    this.draw();
  };

  /** Arrow keys turn, plus and minus zoom, 0 brings the first view back. */
  private readonly key = (e: KeyboardEvent) => {
    const turn: Record<string, [number, number]> = { ArrowLeft: [-0.12, 0], ArrowRight: [0.12, 0], ArrowUp: [0, -0.1], ArrowDown: [0, 0.1] };
    const out = this.camera.position.clone().sub(this.controls.target);
    if (e.key in turn) {
      const ball = new THREE.Spherical().setFromVector3(new THREE.Vector3(out.x, out.z, -out.y));
      ball.theta += turn[e.key][0];
      ball.phi = Math.min(Math.max(ball.phi + turn[e.key][1], 0.05), Math.PI - 0.05);
      const v = new THREE.Vector3().setFromSpherical(ball);
      out.set(v.x, -v.z, v.y);
    } else if (e.key === "+" || e.key === "-") out.multiplyScalar(e.key === "+" ? 0.85 : 1.18);
    else if (e.key === "0" && this.home) {
      this.controls.target.copy(this.home.to);
      out.copy(this.home.at).sub(this.home.to);
    } else return;
    e.preventDefault();
    this.camera.position.copy(this.controls.target).add(out);
    this.controls.update();
    this.draw();
  };

  private resize(): void {
    const box = (this.canvas.parentElement ?? this.canvas).getBoundingClientRect();
    if (!box.width || !box.height) return;
    this.renderer.setSize(box.width, box.height, false);
    this.camera.aspect = box.width / box.height;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  /** Looks at a box from the front, the right and above. */
  frame(box: THREE.Box3, from = new THREE.Vector3(0.55, -1, 0.7)): void {
    if (box.isEmpty()) return;
    const middle = box.getCenter(new THREE.Vector3());
    const away = distanceFor(box, from, this.camera.fov, this.camera.aspect) * 1.06;
    this.camera.near = Math.max(0.5, away / 200);
    this.camera.far = away * 12;
    this.camera.updateProjectionMatrix();
    this.controls.target.copy(middle);
    this.camera.position.copy(from).normalize().multiplyScalar(away).add(middle);
    this.home = { at: this.camera.position.clone(), to: middle };
    this.controls.update();
    this.draw();
  }

  /** Comes near a point, from the same direction, so that about `mm` round it are seen. */
  near(point: THREE.Vector3, mm: number): void {
    const out = this.camera.position.clone().sub(this.controls.target).normalize();
    this.controls.target.copy(point);
    this.camera.position.copy(point).add(out.multiplyScalar(mm / Math.tan(((this.camera.fov / 2) * Math.PI) / 180)));
    this.camera.near = Math.max(0.5, mm / 50);
    this.camera.updateProjectionMatrix();
    this.controls.update();
    this.draw();
  }

  draw(): void {
    if (this.asked) return;
    this.asked = requestAnimationFrame(() => {
      this.asked = 0;
      this.renderer.render(this.scene, this.camera);
      this.canvas.dataset.calls = String(this.renderer.info.render.calls);
      this.canvas.dataset.triangles = String(this.renderer.info.render.triangles);
      this.onDraw?.();
    });
  }

  /** Where a point of the scene is on the canvas, in CSS pixels; null behind the eye. */
  onScreen(point: THREE.Vector3): { x: number; y: number } | null {
    const p = point.clone().project(this.camera);
    const box = this.canvas.getBoundingClientRect();
    return p.z > 1 ? null : { x: ((p.x + 1) / 2) * box.width, y: ((1 - p.y) / 2) * box.height };
  }

  close(): void {
    cancelAnimationFrame(this.asked);
    this.watch.disconnect();
    this.theme.removeEventListener("change", this.themed);
    this.canvas.removeEventListener("keydown", this.key);
    this.controls.dispose();
    this.renderer.dispose();
  }
}

/** How far from a box' centre an eye in direction `from` must be so that all its corners are in the picture; `fov` in degrees. */
export function distanceFor(box: THREE.Box3, from: THREE.Vector3, fov: number, aspect: number): number {
  const out = from.clone().normalize();
  const right = new THREE.Vector3(0, 0, 1).cross(out).normalize();
  const up = out.clone().cross(right);
  const high = Math.tan(((fov / 2) * Math.PI) / 180);
  const middle = box.getCenter(new THREE.Vector3());
  let away = 0;
  for (let k = 0; k < 8; k++) {
    const corner = new THREE.Vector3(k & 1 ? box.max.x : box.min.x, k & 2 ? box.max.y : box.min.y, k & 4 ? box.max.z : box.min.z).sub(middle);
    const need = Math.max(Math.abs(corner.dot(up)) / high, Math.abs(corner.dot(right)) / (high * aspect));
    away = Math.max(away, need + corner.dot(out));
  }
  return away;
}

/** Whether this browser draws in 3D at all. */
export function drawsIn3d(): boolean {
  try {
    return document.createElement("canvas").getContext("webgl2") !== null;
  } catch {
    return false;
  }
}
