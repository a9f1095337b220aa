// The server's answers, as far as the page reads them.

export interface Part {
  id: string;
  file: string;
  name: string;
  unit: string;
  size_mm: number[];
  volume_mm3: number;
  faces: number;
  notes: string[];
}

export interface TodayStep {
  operation: string;
  parts_per_start: number | null;
  cycle_seconds: number | null;
  load_seconds: number | null;
  attended?: boolean;
  measured?: boolean;
  machine?: string | null;
  setup_hours?: number;
  scrap?: number;
}

export interface Draft {
  [key: string]: unknown;
  pain?: string;
  material?: string;
  per_year?: number | null;
  batch?: number | null;
  machines?: string[];
  today?: TodayStep[];
  blank?: Record<string, unknown>;
  greatest_sets?: number;
  effort?: number;
  allow_left_over?: boolean;
}

export interface Job {
  id: string;
  name: string;
  draft: Draft;
  revision: number;
  shop: string | null;
  part: Part | null;
  runs: { id: string; state: string; message: string; started: string }[];
  plans: { id: string; made: string; title: string }[];
  past: { at: string; what: string }[];
}

export interface Choices {
  shop: string;
  currency: string;
  materials: { id: string; aliases: string[] }[];
  machines: { id: string; name: string; rotary: boolean; rate: number }[];
}

export interface RunState {
  state: "running" | "done" | "failed" | "stopped" | "interrupted";
  stopping?: boolean;
  seconds?: number;
  stages: { name: string; done: number; total: number; seconds: number }[];
  seconds_left?: number | null;
  ways: Point[];
  first_way_at?: number | null;
  message: string;
  faults: { problem: string }[];
  plan: string;
}

export interface Point {
  name: string;
  parts_per_start: number | null;
  attended_minutes_per_part: number | null;
  cost_per_part: number | null;
  capital: number;
  least_clearance_mm: number | null;
  label?: string;
}

/** What a clamp is tightened to: less than `slides` lets the part slide, more than `gives` breaks something. */
export interface ClampSetting {
  clamp: string;
  screw: string;
  slides: number;
  set: number;
  gives: number | null;
  by: string;
  unit: string;
}

export interface HeldCut {
  operation: number;
  cut: string;
  tool: number;
  factor: number | null;
  floor: number;
  worst: string;
  gives_first: string;
}

export interface Operation {
  number: number;
  directions: number[][];
  features: string[];
  carrier: string;
  grip: { id: string; kind: string; notes: string[] };
  holding: { factor: number | null; floor: number; worst_load: string; gives_first: string; set?: ClampSetting[] };
  stations: number;
  cutting_seconds: number;
  tools: number[];
  operation?: string;
  cycle_seconds?: number;
  load_seconds?: number;
  parts_per_start?: number;
}

export interface Way extends Point {
  starts_per_part: number | null;
  spindle_minutes_per_part: number | null;
  unattended_minutes: number | null;
  cost_range: [number, number] | null;
  least_holding_factor: number | null;
  payback: { months: number | null; low: number; high: number; saving_per_year: number; matters_most: [string, number][]; chance_within_limit: number } | null;
  timing: { label: string; sets: number; machine_seconds: number; load_seconds: number; swap_seconds: number; start_seconds: number; waits_for: string; load_basis: string } | null;
  cost: Record<string, number> | null;
  bill: [string, number][];
  reasons: { about: string; text: string }[];
  operations: Operation[];
  feasible: boolean;
}

export interface WayInPlan extends Way {
  has_scene: boolean;
  design: { machine: string; sets: number; stations: number; carriers: string[] } | null;
  state: { changed: boolean; checked: boolean; foreign: boolean; what: string };
}

export interface Margin {
  check: string;
  subject: string;
  obstacle: string;
  need: number;
  have: number | null;
  unit: string;
  where: number[] | null;
  note: string;
  passed: boolean;
}

export interface Station {
  parts: string[];
  operation: number;
  mount: string;
  side: string;
  x: number;
  y: number;
  turn: number;
}

export interface Design {
  [key: string]: unknown;
  machine: string;
  operations: { number: number; clamping: number; grip: string }[];
  placings: { mount: string; kind: string; carrier: string; cycle: number; sides: number }[];
  stations: Station[];
  sets: number;
}

export interface Side {
  mount: string;
  side: string;
  area: number[][][];
  stations: (Omit<Station, "mount" | "side"> & { bodies: { id: string; rings: number[][][] }[] })[];
}

export interface Run {
  tool: number;
  angle: number;
  start: number;
  seconds: number;
  cut: number;
  stations: string[];
}

export interface Cycle {
  seconds: number;
  bound: number;
  tool_runs: number;
  least_tool_runs: number;
  by_kind: Record<string, number>;
  other_orders: [string, number][];
  parts: number;
  runs: Run[];
}

export interface EditState {
  step: number;
  last: number;
  changed: boolean;
  checked: boolean;
  what: string;
  foreign: boolean;
  design: Design | null;
  locked: string[];
  terms: Terms;
  verdict: { passed: boolean; failures: string[]; worst: Margin[]; ms: number; sides: Side[][] } | null;
}

/** What a changed way asks of job and shop beyond its plan. */
export interface Terms {
  floors?: Record<string, number>;
  held_by?: { feature: string; clamps: string[] }[];
  tools?: Record<string, number>;
  stick_out?: Record<string, number>;
  per_year?: number;
  rates?: Record<string, number>;
  today?: Record<string, { parts_per_start?: number; cycle_seconds?: number; load_seconds?: number }>;
}

export interface Adapted {
  design: Design;
  notes: string[];
  before: number[];
  parts: number[];
  bound: number[] | null;
}

/** What a way could have instead. */
export interface WayChoices {
  operations: { number: number; clamping: number; feature: string; clamps: string[]; grips: { id: string; kind: string; clamps: string; notes: string[]; holding: number | null; seconds: number; used: boolean }[] }[];
  clamps: { id: string; kind: string; force: number }[];
  pallets: { mount: string; carrier: string; sides: number; allowed: number[] }[];
  floors: Record<string, number>;
  features: { feature: string; clamping: number; now: number[]; could: number[] }[];
  tools: { number: number; name: string; stick_out: number; longest: number }[];
}

/** How many stand on a side, and at most how many could. */
export interface Packed {
  operation: number;
  side: string;
  placed: number;
  bound: number;
  proven: boolean;
  bound_by: string;
  text: string;
}

export interface WholeWay extends Way {
  margins: Margin[];
  design: Design | null;
  cycles: Cycle[];
  sides: Side[][];
  packing: Packed[];
  today: Way | null;
  state: EditState;
}

export interface Plan {
  id: string;
  job_id: string;
  made: string;
  title: string;
  makeable: boolean;
  part: { name: string; file: string; size_mm: number[]; blank_mm: number[]; blank_kg: number; volume_mm3: number; material: string; faces: number; notes: string[] };
  left_over: { feature: string; mm3: number; why: string; would_do?: string }[];
  turned_down: { arrangement: string; stopped_by: string; amount: number | null; unit: string }[];
  one_more: { change: string; parts_per_start: number | null; before: number; verified: boolean; note: string }[];
  assumptions: string[];
  seed: number;
  stopped_early: boolean;
  seconds: number;
  identity: string;
  features: { id: string; kind: string; directions: number[][]; volume_mm3: number; tools: number[]; notes: string[]; diameter_mm?: number; depth_mm?: number; thread?: string | null }[];
  job: { name: string; material: string; per_year: number; batch: number | null; today: TodayStep[] };
  currency: string;
  floors: Record<string, number>;
  rates: Record<string, number | string>;
  tools: Record<string, string>;
  today: Way;
  ways: WayInPlan[];
}

export interface Body {
  id: string;
  kind: string;
  group: string;
  owner: string;
  mesh: string;
  pose: number[];
}

export interface SceneData {
  scene: { meshes: Record<string, { vertices: string; triangles: string }>; cycles: { bodies: Body[]; sides: Side[] }[] } | null;
  machine: { id: string; name: string; axis: { point: number[]; along: "x" | "y"; word: string } | null } | null;
  stations: Station[];
}

export interface Dimension {
  tip: number[];
  stack: [number, number, number][];
  angle: number;
  cut: string;
  from: number[];
  to: number[];
}
