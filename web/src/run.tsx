// A planning run: stages with counts and time left, ways as they are found, stop that keeps the best.
import { useEffect, useRef, useState } from "preact/hooks";
import { post } from "./api";
import { Faults, Work } from "./bits";
import { minutes, num, plural, sig } from "./format";
import type { RunState } from "./types";

const STAGES: Record<string, string> = {
  access: "which tool reaches what, from where",
  arrangements: "arrangements on every carrier",
  "full checks": "every tool at every station against everything",
};

/** A stage of the search in words that need no knowledge of the program. */
export function stageWords(name: string): string {
  const [machine, stage] = name.includes(": ") ? name.split(": ") : ["", name];
  return `${machine ? machine + ": " : ""}${STAGES[stage] ?? stage}`;
}

export function RunPanel({ id, currency, onEnd, onAgain }: { id: string; currency: string; onEnd: (plan: string) => void; onAgain: () => void }) {
  const [state, setState] = useState<RunState | null>(null);
  const ended = useRef(false);
  useEffect(() => {
    const source = new EventSource(`/api/runs/${id}/events`);
    source.onmessage = (e) => {
      const told = JSON.parse(e.data as string) as RunState;
      setState(told);
      if (told.state === "running" || ended.current) return;
      ended.current = true;
      source.close();
      onEnd(told.plan);
    };
    return () => source.close();
  }, [id]);
  if (!state) return <p class="waiting">Starting …</p>;
  if (state.state !== "running")
    return (
      <div class="run">
        <p>{state.state === "done" ? "The plan is there." : state.state === "stopped" ? "Stopped before anything workable was found." : state.message}</p>
        <Faults of={state.faults} />
        <button type="button" onClick={onAgain}>Change something and plan again</button>
      </div>
    );
  return (
    <div class="run">
      <p class="unseen" role="status">{state.ways.length ? `${plural(state.ways.length, "way")} workable already` : "Planning"}</p>
      <p>
        {state.stopping ? "Stopping after this step; the best so far is kept." : `Planning for ${minutes(state.seconds)}.`}
        {state.seconds_left != null && !state.stopping && ` About ${minutes(state.seconds_left)} left in this stage.`}
      </p>
      <ol class="stages">
        {state.stages.map((s) => (
          <li key={s.name}>
            <span>{stageWords(s.name)}</span>
            {s.total > 1 ? <progress value={s.done} max={s.total} aria-label={stageWords(s.name)} /> : <progress value={s.done ? 1 : 0} max={1} aria-label={stageWords(s.name)} />}
            <span class="soft">{s.total > 1 ? `${num(s.done, 0)} of ${num(s.total, 0)}` : s.done ? "done" : "at it"}</span>
          </li>
        ))}
      </ol>
      {state.ways.length > 0 && (
        <>
          <h3>Workable already</h3>
          <ul class="plain">
            {state.ways.slice(0, 5).map((w, i) => (
              <li key={i}>
                <b>{sig(w.parts_per_start)} parts a start</b>, {num(w.cost_per_part)} {currency} and {sig(w.attended_minutes_per_part)} attended minutes a part <span class="soft">{w.label}</span>
              </li>
            ))}
          </ul>
        </>
      )}
      <Work does={() => post(`/api/runs/${id}/stop`)} disabled={state.stopping && state.ways.length > 0}>
        {state.ways.length ? `Stop, keep the best of ${plural(state.ways.length, "way")}` : "Stop"}
      </Work>
    </div>
  );
}
