// The money again with other numbers; nothing of it is kept.
import { useState } from "preact/hooks";
import { post } from "./api";
import { Work } from "./bits";
import { Num } from "./fields";
import { num, sig } from "./format";
import { MoneyStack, PayCurve } from "./money";
import type { Plan, Way, WholeWay } from "./types";

export function WhatIf({ plan, way, address }: { plan: Plan; way: WholeWay; address: string }) {
  const [perYear, setPerYear] = useState<number | null>(plan.job.per_year);
  const [operator, setOperator] = useState<number | null>(Number(plan.rates.operator ?? 0));
  const [pace, setPace] = useState<number | null>(100);
  const [sets, setSets] = useState<number | null>(way.timing?.sets ?? 1);
  const [found, setFound] = useState<{ way: Way; today: Way } | null>(null);
  const ask = async () => {
    const said = { per_year: perYear, sets, today_pace: pace === null ? null : pace / 100, rates: operator === null ? {} : { operator } };
    setFound(await post<{ way: Way; today: Way }>(`${address}/numbers`, said));
  };
  return (
    <details>
      <summary>What if the numbers were others?</summary>
      <div class="grid">
        <Num label="Parts a year" value={perYear} min={1} step={1} onInput={setPerYear} />
        <Num label="An operator's hour" unit={plan.currency} value={operator} min={0} onInput={setOperator} />
        <Num label="Sets of carriers" value={sets} min={1} step={1} onInput={setSets} />
        <Num label="Today's times" unit="% of those told" value={pace} min={1} onInput={setPace} />
      </div>
      <Work does={ask}>Reckon again</Work>
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
