import { Fact, Table } from "./bits";
import { num, sig } from "./format";
import { MoneyStack } from "./money";
import { TODAY } from "./questions";
import type { Plan } from "./types";

export function TodayQuestion({ plan }: { plan: Plan }) {
  const t = plan.today;
  const known = plan.job.today.length > 0;
  return (
    <>
      <h1>{TODAY.text}</h1>
      {!known && <p class="notice">The job doesn't say how the part is made today. Tell it there, and plan again: then every way shows what it saves.</p>}
      {known && (
        <>
          <div class="facts">
            <Fact value={sig(t.parts_per_start)} text="finished parts every start" />
            <Fact value={sig(t.starts_per_part)} text="starts a part" />
            <Fact value={`${sig(t.attended_minutes_per_part)} min`} text="attended a part" />
            <Fact value={`${sig(t.spindle_minutes_per_part)} min`} text="spindle a part" />
            <Fact value={`${num(t.cost_per_part)} ${plan.currency}`} text={t.cost_range ? `a part, likely ${num(t.cost_range[0])} to ${num(t.cost_range[1])}` : "a part"} />
          </div>
          <Table
            caption="Operations of today"
            rows={plan.job.today}
            columns={[
              { head: "operation", cell: (s) => s.operation, words: true },
              { head: "machine", cell: (s) => s.machine ?? "not said", words: true },
              { head: "parts a start", cell: (s) => num(s.parts_per_start, 0) },
              { head: "machine runs, s", cell: (s) => num(s.cycle_seconds, 0) },
              { head: "loading, s", cell: (s) => num(s.load_seconds, 0) },
              { head: "stands there", cell: (s) => (s.attended ? "yes" : "no"), words: true },
            ]}
          />
          <h2>What a part costs today</h2>
          <MoneyStack ways={[t]} currency={plan.currency} />
        </>
      )}
      <ul class="small">{t.reasons.map((r, i) => <li key={i}>{r.about}: {r.text}</li>)}</ul>
    </>
  );
}
