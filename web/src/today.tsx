// The present way, operation by operation.
import { Check, Choice, Num, Text } from "./fields";
import { plural, sig } from "./format";
import type { Choices, TodayStep } from "./types";

const EMPTY: TodayStep = { operation: "", parts_per_start: null, cycle_seconds: null, load_seconds: null };

/** Starts and attended minutes a part of the steps that are told in full. */
export function sums(steps: TodayStep[]): { starts: number; attended: number } | null {
  let starts = 0;
  let attended = 0;
  for (const s of steps) {
    if (!s.parts_per_start || !s.cycle_seconds || !s.load_seconds) return null;
    starts += 1 / s.parts_per_start;
    attended += ((s.attended ?? true ? s.cycle_seconds : 0) + s.load_seconds) / 60 / s.parts_per_start;
  }
  return steps.length ? { starts, attended } : null;
}

export function TodaySteps({ steps, machines, onChange }: { steps: TodayStep[]; machines: Choices["machines"]; onChange: (steps: TodayStep[]) => void }) {
  const set = (at: number, more: Partial<TodayStep>) => onChange(steps.map((s, i) => (i === at ? { ...s, ...more } : s)));
  const sum = sums(steps);
  return (
    <div class="steps">
      {steps.map((s, i) => (
        <fieldset key={i}>
          <legend>Operation {10 * (i + 1)} of today</legend>
          <div class="grid">
            <Text label="What is done" value={s.operation} onInput={(operation) => set(i, { operation })} />
            <Choice label="Machine" value={s.machine ?? ""} onInput={(v) => set(i, { machine: v || null })} options={[["", "not said"], ...machines.map((m): [string, string] => [m.id, m.name || m.id])]} />
          </div>
          <div class="grid four">
            <Num label="Parts a start" value={s.parts_per_start} min={1} step={1} onInput={(v) => set(i, { parts_per_start: v })} />
            <Num label="Machine runs" unit="s" value={s.cycle_seconds} min={0} onInput={(v) => set(i, { cycle_seconds: v })} />
            <Num label="Loading" unit="s" value={s.load_seconds} min={0} onInput={(v) => set(i, { load_seconds: v })} />
          </div>
          <div class="row spread">
            <span>
              <Check label="Somebody must stand there while it runs" value={s.attended ?? true} onInput={(attended) => set(i, { attended })} />
              <Check label="Measured with a watch" value={s.measured ?? false} onInput={(measured) => set(i, { measured })} />
            </span>
            <button type="button" class="quiet" onClick={() => onChange(steps.filter((_, k) => k !== i))}>Take out operation {10 * (i + 1)}</button>
          </div>
        </fieldset>
      ))}
      <div class="row spread">
        <button type="button" onClick={() => onChange([...steps, EMPTY])}>{steps.length ? "Add an operation" : "Tell how it is made today"}</button>
        {sum && <span class="soft">Today: {plural(Number(sig(sum.starts)), "start")} and {sig(sum.attended)} attended minutes a part</span>}
      </div>
      {!steps.length && <p class="note">Without it the plan can't say what is saved; everything else works.</p>}
    </div>
  );
}
