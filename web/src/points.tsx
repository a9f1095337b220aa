// Ways to run the part as points: what a part costs against who must stand there; the size says the capital.
import { useState } from "preact/hooks";
import { len, num, sig } from "./format";
import type { Way } from "./types";

export interface Mark {
  key: string;
  way: Way;
  kind: "today" | "way";
  note: string;
}

const WIDE = 760;
const HIGH = 460;
const EDGE = { left: 62, right: 24, top: 18, bottom: 48 };

/** Round steps for an axis. */
export function ticks(low: number, high: number, about = 5): number[] {
  const raw = (high - low) / about || 1;
  const power = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw) ?? raw;
  const out = [];
  for (let v = Math.ceil(low / step) * step; v <= high + step * 1e-6; v += step) out.push(Number(v.toPrecision(12)));
  return out;
}

/** Labels that would stand on one another are moved up or down to the nearest free height within `low` and `high`. */
export function spread(at: { x: number; y: number }[], wide: number, tall: number, low: number, high: number): number[] {
  const placed: { x: number; y: number }[] = [];
  return at.map((p) => {
    let y = p.y;
    for (let k = 1; k < 60 && placed.some((q) => Math.abs(q.x - p.x) < wide && Math.abs(q.y - y) < tall); k++) {
      const next = p.y + (k % 2 ? 1 : -1) * Math.ceil(k / 2) * (tall / 2);
      y = next >= low && next <= high ? next : y;
    }
    placed.push({ x: p.x, y });
    return y;
  });
}

export function Points({ marks, chosen, onChoose, currency }: { marks: Mark[]; chosen: string[]; onChoose: (key: string) => void; currency: string }) {
  const [near, setNear] = useState(false);
  const all = marks.filter((m) => m.way.cost_per_part !== null && m.way.attended_minutes_per_part !== null);
  const there = near ? all.filter((m) => m.kind !== "today") : all;
  const today = near ? all.find((m) => m.kind === "today") : undefined;
  if (!there.length) return <p class="empty">No way has both a cost and attended minutes.</p>;
  const xs = there.map((m) => m.way.attended_minutes_per_part as number);
  const ys = there.map((m) => m.way.cost_per_part as number);
  const most = Math.max(...there.map((m) => m.way.capital), 1);
  const wideBy = Math.max(...xs) - Math.min(...xs) || 1;
  const [xLow, xMax] = near ? [Math.min(...xs) - wideBy * 0.2, Math.max(...xs) + wideBy * 0.45] : [0, Math.max(...xs) * 1.1];
  const [yLow, yHigh] = near ? [Math.min(...ys) * 0.98, Math.max(...ys) * 1.02] : [Math.min(...ys) * 0.8, Math.max(...ys) * 1.06];
  const x = (v: number) => EDGE.left + ((v - xLow) / (xMax - xLow || 1)) * (WIDE - EDGE.left - EDGE.right);
  const y = (v: number) => HIGH - EDGE.bottom - ((v - yLow) / (yHigh - yLow || 1)) * (HIGH - EDGE.top - EDGE.bottom);
  const order = [...there].sort((a, b) => b.way.capital - a.way.capital);
  const labels = spread(order.map((m) => ({ x: x(m.way.attended_minutes_per_part!), y: y(m.way.cost_per_part!) })), 130, 15, EDGE.top + 10, HIGH - EDGE.bottom - 8);
  return (
    <figure>
    <svg class="points" viewBox={`0 0 ${WIDE} ${HIGH}`} role="group" aria-label={`Ways by cost per part in ${currency} and attended minutes per part`}>
      {ticks(xLow, xMax).map((t) => (
        <g key={`x${t}`}>
          <line class="gridline" x1={x(t)} x2={x(t)} y1={EDGE.top} y2={HIGH - EDGE.bottom} />
          <text x={x(t)} y={HIGH - EDGE.bottom + 16} class="tick mid">{sig(t)}</text>
        </g>
      ))}
      {ticks(yLow, yHigh).map((t) => (
        <g key={`y${t}`}>
          <line class="gridline" x1={EDGE.left} x2={WIDE - EDGE.right} y1={y(t)} y2={y(t)} />
          <text x={EDGE.left - 8} y={y(t) + 4} class="tick end">{sig(t)}</text>
        </g>
      ))}
      <text x={(WIDE + EDGE.left) / 2} y={HIGH - 10} class="axis mid">attended minutes a part</text>
      <text transform={`translate(16 ${HIGH / 2 - 10}) rotate(-90)`} class="axis mid">cost a part, {currency}</text>
      {order.map((m, i) => {
        const [cx, cy] = [x(m.way.attended_minutes_per_part!), y(m.way.cost_per_part!)];
        const r = 6 + 15 * Math.sqrt(m.way.capital / most);
        const on = chosen.includes(m.key);
        const margin = m.way.least_clearance_mm === null ? "" : ` ${len(m.way.least_clearance_mm)} least clearance`;
        const words = `${m.way.name}${margin}: ${num(m.way.cost_per_part)} ${currency} a part, ${sig(m.way.attended_minutes_per_part)} attended minutes, capital ${num(m.way.capital, 0)}${m.note ? ", " + m.note : ""}`;
        return (
          <g
            key={m.key}
            class={`point ${m.kind}${on ? " on" : ""}`}
            tabIndex={0}
            role="button"
            aria-pressed={on}
            aria-label={words}
            onClick={() => onChoose(m.key)}
            onKeyDown={(e) => {
              if (e.key !== "Enter" && e.key !== " ") return;
              e.preventDefault();
              onChoose(m.key);
            }}
          >
            <title>{words}</title>
            {m.kind === "today" ? <rect x={cx - 7} y={cy - 7} width={14} height={14} /> : <circle cx={cx} cy={cy} r={r} />}
            {m.kind === "way" && Math.abs(labels[i] - cy) > r && <line class="leader" x1={cx} y1={cy + Math.sign(labels[i] - cy) * r} x2={cx + r + 3} y2={labels[i]} />}
            <text x={cx + (m.kind === "today" ? -12 : r + 5)} y={labels[i] + 4} class={m.kind === "today" ? "end" : ""}>
              {m.way.name}
              {m.way.least_clearance_mm !== null && <tspan class="tick"> {len(m.way.least_clearance_mm)}</tspan>}
            </text>
          </g>
        );
      })}
      {today && (
        <text x={WIDE - EDGE.right - 6} y={EDGE.top + 14} class="end">
          today is far off: {num(today.way.cost_per_part)} {currency}, {sig(today.way.attended_minutes_per_part)} min ↗
        </text>
      )}
    </svg>
    {all.some((m) => m.kind === "today") && (
      <button type="button" class="small" aria-pressed={near} onClick={() => setNear(!near)}>
        {near ? "Show today with them" : "Closer on the new ways"}
      </button>
    )}
    </figure>
  );
}
