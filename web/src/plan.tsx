// A plan, in the order in which the engineer asks.
import { useState } from "preact/hooks";
import { get } from "./api";
import { Loaded, useFetched } from "./bits";
import { ALLOWED, PART, START, TODAY, WAYS, WHY } from "./questions";
import type { Plan } from "./types";
import { PartQuestion } from "./q_part";
import { TodayQuestion } from "./q_today";
import { WaysQuestion } from "./q_ways";
import { WhyQuestion } from "./q_why";
import { MoreQuestion } from "./q_more";
import { StartQuestion } from "./q_start";

export function PlanView({ id, question, way }: { id: string; question: string; way: number }) {
  const plan = useFetched(() => get<Plan>(`/api/plans/${id}`), [id]);
  return <Loaded of={plan}>{(data) => <Asked plan={data} question={question} way={Math.min(way, data.ways.length - 1)} again={plan.again} />}</Loaded>;
}

function Asked({ plan, question, way, again }: { plan: Plan; question: string; way: number; again: () => Promise<void> }) {
  const [beside, setBeside] = useState<string[]>(["today", "0"]);
  const at = (q: string, w = way) => `#/plan/${plan.id}/${q}/${w}`;
  const shown = plan.ways[way];
  const asked = [PART, TODAY, WAYS, WHY, ALLOWED, START];
  return (
    <div class="plan">
      <nav class="questions" aria-label="Questions">
        <a class="back" href={`#/job/${plan.job_id}`}>← the job</a>
        <ol>
          {asked.map((q) => (
            <li key={q.id}>
              <a href={at(q.id)} aria-current={question === q.id ? "page" : undefined}>{q.text}</a>
            </li>
          ))}
        </ol>
        <p class="looking">
          Looking at <b>{shown.name}</b>
          {(shown.state.changed || shown.state.foreign) && <span class={shown.state.checked ? "ok" : "short"}>{` ${shown.state.changed ? "changed" : "from a file"}, ${shown.state.checked ? "checked" : "unchecked"}`}</span>}
        </p>
      </nav>
      <div class="answer">
        <p class="crumb">{plan.title}</p>
        {question === PART.id && <PartQuestion plan={plan} />}
        {question === TODAY.id && <TodayQuestion plan={plan} />}
        {question === WAYS.id && <WaysQuestion plan={plan} beside={beside} setBeside={setBeside} look={(w) => (location.hash = at(WHY.id, w))} />}
        {question === WHY.id && <WhyQuestion plan={plan} way={way} again={again} key={way} />}
        {question === ALLOWED.id && <MoreQuestion plan={plan} />}
        {question === START.id && <StartQuestion plan={plan} way={way} />}
      </div>
    </div>
  );
}
