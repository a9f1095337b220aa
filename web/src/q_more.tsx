import { Table } from "./bits";
import { num, plural } from "./format";
import { ALLOWED } from "./questions";
import type { Plan } from "./types";

export function MoreQuestion({ plan }: { plan: Plan }) {
  const gains = plan.one_more.filter((o) => (o.parts_per_start ?? 0) > o.before);
  const groups = new Map<string, Plan["turned_down"]>();
  for (const t of plan.turned_down) {
    const why = t.stopped_by.startsWith(`${t.arrangement}: `) ? t.stopped_by.slice(t.arrangement.length + 2) : t.stopped_by;
    groups.set(why, [...(groups.get(why) ?? []), t]);
  }
  const sorted = [...groups].sort((a, b) => b[1].length - a[1].length);
  return (
    <>
      <div class="title-row">
        <h1>{ALLOWED.text}</h1>
        <button type="button" onClick={() => print()}>Print this</button>
      </div>
      <p>Each change was made to the best way and planned again. {gains.length ? `${plural(gains.length, "change")} of ${plan.one_more.length} would.` : "None of these changes would."}</p>
      <Table
        caption="Changes that were tried"
        rows={plan.one_more}
        mark={(o) => ((o.parts_per_start ?? 0) > o.before ? "best" : "")}
        columns={[
          { head: "change", cell: (o) => o.change, words: true },
          { head: "parts a start", cell: (o) => ((o.parts_per_start ?? 0) > o.before ? `${num(o.parts_per_start, 0)} instead of ${o.before}` : `stays at ${o.before}`), words: true },
          { head: "how that is known", cell: (o) => [o.note, o.verified ? "planned again and checked" : "estimated, not planned again"].filter(Boolean).join("; "), words: true },
        ]}
      />
      <h2>Turned down: {plural(plan.turned_down.length, "arrangement")}, by what stopped them</h2>
      {sorted.map(([why, rows]) => (
        <details key={why}>
          <summary>
            <b>{rows.length} ×</b> {why}
          </summary>
          <ul class="small">
            {rows.map((t, i) => (
              <li key={i}>
                {t.arrangement}
                {t.amount !== null && ` (by ${num(t.amount, 1)} ${t.unit})`}
              </li>
            ))}
          </ul>
        </details>
      ))}
    </>
  );
}
