// Margins: the tightest first, each able to be shown in the picture.
import { useState } from "preact/hooks";
import { Passed, Table } from "./bits";
import { measured, plural } from "./format";
import type { Margin } from "./types";

/** What is left over the need; unknown counts as the tightest. */
export const room = (m: Margin): number => (m.have === null ? -Infinity : m.have - m.need);

/** Whether a margin speaks of a station, as subject or as obstacle. */
export const about = (m: Margin, station: string): boolean =>
  m.subject.split(" ")[0] === station || m.obstacle.split("/")[0] === station || m.subject.split(":")[0] === `operation ${station.split(".")[0]}`;

export function MarginList({ margins, picked, show, shown }: { margins: Margin[]; picked: string; show: (m: Margin) => void; shown: Margin | null }) {
  const [all, setAll] = useState(false);
  const of = picked ? margins.filter((m) => about(m, picked)) : margins;
  const sorted = [...of].sort((a, b) => room(a) - room(b));
  const short = sorted.filter((m) => !m.passed).length;
  const rows = all ? sorted : tightest(sorted, picked ? 8 : 10);
  return (
    <div>
      <p>
        {short ? <span class="short">✗ {plural(short, "margin")} short of {of.length}.</span> : <span class="ok">✓ All {of.length} margins hold{picked ? ` at station ${picked}` : ""}.</span>} A reported clearance is never above the true one.
      </p>
      <Table
        caption="Margins"
        rows={rows}
        mark={(m) => (m.passed ? (m === shown ? "best" : "") : "short")}
        columns={[
          { head: "check", cell: (m) => m.check, words: true },
          { head: "of", cell: (m) => m.subject, words: true },
          { head: "to", cell: (m) => m.obstacle, words: true },
          { head: "needs", cell: (m) => measured(m.need, m.unit) },
          { head: "has", cell: (m) => measured(m.have, m.unit) },
          { head: "", cell: (m) => <Passed ok={m.passed} />, words: true },
          { head: "show", cell: (m) => (m.where ? <button type="button" class="small" onClick={() => show(m)} aria-label={`Show ${m.check} of ${m.subject}`}>Show</button> : "") },
        ]}
      />
      {sorted.length > rows.length || all ? (
        <button type="button" class="quiet" onClick={() => setAll(!all)}>
          {all ? "Only the tightest" : `All ${sorted.length}`}
        </button>
      ) : null}
    </div>
  );
}

/** The tightest of every check in turn, so that one kind doesn't hide the others; all that fall short. */
export function tightest(sorted: Margin[], most: number): Margin[] {
  const byCheck = new Map<string, Margin[]>();
  for (const m of sorted) byCheck.set(m.check, [...(byCheck.get(m.check) ?? []), m]);
  const kept = new Set(sorted.filter((m) => !m.passed));
  for (let i = 0; kept.size < most && i < most; i++) for (const rows of byCheck.values()) if (rows[i] && kept.size < most) kept.add(rows[i]);
  return sorted.filter((m) => kept.has(m));
}
