import * as THREE from "three";
import { describe, expect, it } from "vitest";
import { faultText } from "../src/api";
import { paint, stationPose } from "../src/fixture";
import { chosenMachines, threeNumbers } from "../src/job";
import { about, tightest } from "../src/margins";
import { changes, fitted } from "../src/otherwise";
import { spread, ticks } from "../src/points";
import { toggled } from "../src/q_ways";
import { offBy } from "../src/sheet";
import { stageWords } from "../src/run";
import { typed } from "../src/shop";
import { angleOf } from "../src/sideangle";
import { local } from "../src/sideplan";
import { sums } from "../src/today";
import type { Body, Choices, Margin, WayChoices } from "../src/types";
import { differing } from "../src/whatif";
import { distanceFor } from "../src/view3d";

const margin = (check: string, have: number, subject = "10.1 T3"): Margin => ({ check, subject, obstacle: "10.2/part", need: 1, have, unit: "mm", where: null, note: "", passed: have >= 1 });

describe("ways side by side", () => {
  it("always keeps today, and two more at most", () => {
    expect(toggled(["today", "0"], "1")).toEqual(["today", "0", "1"]);
    expect(toggled(["today", "0", "1"], "2")).toEqual(["today", "1", "2"]);
    expect(toggled(["today", "0"], "today")).toEqual(["today", "0"]);
    expect(toggled(["today", "0"], "0")).toEqual(["today"]);
  });
  it("makes round ticks inside the range", () => {
    expect(ticks(0, 10)).toEqual([0, 2, 4, 6, 8, 10]);
    expect(ticks(8.4, 9.6).every((t) => t >= 8.4 && t <= 9.6)).toBe(true);
  });
  it("moves labels apart and keeps them in the picture", () => {
    const ys = spread(Array.from({ length: 6 }, () => ({ x: 10, y: 95 })), 50, 15, 0, 100);
    for (let i = 0; i < 6; i++) for (let k = 0; k < i; k++) expect(Math.abs(ys[i] - ys[k])).toBeGreaterThanOrEqual(15);
    expect(Math.max(...ys)).toBeLessThanOrEqual(100);
  });
});

describe("stations", () => {
  it("stand as the planner's poses say: quarter turns about z, then the shift", () => {
    const p = new THREE.Vector3(10, 0, 5).applyMatrix4(stationPose({ x: 100, y: 50, turn: 1 }));
    expect(p.toArray().map((v) => Math.round(v))).toEqual([100, 60, 5]);
  });
  it("come back to their own frame from the side's", () => {
    const at = { x: 100, y: 50, turn: 3 };
    const p = new THREE.Vector3(7, -2, 0).applyMatrix4(stationPose(at));
    const back = local([[p.x, p.y]], at)[0];
    expect(back[0]).toBeCloseTo(7);
    expect(back[1]).toBeCloseTo(-2);
  });
  it("turn up at the angle that the machine indexes to", () => {
    for (const [along, axis] of [["x", new THREE.Vector3(1, 0, 0)], ["y", new THREE.Vector3(0, 1, 0)]] as const)
      for (const degrees of [0, 72, 144, 216, 288]) {
        const m = new THREE.Matrix4().makeRotationAxis(axis, (-degrees * Math.PI) / 180).transpose().toArray();
        expect(angleOf(m, along)).toBeCloseTo(degrees, 4);
      }
  });
  it("have a colour for their operation", () => {
    expect(paint({ kind: "part", owner: "20.3" } as Body)).toBe("op1");
    expect(paint({ kind: "clamp", owner: "20.3" } as Body)).toBe("clamp");
    expect(paint({ kind: "carrier", owner: "" } as Body)).toBe("metal");
  });
});

describe("the camera", () => {
  it("stands just so far that the whole box is in the picture", () => {
    const box = new THREE.Box3(new THREE.Vector3(-300, 10, 0), new THREE.Vector3(200, 90, 60));
    for (const [from, aspect] of [[new THREE.Vector3(0.55, -1, 0.7), 1.9], [new THREE.Vector3(-1, 0.2, 0.3), 0.8]] as const) {
      const camera = new THREE.PerspectiveCamera(32, aspect, 1, 1e5);
      camera.up.set(0, 0, 1);
      const middle = box.getCenter(new THREE.Vector3());
      camera.position.copy(from).normalize().multiplyScalar(distanceFor(box, from, 32, aspect)).add(middle);
      camera.lookAt(middle);
      camera.updateMatrixWorld(true);
      const seen = [0, 1, 2, 3, 4, 5, 6, 7].map((k) => new THREE.Vector3(k & 1 ? 200 : -300, k & 2 ? 90 : 10, k & 4 ? 60 : 0).project(camera));
      const most = Math.max(...seen.flatMap((p) => [Math.abs(p.x), Math.abs(p.y)]));
      expect(most).toBeLessThanOrEqual(1.0001);
      expect(most).toBeGreaterThan(0.95);
    }
  });
});

describe("margins", () => {
  it("show what falls short before anything else, then the tightest of each kind", () => {
    const rows = [margin("a", 0.5), margin("a", 0.6), margin("a", 2), margin("b", 9)].sort((x, y) => x.have! - y.have!);
    const kept = tightest(rows, 3);
    expect(kept.filter((m) => !m.passed)).toHaveLength(2);
    expect(kept.map((m) => m.check)).toContain("a");
    expect(tightest([margin("a", 2), margin("a", 3), margin("b", 9)], 2).map((m) => m.check)).toEqual(["a", "b"]);
  });
  it("belong to a station as subject and as obstacle, not to one whose name begins alike", () => {
    expect(about(margin("a", 2, "10.1 T3"), "10.1")).toBe(true);
    expect(about(margin("a", 2, "10.12 T3"), "10.1")).toBe(false);
    expect(about(margin("a", 2, "10.5 T3"), "10.2")).toBe(true);
  });
});

describe("the job", () => {
  it("adds today up only when every operation is told in full", () => {
    expect(sums([{ operation: "", parts_per_start: 2, cycle_seconds: 600, load_seconds: 60 }, { operation: "", parts_per_start: 1, cycle_seconds: 60, load_seconds: 60, attended: false }])).toEqual({ starts: 1.5, attended: 6.5 });
    expect(sums([{ operation: "", parts_per_start: 2, cycle_seconds: null, load_seconds: 60 }])).toBeNull();
    expect(sums([])).toBeNull();
  });
  it("takes all machines for none named", () => {
    const choices = { machines: [{ id: "a" }, { id: "b" }] } as unknown as Choices;
    expect(chosenMachines(choices, [], "a", false)).toEqual(["b"]);
    expect(chosenMachines(choices, ["b"], "a", true)).toEqual([]);
  });
  it("reads a shop's value as the kind that stood there", () => {
    expect(typed("12,5", 10)).toBe(12.5);
    expect(typed("1.5 in", 10)).toBe("1.5 in");
    expect(typed("true", false)).toBe(true);
    expect(typed("[1, 2]", [3, 4])).toEqual([1, 2]);
    expect(typed("", 3)).toBeNull();
  });
  it("names stages in plain words and keeps those that it doesn't know", () => {
    expect(stageWords("mc-rotary: access")).toBe("mc-rotary: which tool reaches what, from where");
    expect(stageWords("one more")).toBe("one more");
  });
  it("reads the size of a blank once it is whole", () => {
    expect(threeNumbers("65 47,5 x 31")).toEqual([65, 47.5, 31]);
    expect(threeNumbers("65 47")).toBe("65 47");
    expect(threeNumbers("65 47 31.")).toBe("65 47 31.");
    expect(threeNumbers(" ")).toBeNull();
  });
  it("stops a tool that is more than 1 mm off its planned length", () => {
    expect(offBy("142.9", 142)).toBe("");
    expect(offBy(undefined, 142)).toBe("");
    expect(offBy("143,2", 142)).toContain("1.20 mm off");
  });
  it("says a fault with its place, value and what is allowed", () => {
    expect(faultText({ file: "shop.toml", key: "rates.operator", value: "-1", problem: "isn't allowed", allowed: "0 or more", line: 12 })).toBe("shop.toml, line 12: rates.operator = -1 isn't allowed (allowed: 0 or more)");
    expect(faultText({ file: "job", key: "material", problem: "is needed" })).toBe("material is needed");
  });
});

describe("a way otherwise", () => {
  const choices: WayChoices = {
    operations: [{ number: 10, clamping: 0, feature: "hole-1", clamps: ["edge-m8"], grips: [{ id: "edge-1", kind: "edge", clamps: "edge-m8", notes: [], holding: 2.4, seconds: 60, used: true }] }],
    clamps: [{ id: "edge-m8", kind: "edge", force: 8000 }],
    pallets: [{ mount: "rotary", carrier: "pallet", sides: 4, allowed: [3, 4] }],
    floors: { cutter: 2 },
    features: [],
    tools: [],
  };
  it("says nothing where nothing is asked", () => {
    expect(changes({ floors: { cutter: 3 } }, { floors: { cutter: 3 }, tools: {}, held_by: [] }, choices, {}, { 0: "edge-1" })).toEqual([]);
  });
  it("names what is asked, and what is taken back", () => {
    const rows = changes({ floors: { cutter: 3 }, tools: { "hole-1": 7 } }, { floors: { nose: 12 }, held_by: [{ feature: "hole-1", clamps: ["edge-m12"] }], stick_out: { "3": 50 } }, choices, { rotary: 3 }, {});
    expect(rows).toContain("operation 10 held by edge-m12");
    expect(rows).toContain("pallet with 3 sides");
    expect(rows.some((r) => r.includes("as the shop asks"))).toBe(true);
    expect(rows).toContain("hole-1 with its quickest tool");
    expect(rows).toContain("T3 sticking out 50.0 mm");
  });
  it("tells what fitting gave with its bound", () => {
    const design = { machine: "m", operations: [], placings: [], stations: [], sets: 1 };
    expect(fitted({ design, notes: [], before: [6], parts: [8], bound: [9] })).toBe("8 parts a start instead of 6; at most 9 are possible with these carriers and grips.");
    expect(fitted({ design, notes: ["x"], before: [6], parts: [6], bound: null })).toBe("x. 6 parts a start as before.");
  });
  it("keeps only those numbers of today that differ", () => {
    const told = [{ operation: "a", parts_per_start: 2, cycle_seconds: 600, load_seconds: 60 }];
    expect(differing(told, { 0: { cycle_seconds: 600, load_seconds: 50 } })).toEqual({ 0: { load_seconds: 50 } });
    expect(differing(told, { 0: { cycle_seconds: 600 } })).toEqual({});
  });
});
