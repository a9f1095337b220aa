// A cycle as a bar: which tool at which angle, when somebody must be there.
import { useState } from "preact/hooks";
import { Table } from "./bits";
import { minutes, num, plural } from "./format";
import type { Cycle, Run, Way } from "./types";

const WIDE = 1000;

export function TimeBar({ cycle, way, tools, number }: { cycle: Cycle; way: Way; tools: Record<string, string>; number: number }) {
  const [picked, setPicked] = useState<Run | null>(null);
  const kinds = [...new Set(cycle.runs.map((r) => r.tool))];
  const timing = way.timing;
  const whole = Math.max(cycle.seconds, 1);
  const scale = WIDE / whole;
  const loading = timing ? timing.load_seconds : 0;
  const proof = cycle.tool_runs === cycle.least_tool_runs ? "provably the fewest" : `at least ${cycle.least_tool_runs} are needed`;
  return (
    <div>
      <p>
        {minutes(cycle.seconds)} for {plural(cycle.parts, "part")}; no order takes less than {minutes(cycle.bound)} (a bound). {plural(cycle.tool_runs, "tool run")}, {proof}.
      </p>
      <svg class="timebar" viewBox={`0 0 ${WIDE} 92`} role="group" aria-label={`Cycle ${number} over time`} preserveAspectRatio="none">
        {cycle.runs.map((r, i) => (
          <g key={i} class={`run t${kinds.indexOf(r.tool) % 8}${picked === r ? " on" : ""}`} tabIndex={0} role="button" aria-pressed={picked === r} aria-label={`T${r.tool} at ${num(r.angle, 0)} degrees, ${minutes(r.seconds)}`} onClick={() => setPicked(r)} onFocus={() => setPicked(r)}>
            <rect x={r.start * scale} y={4} width={Math.max(r.seconds * scale - 0.6, 0.4)} height={44} />
            <rect class="cutting" x={r.start * scale} y={40} width={Math.max(r.cut * scale - 0.6, 0)} height={8} />
          </g>
        ))}
        {timing && (
          <g class="people">
            <rect x={0} y={58} width={Math.min(loading * scale, WIDE)} height={12}>
              <title>loading the other set: {minutes(loading)}</title>
            </rect>
          </g>
        )}
        <g class="scale">
          {Array.from({ length: 6 }, (_, i) => (
            <line key={i} x1={(i * WIDE) / 5} x2={(i * WIDE) / 5} y1={76} y2={82} />
          ))}
        </g>
      </svg>
      <div class="barscale" aria-hidden="true">
        {Array.from({ length: 6 }, (_, i) => (
          <span key={i}>{minutes((cycle.seconds * i) / 5)}</span>
        ))}
      </div>
      <p class="key">
        {kinds.map((t) => (
          <span key={t}>
            <i class={`sw t${kinds.indexOf(t) % 8}`} />T{t} {tools[t]}
          </span>
        ))}
        {timing && (
          <span>
            <i class="sw people" />
            {timing.sets > 1 ? "somebody loads the other set meanwhile" : "loading, the spindle waits"}: {minutes(loading)}
          </span>
        )}
      </p>
      <p class="note" aria-live="polite">
        {picked
          ? `T${picked.tool} ${tools[picked.tool] ?? ""} at ${num(picked.angle, 1)}°: ${minutes(picked.seconds)}, ${minutes(picked.cut)} of it cutting, at ${plural(picked.stations.length, "station")}: ${picked.stations.join(", ")}`
          : "Choose a block of the bar to see its stations."}
      </p>
      <details>
        <summary>Where the seconds go, and other orders</summary>
        <Table
          caption="Seconds by kind"
          rows={Object.entries(cycle.by_kind).sort((a, b) => b[1] - a[1])}
          columns={[
            { head: "what", cell: (r) => r[0], words: true },
            { head: "s", cell: (r) => num(r[1], 1) },
            { head: "share, %", cell: (r) => num((100 * r[1]) / whole, 1) },
          ]}
        />
        <Table
          caption="Other orders of the same work"
          rows={cycle.other_orders}
          columns={[
            { head: "other order", cell: (r) => r[0], words: true },
            { head: "s", cell: (r) => num(r[1], 0) },
            { head: "more than this, s", cell: (r) => num(r[1] - cycle.seconds, 0) },
          ]}
        />
      </details>
    </div>
  );
}
