// Numbers and words as people read them. Inside everything is mm; inch is for the eye only.

export type Unit = "mm" | "inch";
const KEPT = "palletwright-unit";
export const UNKNOWN = "unknown";

let unit: Unit = (typeof localStorage !== "undefined" && (localStorage.getItem(KEPT) as Unit)) || "mm";

export const unitNow = (): Unit => unit;

export function setUnit(to: Unit): void {
  unit = to;
  localStorage.setItem(KEPT, to);
}

/** A number with fixed digits, thin spaces between thousands. */
export function num(value: number | null | undefined, digits = 2): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return UNKNOWN;
  const [whole, rest] = Math.abs(value).toFixed(digits).split(".");
  const grouped = whole.length > 4 ? whole.replace(/\B(?=(\d{3})+$)/g, "\u202f") : whole;
  const zero = Number(Math.abs(value).toFixed(digits)) === 0;
  return (value < 0 && !zero ? "−" : "") + grouped + (rest ? "." + rest : "");
}

/** A number with as many digits as matter at its size. */
export function sig(value: number | null | undefined): string {
  if (value === null || value === undefined || !Number.isFinite(value)) return UNKNOWN;
  const size = Math.abs(value);
  const digits = size >= 100 ? 0 : size >= 10 ? 1 : size >= 0.1 || size === 0 ? 2 : 3;
  const text = num(value, digits);
  return text.includes(".") ? text.replace(/\.?0+$/, "") : text;
}

/** A length in the unit that the reader chose. */
export function len(mm: number | null | undefined, withUnit = true): string {
  if (mm === null || mm === undefined) return UNKNOWN;
  const text = unit === "mm" ? num(mm, Math.abs(mm) < 10 ? 2 : 1) : num(mm / 25.4, Math.abs(mm) < 25.4 ? 4 : 3);
  return withUnit ? `${text} ${unit === "mm" ? "mm" : "in"}` : text;
}

/** mm as a number in the reader's unit, and back. */
export const inUnit = (mm: number): number => (unit === "mm" ? Math.round(mm * 1e4) / 1e4 : Math.round((mm / 25.4) * 1e5) / 1e5);
export const inMm = (value: number): number => (unit === "mm" ? value : value * 25.4);

export const size = (mm: number[]): string => mm.map((v) => len(v, false)).join(" × ") + (unit === "mm" ? " mm" : " in");

export function minutes(seconds: number | null | undefined): string {
  if (seconds === null || seconds === undefined) return UNKNOWN;
  const s = Math.round(seconds);
  return s < 90 ? `${s} s` : `${Math.floor(s / 60)} min ${s % 60 ? `${s % 60} s` : ""}`.trim();
}

export const plural = (n: number, word: string): string => `${num(n, 0)} ${word}${n === 1 ? "" : "s"}`;

/** A margin's value with its unit; lengths follow the reader's unit. */
export const measured = (value: number | null, unit: string): string =>
  unit === "mm" ? len(value) : `${sig(value)}${unit && unit !== "factor" ? " " + unit : ""}`;

/** A direction by the axis' name where it is one. */
export function direction(v: number[]): string {
  const at = v.findIndex((x) => Math.abs(Math.abs(x) - 1) < 1e-9);
  return at >= 0 ? (v[at] > 0 ? "+" : "−") + "xyz"[at] : `(${v.map((x) => num(x, 2)).join(", ")})`;
}

export function when(iso: string): string {
  const at = new Date(iso);
  return Number.isNaN(at.getTime()) ? iso : at.toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
}
