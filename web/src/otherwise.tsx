// The whole way otherwise: what holds it, what cuts it, how many sides, how wide the margins; fitted again and checked.
import { useEffect, useState } from "preact/hooks";
import { post } from "./api";
import { Faults } from "./bits";
import { Check, Choice, Length, Num } from "./fields";
import { len, minutes, sig } from "./format";
import type { Adapted, WayChoices, Terms } from "./types";

interface Wished {
  terms: Terms;
  sides: Record<string, number>;
  grips: Record<string, string>;
  refit: boolean;
  what: string;
}

interface Props {
  address: string;
  terms: Terms;
  step: number;
  locked: number;
  busy: boolean;
  apply: (wished: Wished) => Promise<void>;
}

/** Margins that an engineer may want otherwise for one way: key in the shop file, words, unit. */
const FLOORS: [string, string, string][] = [
  ["cutter", "Cutter and holder to what they don't cut", "mm"],
  ["nose", "Spindle nose to anything", "mm"],
  ["index", "Above the swing while indexing", "mm"],
  ["solid_gap", "Between bodies of two stations", "mm"],
  ["holding", "Holding against a stop", "times"],
  ["holding_friction", "Holding by friction", "times"],
];
const ANY = "";

export function Otherwise({ address, terms, step, locked, busy, apply }: Props) {
  const [choices, setChoices] = useState<WayChoices | null>(null);
  const [error, setError] = useState<Error | null>(null);
  const [open, setOpen] = useState(false);
  useEffect(() => {
    if (open) post<WayChoices>(`${address}/choices`).then((c) => (setChoices(c), setError(null)), setError);
  }, [address, open, step]);
  return (
    <details class="otherwise" onToggle={(e) => setOpen(e.currentTarget.open)}>
      <summary>Hold it, cut it, space it otherwise: clamps, tools, sides, margins</summary>
      <Faults of={error} title="What may be chosen isn't known:" />
      {!choices && !error && <p class="waiting">One moment …</p>}
      {choices && <Form key={step} choices={choices} terms={terms} locked={locked} busy={busy} apply={apply} />}
    </details>
  );
}

function Form({ choices, terms, locked, busy, apply }: { choices: WayChoices; terms: Terms; locked: number; busy: boolean; apply: Props["apply"] }) {
  const held = Object.fromEntries((terms.held_by ?? []).map((o) => [o.feature, o.clamps[0]]));
  const [clamps, setClamps] = useState<Record<string, string>>(held);
  const [grips, setGrips] = useState<Record<string, string>>({});
  const [sides, setSides] = useState<Record<string, number>>({});
  const [floors, setFloors] = useState<Record<string, number | null>>(terms.floors ?? {});
  const [tools, setTools] = useState<Record<string, number | null>>(terms.tools ?? {});
  const [out, setOut] = useState<Record<string, number | null>>(terms.stick_out ?? {});
  const [refit, setRefit] = useState(true);
  const known = (rows: Record<string, number | null>) => Object.fromEntries(Object.entries(rows).filter((r): r is [string, number] => r[1] !== null));
  const names = new Map(choices.tools.map((t) => [t.number, t.name]));
  const next: Terms = {
    ...terms,
    floors: known(floors),
    tools: known(tools),
    stick_out: known(out),
    held_by: Object.entries(clamps).filter(([, c]) => c !== ANY).map(([feature, c]) => ({ feature, clamps: [c] })),
  };
  const words = changes(terms, next, choices, sides, grips);
  const cuttable = choices.features.filter((f) => f.could.length > 1);
  return (
    <form
      onSubmit={(e) => {
        e.preventDefault();
        void apply({ terms: next, sides, grips, refit, what: words.join("; ") });
      }}
    >
      <div class="ask">
        <fieldset>
          <legend>What holds it</legend>
          {choices.operations.map((o) => (
            <div class="grid" key={o.clamping}>
              <Choice
                label={`Operation ${o.number}: only with`}
                value={clamps[o.feature] ?? ANY}
                onInput={(c) => setClamps({ ...clamps, [o.feature]: c })}
                options={[[ANY, `any: ${o.clamps.join(", ") || "no clamp"}`], ...choices.clamps.map((c): [string, string] => [c.id, `${c.id}: ${c.kind}, ${sig(c.force / 1000)} kN`])]}
              />
              {o.grips.length > 1 && (
                <Choice
                  label={`Operation ${o.number}: grip`}
                  value={grips[o.clamping] ?? o.grips.find((g) => g.used)?.id ?? ""}
                  onInput={(g) => setGrips({ ...grips, [o.clamping]: g })}
                  options={o.grips.map((g): [string, string] => [g.id, `${g.id}: ${g.clamps}, holds × ${sig(g.holding)}, cuts in ${minutes(g.seconds)}`])}
                />
              )}
            </div>
          ))}
        </fieldset>
        {choices.pallets.length > 0 && (
          <fieldset>
            <legend>How many sides</legend>
            {choices.pallets.map((p) => (
              <Choice key={p.mount} label={`Sides of ${p.carrier}`} value={String(sides[p.mount] ?? p.sides)} onInput={(n) => setSides(without(sides, p.mount, Number(n), p.sides))} options={p.allowed.map((n): [string, string] => [String(n), n === p.sides ? `${n}, as now` : String(n)])} hint="All its stations are placed anew." />
            ))}
          </fieldset>
        )}
        <fieldset>
          <legend>How wide the margins</legend>
          <div class="grid">
            {FLOORS.map(([key, text, unit]) => {
              const shared = { label: text, min: 0, value: floors[key] ?? null, onInput: (v: number | null) => setFloors({ ...floors, [key]: v }) };
              return unit === "mm" ? <Length key={key} {...shared} placeholder={choices.floors[key]} /> : <Num key={key} {...shared} unit={unit} placeholder={String(choices.floors[key])} />;
            })}
          </div>
          <p class="hint">Empty: as the shop asks. Where the machine measures its tools, half of the cutter's margin is asked.</p>
        </fieldset>
        <fieldset class="whole">
          <legend>What cuts it</legend>
          <div class="grid">
            {cuttable.map((f) => (
              <Choice
                key={`${f.feature} ${f.clamping}`}
                label={f.feature}
                value={String(tools[f.feature] ?? ANY)}
                onInput={(t) => setTools({ ...tools, [f.feature]: t === ANY ? null : Number(t) })}
                options={[[ANY, `now ${f.now.map((t) => `T${t}`).join(", ")}`], ...f.could.map((t): [string, string] => [String(t), `with T${t}`])]}
              />
            ))}
          </div>
          <h4>Stick-out</h4>
          <div class="grid four">
            {choices.tools.map((t) => (
              <Length key={t.number} label={`T${t.number} ${names.get(t.number) ?? ""}`} min={1} value={out[t.number] ?? null} placeholder={t.stick_out} hint={`up to ${len(t.longest)}`} onInput={(v) => setOut({ ...out, [t.number]: v })} />
            ))}
          </div>
        </fieldset>
      </div>
      <Check label={`Fill the sides again${locked ? ` around the ${locked} locked` : ""}; otherwise every station stays where it is`} value={refit} onInput={setRefit} />
      <div class="row">
        <button type="submit" class="main" disabled={busy || !words.length}>Fit it and check</button>
        <span class="note">{words.length ? words.join("; ") : "Nothing is changed yet."}</span>
      </div>
    </form>
  );
}

function without(now: Record<string, number>, key: string, value: number, as: number): Record<string, number> {
  const { [key]: _, ...rest } = now;
  return value === as ? rest : { ...rest, [key]: value };
}

/** What is asked, in words; empty where nothing is. */
export function changes(before: Terms, after: Terms, choices: WayChoices, sides: Record<string, number>, grips: Record<string, string>): string[] {
  const rows: string[] = [];
  const told = (kind: "floors" | "tools" | "stick_out", text: (key: string, value: number | undefined) => string) => {
    const [a, b] = [before[kind] ?? {}, after[kind] ?? {}];
    for (const key of new Set([...Object.keys(a), ...Object.keys(b)])) if (a[key] !== b[key]) rows.push(text(key, b[key]));
  };
  const margin = new Map(FLOORS.map(([k, t]) => [k, t]));
  for (const o of choices.operations) {
    const [a, b] = [before, after].map((t) => (t.held_by ?? []).find((h) => h.feature === o.feature)?.clamps.join(", "));
    if (a !== b) rows.push(b ? `operation ${o.number} held by ${b}` : `operation ${o.number} held by whatever holds best`);
    const grip = grips[o.clamping];
    if (grip && !o.grips.find((g) => g.id === grip)?.used) rows.push(`operation ${o.number} with grip ${grip}`);
  }
  for (const p of choices.pallets) if (sides[p.mount]) rows.push(`${p.carrier} with ${sides[p.mount]} sides`);
  told("floors", (k, v) => `${margin.get(k) ?? k}: ${v === undefined ? "as the shop asks" : k.startsWith("holding") ? `× ${sig(v)}` : len(v)}`);
  told("tools", (k, v) => (v === undefined ? `${k} with its quickest tool` : `${k} with T${v}`));
  told("stick_out", (k, v) => (v === undefined ? `T${k} with its usual stick-out` : `T${k} sticking out ${len(v)}`));
  return rows;
}

/** What fitting gave, in a sentence. */
export function fitted(made: Adapted): string {
  const [before, after] = [made.before, made.parts].map((p) => p.join(" + "));
  const bound = made.bound ? `; at most ${made.bound.join(" + ")} are possible with these carriers and grips` : "";
  const count = before === after ? `${after} parts a start as before` : `${after} parts a start instead of ${before}`;
  return [...made.notes, `${count}${bound}`].join(". ") + ".";
}
