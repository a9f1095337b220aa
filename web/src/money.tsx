// What a part costs as a stack beside today's, and when the money comes back.
import { num, sig } from "./format";
import type { Way } from "./types";

export const SHARES: [string, string][] = [
  ["material", "material"],
  ["machine", "machine"],
  ["labour", "people"],
  ["tools", "tools"],
  ["fixture", "fixture"],
  ["setup", "setting up"],
  ["bench", "bench"],
  ["wash", "washing"],
  ["inspection", "inspection"],
  ["scrap", "scrap"],
];

export function MoneyStack({ ways, currency }: { ways: Way[]; currency: string }) {
  const shown = ways.filter((w) => w.cost);
  if (!shown.length) return <p class="empty">No costs are known.</p>;
  const most = Math.max(...shown.map((w) => w.cost_per_part ?? 0), 0.01);
  return (
    <div class="stack">
      {shown.map((w) => {
        let from = 0;
        return (
          <div class="stack-row" key={w.name}>
            <span class="stack-name">{w.name}</span>
            <svg viewBox="0 0 600 30" role="img" aria-label={`${w.name}: ${SHARES.map(([k, t]) => `${t} ${num(w.cost?.[k])}`).join(", ")}`} preserveAspectRatio="none">
              {SHARES.map(([key, word], i) => {
                const wide = ((w.cost?.[key] ?? 0) / most) * 600;
                from += wide;
                return (
                  <rect key={key} class={`share s${i}`} x={from - wide} y={3} width={Math.max(wide - 1, 0)} height={24}>
                    <title>{`${word}: ${num(w.cost?.[key])} ${currency}`}</title>
                  </rect>
                );
              })}
            </svg>
            <b>
              {num(w.cost_per_part)} {currency}
              {w.cost_range && <small>{num(w.cost_range[0])} to {num(w.cost_range[1])}</small>}
            </b>
          </div>
        );
      })}
      <p class="key">
        {SHARES.map(([key, word], i) => (
          <span key={key}>
            <i class={`sw s${i}`} />
            {word}
          </span>
        ))}
      </p>
    </div>
  );
}

/** Saved money less capital over months, with the range that it likely falls in. */
export function PayCurve({ way, currency, limit }: { way: Way; currency: string; limit: number }) {
  const back = way.payback;
  if (!back || back.months === null) return <p class="note">{back ? "There is no saving to pay the capital back." : "Without today's way nobody can say when it pays back."}</p>;
  const months = Math.max(12, Math.ceil(Math.max(back.high, back.months, limit) * 1.15));
  const gain = (m: number, pay: number) => (pay > 0 ? (way.capital / pay) * m : 0) - way.capital;
  const best = gain(months, back.low);
  const [low, high] = [-way.capital * 1.1, Math.max(best, way.capital * 0.5)];
  const x = (m: number) => 56 + (m / months) * 520;
  const y = (v: number) => 190 - ((v - low) / (high - low || 1)) * 175;
  const to = (pay: number) => `L ${x(months)} ${y(gain(months, pay))}`;
  return (
    <figure>
      <svg class="curve" viewBox="0 0 600 220" role="img" aria-label={`Pays back after ${sig(back.months)} months, likely ${sig(back.low)} to ${sig(back.high)}`}>
        <path class="band" d={`M ${x(0)} ${y(-way.capital)} ${to(back.low)} ${to(back.high)} Z`} />
        <line class="axisline" x1={x(0)} x2={x(months)} y1={y(0)} y2={y(0)} />
        <path class="line" d={`M ${x(0)} ${y(-way.capital)} ${to(back.months)}`} />
        <line class="limit" x1={x(limit)} x2={x(limit)} y1={15} y2={190} />
        <text x={x(limit) - 4} y={24} class="tick end">limit {sig(limit)} months</text>
        <text x={50} y={y(0) + 4} class="tick end">0</text>
        <text x={50} y={y(-way.capital) + 4} class="tick end">−{num(way.capital, 0)}</text>
        {[0, 0.25, 0.5, 0.75, 1].map((f) => (
          <text key={f} x={x(f * months)} y={208} class="tick mid">{sig(Math.round(f * months))}</text>
        ))}
      </svg>
      <figcaption>
        Money over months, {currency}: {num(way.capital, 0)} spent once is back after {sig(back.months)} months, likely {sig(back.low)} to {sig(back.high)}. {num(back.saving_per_year, 0)} saved a year. What moves it most: {back.matters_most.slice(0, 3).map((m) => m[0]).join(", ")}.
      </figcaption>
    </figure>
  );
}
