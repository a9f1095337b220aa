// The money again with other numbers; kept with the way only where that is asked.
import { useState } from "preact/hooks";
import { post } from "./api";
import { Work } from "./bits";
import { Num } from "./fields";
import { num, sig } from "./format";
import { MoneyStack, PayCurve } from "./money";
import type { Plan, Terms, TodayStep, Way, WholeWay } from "./types";

type Now = NonNullable<Terms["today"]>[string];
const TIMES: [keyof Now, string, string][] = [
  ["parts_per_start", "parts a start", ""],
  ["cycle_seconds", "machine runs", "s"],
  ["load_seconds", "loading", "s"],
];

/** Only those numbers of today that differ from what the job tells. */
export function differing(told: TodayStep[], now: Record<string, Now>): Terms["today"] {
  const rows = Object.entries(now).map(([at, row]): [string, Now] => {
    const step = told[Number(at)] as unknown as Record<string, unknown>;
    return [at, Object.fromEntries(Object.entries(row).filter(([k, v]) => v !== null && v !== undefined && v !== step?.[k]))];
  });
  return Object.fromEntries(rows.filter(([, row]) => Object.keys(row).length));
}

export function WhatIf({ plan, way, address, again }: { plan: Plan; way: WholeWay; address: string; again: () => Promise<void> }) {
  const kept = way.state.terms;
  const [perYear, setPerYear] = useState<number | null>(kept.per_year ?? plan.job.per_year);
  const [operator, setOperator] = useState<number | null>(kept.rates?.operator ?? Number(plan.rates.operator ?? 0));
  const [sets, setSets] = useState<number | null>(way.timing?.sets ?? 1);
  const [today, setToday] = useState<Record<string, Now>>(kept.today ?? {});
  const [found, setFound] = useState<{ way: Way; today: Way } | null>(null);
  const terms: Terms = {
    ...(perYear !== null && perYear !== plan.job.per_year ? { per_year: perYear } : {}),
    ...(operator !== null && operator !== plan.rates.operator ? { rates: { operator } } : {}),
    today: differing(plan.job.today, today),
  };
  const same = JSON.stringify({ ...terms }) === JSON.stringify({ ...(kept.per_year ? { per_year: kept.per_year } : {}), ...(kept.rates ? { rates: kept.rates } : {}), today: kept.today ?? {} });
  const keep = async () => {
    const { per_year: _, rates: __, today: ___, ...others } = kept;
    const design = way.state.design ?? way.design;
    await post(`${address}/steps`, { step: way.state.step, what: "other numbers of the office", design, terms: { ...others, ...terms } });
    await post(`${address}/check`);
    setFound(null);
    await again();
  };
  return (
    <details>
      <summary>What if the numbers were others?</summary>
      <div class="grid">
        <Num label="Parts a year" value={perYear} min={1} step={1} onInput={setPerYear} />
        <Num label="An operator's hour" unit={plan.currency} value={operator} min={0} onInput={setOperator} />
        <Num label="Sets of carriers" value={sets} min={1} step={1} onInput={setSets} />
      </div>
      {plan.job.today.map((step, i) => (
        <fieldset key={i}>
          <legend>Today: {step.operation || `operation ${10 * (i + 1)}`}</legend>
          <div class="grid four">
            {TIMES.map(([key, text, unit]) => (
              <Num key={key} label={text} unit={unit} min={0} value={today[i]?.[key] ?? step[key]} onInput={(v) => setToday({ ...today, [i]: { ...today[i], [key]: v ?? undefined } })} />
            ))}
          </div>
        </fieldset>
      ))}
      <div class="row">
        <Work does={async () => setFound(await post<{ way: Way; today: Way }>(`${address}/numbers`, { sets, terms: { ...terms } }))}>Reckon again</Work>
        <Work does={keep} disabled={same}>Keep these numbers with this way</Work>
        <span class="note">Sets are not kept; ways with other numbers of sets stand among the plan's own.</span>
      </div>
      {found && (
        <div aria-live="polite">
          <p>
            <b>{num(found.way.cost_per_part)} {plan.currency}</b> a part instead of {num(found.today.cost_per_part)} today; {num(found.way.capital, 0)} to spend once, back after{" "}
            {found.way.payback?.months != null ? `${sig(found.way.payback.months)} months` : "no time: nothing is saved"}.
          </p>
          <MoneyStack ways={[found.today, { ...found.way, name: "then" }]} currency={plan.currency} />
          <PayCurve way={found.way} currency={plan.currency} limit={Number(plan.rates.payback_limit_months ?? 18)} />
        </div>
      )}
    </details>
  );
}
