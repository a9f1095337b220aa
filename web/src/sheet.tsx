// Pages for a tablet at the machine: load the stations, prove the first start. Every tick is kept with the plan.
import { useState } from "preact/hooks";
import { get, put } from "./api";
import { Faults, Loaded, useFetched } from "./bits";
import { len, minutes, num, when } from "./format";
import { CAUTION } from "./questions";
import { SideMap } from "./sideplan";
import type { Side } from "./types";

interface Sheet {
  title: string;
  way: string;
  label: string;
  seconds: number[];
  stations: { name: string; operation: number; side: string; mount: string; x: number; y: number; turn: number }[];
  operations: { number: number; grip: { kind: string; notes: string[] }; features: string[] }[];
  tools: { number: number; name: string; gauge: number }[];
  facts: { at: unknown; kind: string; value: string }[];
  sides: Side[];
  ticks: Record<string, { value: string; at: string }>;
}

const PROVE = [
  ["guards", "Guards closed, door interlock works"],
  ["offsets", "Work offsets set from the measured master point, for the carrier that is in"],
  ["lengths", "Every tool's measured length compared with the plan (±1 mm)"],
  ["clamps", "Every clamp checked by hand, at its torque"],
  ["single", "Program run single-block at reduced rapid, one station complete first"],
  ["index", "Every index turned once without cutting, hand on the feed hold"],
  ["first", "First part of every operation measured before the next start"],
];

export function SheetView({ id, way, page }: { id: string; way: number; page: string }) {
  const sheet = useFetched(() => get<Sheet>(`/api/plans/${id}/ways/${way}/sheet`), [id, way]);
  return <Loaded of={sheet}>{(data) => <Shown sheet={data} id={id} way={way} page={page} />}</Loaded>;
}

function Shown({ sheet, id, way, page }: { sheet: Sheet; id: string; way: number; page: string }) {
  const [ticks, setTicks] = useState(sheet.ticks);
  const [error, setError] = useState<Error | null>(null);
  const tick = async (item: string, value: string) => {
    const before = ticks;
    const { [item]: _, ...rest } = ticks;
    setTicks(value ? { ...rest, [item]: { value, at: new Date().toISOString() } } : rest);
    setError(null);
    try {
      await put(`/api/plans/${id}/ways/${way}/ticks`, { item, value });
    } catch (caught) {
      setTicks(before);
      setError(caught as Error);
    }
  };
  const sides = [...new Set(sheet.stations.map((s) => `${s.mount}|${s.side}`))];
  const loaded = sheet.stations.filter((s) => ticks[`load ${s.name}`]).length;
  const clear = async () => {
    for (const s of sheet.stations) if (ticks[`load ${s.name}`]) await tick(`load ${s.name}`, "");
    setTicks((t) => Object.fromEntries(Object.entries(t).filter(([k]) => !k.startsWith("load "))));
  };
  return (
    <div class="sheet">
      <nav class="tabs" aria-label="Sheets">
        <a href={`#/machine/${id}/${way}/load`} aria-current={page === "load" ? "page" : undefined}>Load</a>
        <a href={`#/machine/${id}/${way}/prove`} aria-current={page === "prove" ? "page" : undefined}>Prove out</a>
        <a href={`#/plan/${id}/start/${way}`}>Back to the plan</a>
      </nav>
      <h1>{page === "load" ? "Load" : "Prove out"}: {sheet.title}</h1>
      <p class="soft">{sheet.way}, {sheet.label}</p>
      <Faults of={error} title="That was not kept:" />
      {page === "load" ? (
        <>
          <p aria-live="polite"><b>{loaded} of {sheet.stations.length}</b> stations loaded. The machine runs {sheet.seconds.map((s) => minutes(s)).join(", then ")}; started now, it is done at {doneAt(sheet.seconds)}.</p>
          <progress value={loaded} max={sheet.stations.length} aria-label="Stations loaded" />
          {sides.map((key) => (
            <section key={key}>
              <h2>Side {key.split("/").pop()} of {key.split("|")[0]}</h2>
              {sheet.sides.filter((d) => `${d.mount}|${d.side}` === key).map((d) => <SideMap key={key} side={d} loaded={(n) => !!ticks[`load ${n}`]} />)}
              <div class="ticks">
                {sheet.stations.filter((s) => `${s.mount}|${s.side}` === key).map((s) => (
                  <TickBox key={s.name} on={!!ticks[`load ${s.name}`]} at={ticks[`load ${s.name}`]?.at} onTick={(on) => void tick(`load ${s.name}`, on ? "loaded" : "")} text={`${s.name}`} more={`operation ${s.operation}`} />
                ))}
              </div>
            </section>
          ))}
          <button type="button" class="next" onClick={() => void clear()}>Next load: untick all</button>
        </>
      ) : (
        <>
          <p class="caution">{CAUTION}</p>
          <section>
            <h2>Before the first start</h2>
            <div class="ticks one">
              {PROVE.map(([key, text]) => (
                <TickBox key={key} on={!!ticks[`prove ${key}`]} at={ticks[`prove ${key}`]?.at} onTick={(on) => void tick(`prove ${key}`, on ? "done" : "")} text={text} />
              ))}
            </div>
          </section>
          <section>
            <h2>Tools</h2>
            <div class="ticks one">
              {sheet.tools.map((t) => (
                <Value key={t.number} label={`T${t.number} ${t.name}, gauge length planned ${len(t.gauge)}`} hint="measured gauge length, mm" short={offBy(ticks[`length T${t.number}`]?.value, t.gauge)} kept={ticks[`length T${t.number}`]} keep={(v) => void tick(`length T${t.number}`, v)} />
              ))}
            </div>
          </section>
          <section>
            <h2>Measured on the first parts</h2>
            <div class="ticks one">
              {sheet.facts.map((f, i) => (
                <Value key={i} label={`${f.kind} ${f.value}${Array.isArray(f.at) ? ` at (${f.at.map((v) => num(Number(v), 1)).join(", ")})` : ` at ${String(f.at)}`}`} hint="measured" kept={ticks[`fact ${i}`]} keep={(v) => void tick(`fact ${i}`, v)} />
              ))}
              {!sheet.facts.length && <p class="empty">The job names no drawing facts to measure.</p>}
            </div>
          </section>
          <section>
            <h2>Times as they were</h2>
            <div class="ticks one">
              {sheet.seconds.map((s, i) => <Value key={i} label={`Start ${i + 1}, planned ${minutes(s)}`} hint="machine ran, s" kept={ticks[`seconds ${i}`]} keep={(v) => void tick(`seconds ${i}`, v)} />)}
              <Value label="Loading a whole set" hint="s" kept={ticks["loading"]} keep={(v) => void tick("loading", v)} />
            </div>
          </section>
        </>
      )}
    </div>
  );
}

function TickBox({ on, at, onTick, text, more }: { on: boolean; at?: string; onTick: (on: boolean) => void; text: string; more?: string }) {
  return (
    <label class={`tickbox${on ? " on" : ""}`}>
      <input type="checkbox" checked={on} onChange={(e) => onTick(e.currentTarget.checked)} />
      <span>
        <b>{text}</b>
        {more && <small>{more}</small>}
        {on && at && <small>{when(at)}</small>}
      </span>
    </label>
  );
}

/** The clock time at which a start that begins now has ended. */
export function doneAt(seconds: number[], now = Date.now()): string {
  return new Date(now + 1000 * seconds.reduce((a, b) => a + b, 0)).toLocaleTimeString(undefined, { hour: "2-digit", minute: "2-digit" });
}

/** A sentence where a measured length is more than 1 mm off the plan's. */
export function offBy(measured: string | undefined, planned: number): string {
  const value = Number((measured ?? "").replace(",", "."));
  if (!measured || !Number.isFinite(value) || Math.abs(value - planned) <= 1) return "";
  return `${len(value - planned)} off: more than 1 mm. Don't start; put it into the shop and plan again.`;
}

function Value({ label, hint, kept, keep, short }: { label: string; hint: string; short?: string; kept?: { value: string; at: string }; keep: (v: string) => void }) {
  return (
    <label class="valuebox">
      <span>
        <b>{label}</b>
        {short && <span class="short">! {short}</span>}
        <small>{hint}{kept ? `, kept ${when(kept.at)}` : ""}</small>
      </span>
      <input type="text" inputMode="decimal" defaultValue={kept?.value ?? ""} onChange={(e) => keep(e.currentTarget.value.trim())} />
    </label>
  );
}
