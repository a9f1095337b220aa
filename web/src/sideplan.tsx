// One side seen against its normal, with its stations to drag.
import { useRef } from "preact/hooks";
import { plural } from "./format";
import type { Design, Side, Station } from "./types";

type Ring = number[][];

/** Rings of a station in its own frame, from where they were drawn on the side. */
export function local(ring: Ring, at: { x: number; y: number; turn: number }): Ring {
  const [c, s] = [[1, 0], [0, 1], [-1, 0], [0, -1]][((at.turn % 4) + 4) % 4];
  return ring.map(([px, py]) => {
    const [dx, dy] = [px - at.x, py - at.y];
    return [c * dx + s * dy, -s * dx + c * dy];
  });
}

const path = (rings: Ring[]): string => rings.map((r) => "M" + r.map(([x, y]) => `${x.toFixed(2)} ${(-y).toFixed(2)}`).join("L") + "Z").join("");

/** What an svg must show to hold a side and all that stands on it, mm with y upwards. */
function frame(side: Side, edge: number): number[] {
  const points = [...side.area.flat(), ...side.stations.flatMap((s) => s.bodies.flatMap((b) => b.rings.flat()))];
  const xs = points.map((p) => p[0]);
  const ys = points.map((p) => p[1]);
  return [Math.min(...xs) - edge, -Math.max(...ys) - edge, Math.max(...xs) - Math.min(...xs) + 2 * edge, Math.max(...ys) - Math.min(...ys) + 2 * edge];
}

/** A side as it is loaded: which station is where, and which of them hold a part already. */
export function SideMap({ side, loaded }: { side: Side; loaded: (name: string) => boolean }) {
  return (
    <figure class="side map">
      <svg viewBox={frame(side, 6).join(" ")} role="img" aria-label={`Where the stations are: ${side.stations.flatMap((s) => s.parts).join(", ")}`}>
        <path class="free" d={path(side.area)} />
        {side.stations.map((s) => (
          <g key={s.parts[0]} class={`station op${s.operation % 5}${s.parts.every(loaded) ? " loaded" : ""}`}>
            {s.bodies.map((b) => <path key={b.id} class={b.id.startsWith("part") ? "part" : "device"} d={path(b.rings)} />)}
            <text x={s.x} y={4 - s.y}>{s.parts.join(" ")}{s.parts.every(loaded) ? " ✓" : ""}</text>
          </g>
        ))}
      </svg>
    </figure>
  );
}

interface Props {
  side: Side;
  planned: Station[];
  stations: Station[];
  operations: Design["operations"];
  picked: string;
  isLocked: (s: Station) => boolean;
  gap: { have: number; line: number[][] } | null;
  onPick: (name: string) => void;
  onMove: (name: string, x: number, y: number) => void;
  onDrop: (name: string, from: { x: number; y: number }) => void;
}

export function SidePlan({ side, planned, stations, operations, picked, isLocked, gap, onPick, onMove, onDrop }: Props) {
  const svg = useRef<SVGSVGElement>(null);
  const drag = useRef<{ name: string; from: { x: number; y: number }; grip: { x: number; y: number } } | null>(null);
  const key = useRef<{ name: string; from: { x: number; y: number }; timer: number } | null>(null);
  const box = frame(side, 12);
  const here = (e: PointerEvent) => {
    const m = svg.current?.getScreenCTM();
    if (!m) return { x: 0, y: 0 };
    const p = new DOMPoint(e.clientX, e.clientY).matrixTransform(m.inverse());
    return { x: p.x, y: -p.y };
  };
  const number = (operation: number) => operations.find((o) => o.clamping === operation)?.number ?? 10 * (operation + 1);
  const shapes = (s: Station) => side.stations.find((o) => o.parts[0] === s.parts[0]);
  const byKey = (e: KeyboardEvent, s: Station) => {
    const step = e.shiftKey ? 0.1 : 1;
    const to: Record<string, [number, number]> = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, step], ArrowDown: [0, -step] };
    if (!(e.key in to) || isLocked(s)) return;
    e.preventDefault();
    if (key.current?.name !== s.parts[0]) key.current = { name: s.parts[0], from: { x: s.x, y: s.y }, timer: 0 };
    clearTimeout(key.current.timer);
    onMove(s.parts[0], s.x + to[e.key][0], s.y + to[e.key][1]);
  };
  const endKey = (e: KeyboardEvent) => {
    const now = key.current;
    if (!now || !e.key.startsWith("Arrow")) return;
    clearTimeout(now.timer);
    now.timer = window.setTimeout(() => {
      key.current = null;
      latest.current(now.name, now.from);
    }, 500);
  };
  const latest = useRef(onDrop);
  latest.current = onDrop;
  const name = `side ${side.side.split("/").pop()} of ${side.mount}`;
  return (
    <figure class="side">
      <figcaption>
        <b>{name}</b>, {plural(stations.length, "station")}
      </figcaption>
      <svg
        ref={svg}
        viewBox={box.join(" ")}
        role="group"
        aria-label={`${name}, seen against its normal`}
        onPointerMove={(e) => {
          const d = drag.current;
          if (!d) return;
          const p = here(e);
          onMove(d.name, Math.round((p.x - d.grip.x) * 10) / 10, Math.round((p.y - d.grip.y) * 10) / 10);
        }}
        onPointerUp={() => {
          const d = drag.current;
          drag.current = null;
          if (d) onDrop(d.name, d.from);
        }}
      >
        <path class="free" d={path(side.area)} />
        {stations.map((s) => {
          const drawn = shapes(s);
          const from = planned.find((o) => o.parts[0] === s.parts[0]) ?? s;
          const on = s.parts.includes(picked);
          return (
            <g
              key={s.parts[0]}
              class={`station op${(number(s.operation) / 10 - 1) % 5}${on ? " on" : ""}${isLocked(s) ? " locked" : ""}`}
              transform={`translate(${s.x} ${-s.y}) rotate(${-90 * s.turn})`}
              tabIndex={0}
              role="button"
              aria-pressed={on}
              aria-label={`Station ${s.parts.join(", ")}, operation ${number(s.operation)}${isLocked(s) ? ", locked" : ""}. Arrow keys move it.`}
              onFocus={() => onPick(s.parts[0])}
              onKeyDown={(e) => byKey(e, s)}
              onKeyUp={endKey}
              onPointerDown={(e) => {
                onPick(s.parts[0]);
                if (isLocked(s)) return;
                const p = here(e);
                drag.current = { name: s.parts[0], from: { x: s.x, y: s.y }, grip: { x: p.x - s.x, y: p.y - s.y } };
                svg.current?.setPointerCapture(e.pointerId);
              }}
            >
              {drawn?.bodies.map((b) => (
                <path key={b.id} class={b.id.startsWith("part") ? "part" : "device"} d={path(b.rings.map((r) => local(r, from)))} />
              ))}
              <text transform={`rotate(${90 * s.turn})`} y={4}>{s.parts.join(" ")}</text>
              {isLocked(s) && <path class="padlock" transform={`rotate(${90 * s.turn}) translate(0 13)`} d="M-5 0h10v8h-10z M-3 0v-3a3 3 0 0 1 6 0v3" />}
            </g>
          );
        })}
        {gap && gap.line.length === 2 && (
          <g class="gap">
            <line x1={gap.line[0][0]} y1={-gap.line[0][1]} x2={gap.line[1][0]} y2={-gap.line[1][1]} />
            <circle cx={gap.line[0][0]} cy={-gap.line[0][1]} r={2} />
            <circle cx={gap.line[1][0]} cy={-gap.line[1][1]} r={2} />
          </g>
        )}
      </svg>
    </figure>
  );
}
