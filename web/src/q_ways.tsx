// Ways as points and side by side; today is always among them.
import { Table } from "./bits";
import { len, num, sig } from "./format";
import { MoneyStack } from "./money";
import { Points, type Mark } from "./points";
import { WAYS } from "./questions";
import type { Plan, Way } from "./types";

const MOST = 3;

interface Line {
  text: string;
  value: (w: Way) => string;
  number: (w: Way) => number | null;
  less: boolean;
}

const LINES: Line[] = [
  { text: "finished parts a start", value: (w) => sig(w.parts_per_start), number: (w) => w.parts_per_start, less: false },
  { text: "starts a part", value: (w) => num(w.starts_per_part, 3), number: (w) => w.starts_per_part, less: true },
  { text: "attended minutes a part", value: (w) => sig(w.attended_minutes_per_part), number: (w) => w.attended_minutes_per_part, less: true },
  { text: "minutes alone in one go", value: (w) => num(w.unattended_minutes, 0), number: (w) => w.unattended_minutes, less: false },
  { text: "spindle minutes a part", value: (w) => sig(w.spindle_minutes_per_part), number: (w) => w.spindle_minutes_per_part, less: true },
  { text: "cost a part", value: (w) => num(w.cost_per_part), number: (w) => w.cost_per_part, less: true },
  { text: "capital, once", value: (w) => num(w.capital, 0), number: (w) => w.capital, less: true },
  { text: "payback, months", value: (w) => (w.payback?.months != null ? sig(w.payback.months) : "–"), number: (w) => w.payback?.months ?? null, less: true },
  { text: "least tool clearance", value: (w) => len(w.least_clearance_mm), number: (w) => w.least_clearance_mm, less: false },
  { text: "least holding factor", value: (w) => sig(w.least_holding_factor), number: (w) => w.least_holding_factor, less: false },
];

/** Keeps at most three side by side, today always the first of them. */
export function toggled(now: string[], key: string): string[] {
  if (key === "today") return now;
  const others = now.filter((k) => k !== "today");
  const after = others.includes(key) ? others.filter((k) => k !== key) : [...others, key].slice(-(MOST - 1));
  return ["today", ...after];
}

/** What must be said of a way that isn't simply as planned here. */
const stands = (w: Plan["ways"][number]): string =>
  w.state.changed ? `changed by hand, ${w.state.checked ? "checked" : "unchecked"}` : w.state.checked ? "" : "from a file, unchecked";

export function WaysQuestion({ plan, beside, setBeside, look }: { plan: Plan; beside: string[]; setBeside: (b: string[]) => void; look: (way: number) => void }) {
  const marks: Mark[] = [
    { key: "today", way: plan.today, kind: "today", note: "" },
    ...plan.ways.map((w, i): Mark => ({ key: String(i), way: w, kind: "way", note: stands(w) })),
  ];
  const shown = beside.map((k) => marks.find((m) => m.key === k)).filter((m): m is Mark => !!m);
  return (
    <>
      <h1>{WAYS.text}</h1>
      <p>
        Each point is a way to run the part: lower is cheaper, further left needs less standing there, bigger costs more once. The length beside its name is its least tool clearance. The square is today. Choose points to set them side by side.
      </p>
      <div class="two ways-two">
        <Points marks={marks} chosen={beside} onChoose={(k) => setBeside(toggled(beside, k))} currency={plan.currency} />
        <ol class="waylist">
          {plan.ways.map((w, i) => (
            <li key={i} class={beside.includes(String(i)) ? "on" : ""}>
              <label class="check">
                <input type="checkbox" checked={beside.includes(String(i))} onChange={() => setBeside(toggled(beside, String(i)))} aria-label={`${w.name} side by side`} />
              </label>
              <div>
                <b>{w.name}</b>: {sig(w.parts_per_start)} parts a start, {num(w.cost_per_part)} {plan.currency}
                <small>{w.timing?.label}, {w.timing?.sets} set{w.timing?.sets === 1 ? "" : "s"}{stands(w) && `; ${stands(w)}`}</small>
              </div>
              <button type="button" class="small" onClick={() => look(i)} aria-label={`Look at ${w.name}`}>Look</button>
            </li>
          ))}
        </ol>
      </div>
      <h2>Side by side</h2>
      <Table
        caption="Ways side by side"
        rows={LINES}
        columns={[
          { head: "", cell: (l) => l.text, words: true },
          ...shown.map((m) => ({ head: m.way.name, cell: (l: Line) => <Best line={l} way={m.way} among={shown.map((s) => s.way)} /> })),
        ]}
      />
      <p class="note">● marks the best of the ones shown. A ratio of starts says nothing without the attended minutes and the cost beside it. Ways closer than their error are ties; the roomier or simpler stands first.</p>
      <MoneyStack ways={shown.map((m) => m.way)} currency={plan.currency} />
    </>
  );
}

function Best({ line, way, among }: { line: Line; way: Way; among: Way[] }) {
  const mine = line.number(way);
  const all = among.map(line.number).filter((v): v is number => v !== null);
  const best = all.length > 1 && mine !== null && mine === (line.less ? Math.min(...all) : Math.max(...all)) && all.some((v) => v !== mine);
  return (
    <>
      {best && <span class="best" aria-label="best of these">● </span>}
      {line.value(way)}
    </>
  );
}
