// The fixture in the machine: one instanced mesh for each shape and kind, so that dozens of stations cost few draw calls.
import * as THREE from "three";
import { mergeGeometries, toCreasedNormals } from "three/addons/utils/BufferGeometryUtils.js";
import { colour, View3d } from "./view3d";
import type { Body, Dimension, SceneData, Station } from "./types";

export const MACHINE_KINDS = ["table", "rotary", "tailstock"];
const CREASE = (35 * Math.PI) / 180;

function bytes(text: string): ArrayBuffer {
  const raw = atob(text);
  const out = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) out[i] = raw.charCodeAt(i);
  return out.buffer;
}

/** A mesh of the plan as geometry with creased normals. */
export function geometry(mesh: { vertices: string; triangles: string }): THREE.BufferGeometry {
  const made = new THREE.BufferGeometry();
  made.setAttribute("position", new THREE.BufferAttribute(new Float32Array(bytes(mesh.vertices)), 3));
  made.setIndex(new THREE.BufferAttribute(new Uint32Array(bytes(mesh.triangles)), 1));
  return toCreasedNormals(made, CREASE);
}

/** A row-major pose as three's matrix. */
export const matrix = (pose: number[]): THREE.Matrix4 => new THREE.Matrix4().set(...(pose as Parameters<THREE.Matrix4["set"]>));

/** Quarter turns and a shift on a side, as the planner makes them. */
export function stationPose(s: { x: number; y: number; turn: number }): THREE.Matrix4 {
  const [c, n] = [[1, 0], [0, 1], [-1, 0], [0, -1]][((s.turn % 4) + 4) % 4];
  return new THREE.Matrix4().set(c, -n, 0, s.x, n, c, 0, s.y, 0, 0, 1, 0, 0, 0, 0, 1);
}

/** Name of the colour of a body: operations differ in lightness too, and are numbered wherever they are named. */
export function paint(body: Body): string {
  if (body.kind === "part") {
    const number = Number(body.owner.split(".")[0]);
    return Number.isFinite(number) ? `op${(Math.round(number / 10) - 1) % 5}` : "op0";
  }
  return { clamp: "clamp", locator: "loc" }[body.kind] ?? "metal";
}

interface Batch {
  mesh: THREE.InstancedMesh;
  bodies: Body[];
  base: THREE.Matrix4[];
}

export interface Options {
  cycle: number;
  machine: boolean;
  asCut: Record<string, string> | null;
  moved: Map<string, { from: Station; to: Station | null }>;
}

export class Fixture {
  private readonly shapes = new Map<string, THREE.BufferGeometry>();
  private readonly fixed = new THREE.Group();
  private readonly turning = new THREE.Group();
  private batches: Batch[] = [];
  private readonly plane = new THREE.Plane(new THREE.Vector3(0, 1, 0), 0);
  private readonly marks = new THREE.Group();
  private picked = "";
  private apart = 0;
  private cutting = false;
  private data: SceneData["scene"] = null;
  private extra: Record<string, { vertices: string; triangles: string }> = {};
  private axis: NonNullable<SceneData["machine"]>["axis"] = null;
  label: { at: THREE.Vector3; text: string } | null = null;

  constructor(readonly view: View3d) {
    view.scene.add(this.fixed, this.turning, this.marks);
  }

  /** Shows a cycle of a way. */
  show(data: SceneData, options: Options, extra: Record<string, { vertices: string; triangles: string }> = {}): void {
    this.data = data.scene;
    this.extra = extra;
    this.axis = data.machine?.axis ?? null;
    for (const b of this.batches) b.mesh.removeFromParent();
    this.batches = [];
    const bodies = this.data?.cycles[options.cycle]?.bodies ?? [];
    const sorted = new Map<string, Body[]>();
    for (const body of bodies) {
      if (!options.machine && MACHINE_KINDS.includes(body.kind)) continue;
      const change = options.moved.get(body.owner);
      if (change && change.to === null) continue;
      const shape = options.asCut?.[body.id] ?? body.mesh;
      const key = [shape, paint(body), body.group].join("|");
      sorted.set(key, [...(sorted.get(key) ?? []), body]);
    }
    for (const [key, rows] of sorted) this.add(key.split("|"), rows, options.moved);
    this.place();
    this.view.draw();
  }

  private add([shape, tint, group]: string[], rows: Body[], moved: Options["moved"]): void {
    let made = this.shapes.get(shape);
    if (!made) {
      const raw = this.data?.meshes[shape] ?? this.extra[shape];
      if (!raw) return;
      made = geometry(raw);
      this.shapes.set(shape, made);
    }
    const material = new THREE.MeshStandardMaterial({ roughness: 0.7, metalness: 0.05, side: THREE.DoubleSide });
    material.userData.tint = tint;
    const mesh = new THREE.InstancedMesh(made, material, rows.length);
    mesh.frustumCulled = false;
    const base = rows.map((b) => {
      const change = moved.get(b.owner);
      const pose = matrix(b.pose);
      return change?.to ? pose.multiply(stationPose(change.from).invert()).multiply(stationPose(change.to)) : pose;
    });
    (group === "table" ? this.fixed : this.turning).add(mesh);
    this.batches.push({ mesh, bodies: rows, base });
  }

  /** Writes poses and colours of every instance again. */
  private place(): void {
    const low = new THREE.Color(colour("pick"));
    for (const { mesh, bodies, base } of this.batches) {
      const material = mesh.material as THREE.MeshStandardMaterial;
      const tint = colour(material.userData.tint as string);
      material.clippingPlanes = this.cutting ? [this.plane] : [];
      bodies.forEach((body, i) => {
        const lift = body.owner && this.apart ? new THREE.Matrix4().makeTranslation(0, 0, this.apart * (body.kind === "part" ? 1 : 0.35)) : null;
        mesh.setMatrixAt(i, lift ? base[i].clone().multiply(lift) : base[i]);
        mesh.setColorAt(i, body.owner && body.owner === this.picked ? low : tint);
      });
      mesh.instanceMatrix.needsUpdate = true;
      if (mesh.instanceColor) mesh.instanceColor.needsUpdate = true;
      mesh.computeBoundingSphere();
    }
  }

  /** Turns what is on the rotary axis, degrees, right-handed. */
  turn(degrees: number): void {
    this.turning.matrixAutoUpdate = false;
    const about = new THREE.Matrix4();
    if (this.axis) {
      const point = new THREE.Vector3(...(this.axis.point as [number, number, number]));
      const along = this.axis.along === "x" ? new THREE.Vector3(1, 0, 0) : new THREE.Vector3(0, 1, 0);
      about.makeTranslation(point.x, point.y, point.z);
      about.multiply(new THREE.Matrix4().makeRotationAxis(along, (degrees * Math.PI) / 180));
      about.multiply(new THREE.Matrix4().makeTranslation(-point.x, -point.y, -point.z));
    }
    this.turning.matrix.copy(about);
    this.turning.matrixWorldNeedsUpdate = true;
    this.view.draw();
  }

  pull(mm: number): void {
    this.apart = mm;
    this.place();
    this.view.draw();
  }

  /** Cuts everything open across y; `at` from 0 (whole) to 1 (all gone). */
  section(at: number): void {
    const box = this.box();
    this.cutting = at > 0;
    this.plane.set(new THREE.Vector3(0, 1, 0), -(box.min.y + (box.max.y - box.min.y) * at));
    this.place();
    this.view.draw();
  }

  pick(owner: string): void {
    this.picked = owner;
    this.place();
    this.view.draw();
  }

  /** The station under a point of the canvas (−1 to 1), or nothing. */
  stationAt(x: number, y: number): string {
    const ray = new THREE.Raycaster();
    ray.setFromCamera(new THREE.Vector2(x, y), this.view.camera);
    const hit = ray.intersectObjects(this.batches.map((b) => b.mesh), false).find((h) => h.instanceId !== undefined);
    const batch = hit && this.batches.find((b) => b.mesh === hit.object);
    return batch && hit.instanceId !== undefined ? batch.bodies[hit.instanceId].owner : "";
  }

  box(): THREE.Box3 {
    const box = new THREE.Box3();
    this.view.scene.updateMatrixWorld(true);
    for (const { mesh, bodies, base } of this.batches) {
      if (bodies[0] && MACHINE_KINDS.includes(bodies[0].kind)) continue;
      mesh.geometry.computeBoundingBox();
      for (const m of base) box.union(mesh.geometry.boundingBox!.clone().applyMatrix4(m));
    }
    return box;
  }

  frame(): void {
    this.view.frame(this.box());
  }

  /** Draws the tool of a margin, and the line between it and what it comes nearest to. */
  mark(found: Dimension | null, where: number[] | null, text: string): void {
    this.marks.clear();
    this.label = null;
    if (found) {
      const rings = found.stack.map(([radius, low, high]) => {
        const part = new THREE.CylinderGeometry(radius, radius, Math.max(high - low, 0.01), 32);
        part.rotateX(Math.PI / 2);
        part.translate(found.tip[0], found.tip[1], found.tip[2] + (low + high) / 2);
        return part;
      });
      const tool = new THREE.MeshStandardMaterial({ color: colour("tool"), roughness: 0.4, transparent: true, opacity: 0.62, depthWrite: false });
      const whole = mergeGeometries(rings);
      if (whole) this.marks.add(new THREE.Mesh(whole, tool));
      this.line(found.from, found.to);
      const middle = new THREE.Vector3(...(found.from as [number, number, number])).lerp(new THREE.Vector3(...(found.to as [number, number, number])), 0.5);
      this.label = { at: middle, text };
      this.view.near(middle, 110);
    } else if (where) {
      this.dot(where);
      this.label = { at: new THREE.Vector3(...(where as [number, number, number])), text };
    }
    this.view.draw();
  }

  private line(from: number[], to: number[]): void {
    const made = new THREE.BufferGeometry().setAttribute("position", new THREE.Float32BufferAttribute([...from, ...to], 3));
    const line = new THREE.LineSegments(made, new THREE.LineBasicMaterial({ color: colour("warn"), depthTest: false }));
    line.renderOrder = 2;
    this.marks.add(line);
    this.dot(to);
    this.dot(from);
  }

  private dot(at: number[]): void {
    const ball = new THREE.Mesh(new THREE.SphereGeometry(1.4, 12, 8), new THREE.MeshBasicMaterial({ color: colour("warn"), depthTest: false }));
    ball.position.set(at[0], at[1], at[2]);
    ball.renderOrder = 2;
    this.marks.add(ball);
  }

  themed(): void {
    this.place();
  }

  close(): void {
    for (const b of this.batches) (b.mesh.material as THREE.Material).dispose();
    for (const g of this.shapes.values()) g.dispose();
  }
}
