// The job as it is asked: how the part is made today and what hurts, the part, its material and quantity; then the plan.
import { useCallback, useEffect, useRef, useState } from "preact/hooks";
import { call, download, get, post, put, Refused, upload, type Fault } from "./api";
import { Faults, Loaded, useFetched, Work } from "./bits";
import { Drop } from "./drop";
import { Check, Choice, Num, Text } from "./fields";
import { plural, size, when } from "./format";
import { Part3d } from "./part3d";
import { RunPanel } from "./run";
import { TodaySteps } from "./today";
import type { Choices, Draft, Job, Part } from "./types";

const PAUSE = 400; // ms after the last key until a draft is kept

export function JobView({ id }: { id: string }) {
  const job = useFetched(() => get<Job>(`/api/jobs/${id}`), [id]);
  return <Loaded of={job}>{(data) => <Written job={data} again={job.again} key={data.id} />}</Loaded>;
}

/** Keeps the draft a moment after it was changed; says how that went. */
function useKept(job: Job) {
  const [draft, setDraft] = useState<Draft>(job.draft);
  const [name, setName] = useState(job.name);
  const [shop, setShop] = useState(job.shop);
  const [word, setWord] = useState("kept");
  const [error, setError] = useState<Error | null>(null);
  const revision = useRef(job.revision);
  const latest = useRef({ draft, name, shop });
  latest.current = { draft, name, shop };
  const timer = useRef(0);
  const dirty = useRef(false);
  const line = useRef<Promise<void>>(Promise.resolve());
  const keep = useCallback((): Promise<void> => {
    clearTimeout(timer.current);
    line.current = line.current.then(async () => {
      if (!dirty.current) return;
      dirty.current = false;
      try {
        const answer = await put<{ revision: number }>(`/api/jobs/${job.id}/draft`, { revision: revision.current, ...latest.current });
        revision.current = answer.revision;
        setWord("kept");
        setError(null);
      } catch (caught) {
        dirty.current = true;
        setWord("not kept");
        setError(caught as Error);
      }
    });
    return line.current;
  }, [job.id]);
  const changed = () => {
    dirty.current = true;
    setWord("…");
    clearTimeout(timer.current);
    timer.current = window.setTimeout(() => void keep(), PAUSE);
  };
  useEffect(() => {
    const hidden = () => document.visibilityState === "hidden" && void keep();
    document.addEventListener("visibilitychange", hidden);
    return () => {
      document.removeEventListener("visibilitychange", hidden);
      void keep();
    };
  }, [keep]);
  return {
    draft, name, shop, word, error, keep,
    set: (more: Partial<Draft>) => { setDraft((d) => ({ ...d, ...more })); changed(); },
    setName: (n: string) => { setName(n); changed(); },
    setShop: (s: string | null) => { setShop(s); changed(); },
    taken: (answer: { revision: number; draft: Draft; name: string }) => { revision.current = answer.revision; setDraft(answer.draft); setName(answer.name); },
  };
}

function Written({ job, again }: { job: Job; again: () => Promise<void> }) {
  const kept = useKept(job);
  const { draft, set } = kept;
  const [part, setPart] = useState<Part | null>(job.part);
  const [refused, setRefused] = useState<{ error: Error; file: File } | null>(null);
  const choices = useFetched(() => get<Choices>(`/api/jobs/${job.id}/choices`), [job.id, kept.shop, kept.word === "kept"]);
  const [faults, setFaults] = useState<Fault[]>([]);
  const [run, setRun] = useState<string | null>(job.runs.find((r) => r.state === "running")?.id ?? null);
  const interrupted = job.runs[0]?.state === "interrupted" && !run ? job.runs[0].message : "";
  const give = async (file: File, solid?: number) => {
    setRefused(null);
    await kept.keep();
    try {
      const answer = await upload<{ part: Part; revision: number; draft: Draft; name: string }>(`/api/jobs/${job.id}/part${solid ? `?solid=${solid}` : ""}`, [file]);
      kept.taken(answer);
      setPart(answer.part);
    } catch (error) {
      setRefused({ error: error as Error, file });
    }
  };
  const plan = async () => {
    await kept.keep();
    const checked = await get<{ ready: boolean; faults: Fault[] }>(`/api/jobs/${job.id}/check`);
    setFaults(checked.faults);
    if (!checked.ready) return document.getElementById("faults")?.scrollIntoView({ block: "center" });
    setRun((await post<{ run: string }>(`/api/jobs/${job.id}/run`)).run);
  };
  const fault = (key: string) => faults.find((f) => f.key === key)?.problem;
  const many = refused?.error instanceof Refused ? refused.error.faults.find((f) => f.key === "solid") : undefined;
  const blank = (draft.blank ?? {}) as Record<string, unknown>;
  return (
    <div class="job">
      <div class="title-row">
        <h1>{kept.name || "A new job"}</h1>
        <span class="soft" role="status">{kept.word === "kept" ? "everything is kept" : kept.word === "…" ? "keeping …" : "not kept yet"}</span>
      </div>
      <Faults of={kept.error} />
      {interrupted && <p class="notice">{interrupted}</p>}
      <div class="two">
        <div>
          <section aria-labelledby="h-today">
            <h2 id="h-today">How is the part made today, and what hurts?</h2>
            <Text label="What hurts" long value={draft.pain ?? ""} onInput={(pain) => set({ pain })} hint="In your own words; it stands on the plan. For instance: somebody reloads two vises every ten minutes." />
            <TodaySteps steps={draft.today ?? []} machines={choices.data?.machines ?? []} onChange={(today) => set({ today })} />
          </section>
          <section aria-labelledby="h-asked">
            <h2 id="h-asked">What is asked?</h2>
            <div class="grid">
              <Text label="Name" value={kept.name} onInput={kept.setName} />
              <Text label="Material" value={draft.material ?? ""} onInput={(material) => set({ material })} fault={fault("material")} list={choices.data?.materials.flatMap((m) => [m.id, ...m.aliases]) ?? []} hint="Any of the names that your shop's list knows." />
              <Num label="Parts a year" value={draft.per_year} min={1} step={1} onInput={(per_year) => set({ per_year })} fault={fault("per_year")} />
              <Num label="Made at a time" value={draft.batch} min={1} step={1} onInput={(batch) => set({ batch })} fault={fault("batch")} placeholder="as it comes" />
            </div>
            <fieldset>
              <legend>Machines that may be used</legend>
              {choices.data?.machines.map((m) => (
                <Check key={m.id} label={`${m.name || m.id}${m.rotary && !/rotary/i.test(m.name) ? ", rotary axis" : ""}`} value={!draft.machines?.length || draft.machines.includes(m.id)} onInput={(on) => set({ machines: chosenMachines(choices.data!, draft.machines, m.id, on) })} />
              ))}
            </fieldset>
            <details>
              <summary>Everything else has a default: blank, sets, effort, shop</summary>
              <div class="grid">
                <Choice label="Blank" value={String(blank.kind ?? "block")} onInput={(kind) => set({ blank: { ...blank, kind } })} options={[["block", "sawn block"], ["round", "round bar"], ["finished", "as the part already is"]]} />
                <Num label="To remove on each face" unit="mm" value={(blank.allowance as number) ?? null} placeholder="1.5" min={0} onInput={(v) => set({ blank: without(blank, "allowance", v) })} fault={fault("blank.allowance")} />
                <Num label="Size of the blank ±" unit="mm" value={(blank.tolerance as number) ?? null} placeholder="0.5" min={0} onInput={(v) => set({ blank: without(blank, "tolerance", v) })} fault={fault("blank.tolerance")} />
                <Num label="Extra below to grip it by" unit="mm" value={(blank.grip_stock as number) ?? null} placeholder="as the plan finds" min={0} onInput={(v) => set({ blank: without(blank, "grip_stock", v) })} fault={fault("blank.grip_stock")} />
                <Text label="Its own size, x y z in mm" value={Array.isArray(blank.size) ? blank.size.join(" ") : String(blank.size ?? "")} onInput={(v) => set({ blank: without(blank, "size", threeNumbers(v)) })} fault={fault("blank.size")} hint="Empty: from the part's size and what is to be removed." />
                <Num label="Price of a blank" unit={choices.data?.currency} value={(blank.price as number) ?? null} placeholder="from its mass" min={0} onInput={(v) => set({ blank: without(blank, "price", v) })} fault={fault("blank.price")} />
                <Num label="Sets of carriers at most" value={draft.greatest_sets ?? null} placeholder="2" min={1} step={1} onInput={(v) => set({ greatest_sets: v ?? undefined })} fault={fault("greatest_sets")} />
                <Choice label="Effort of the search" value={String(draft.effort ?? 1)} onInput={(v) => set({ effort: Number(v) })} options={[["1", "quick"], ["3", "more"], ["10", "thorough"]]} />
                <ShopChoice value={kept.shop} onInput={kept.setShop} />
              </div>
              <Check label="A plan may leave material that no tool reaches; it is then named" value={draft.allow_left_over ?? true} onInput={(v) => set({ allow_left_over: v })} />
            </details>
            <JobAsText id={job.id} keep={kept.keep} taken={kept.taken} />
          </section>
        </div>
        <div class="part-side">
          <section aria-labelledby="h-part">
            <h2 id="h-part">The part</h2>
            {part && <Part3d id={part.id} name={part.name} />}
            {part && (
              <p class="note">
                {part.file}: {size(part.size_mm)}, {plural(part.faces, "face")}, file in {part.unit}.{part.notes.map((n) => ` ${n}.`)}
              </p>
            )}
            <Drop label={part ? "Drop another STEP file, or choose one" : "Drop a STEP file, or choose one"} onFile={(f) => give(f)} />
            {refused && !many && <Faults of={refused.error} title="This file can't be used:" />}
            {refused && many && (
              <div class="faults" role="alert">
                <strong>{many.problem}.</strong>
                <p>Which of them is the part?</p>
                <div class="row">
                  {Array.from({ length: Math.min(12, Number(/1\.\.(\d+)/.exec(many.allowed ?? "")?.[1] ?? 0)) }, (_, k) => (
                    <button type="button" key={k} onClick={() => void give(refused.file, k + 1)}>Solid {k + 1}</button>
                  ))}
                </div>
              </div>
            )}
          </section>
          <section aria-labelledby="h-plan" class="go">
            <h2 id="h-plan">The plan</h2>
            <div id="faults">
              <Faults of={faults} title="Before it can be planned:" />
            </div>
            {!run && <Work kind="main" does={plan} disabled={!part} title={part ? undefined : "needs a part"}>Plan it</Work>}
            {!part && <p class="note">It needs a part, a material and a quantity.</p>}
            {run && <RunPanel id={run} currency={choices.data?.currency ?? ""} onEnd={(made) => { if (made) location.hash = `#/plan/${made}/ways`; void again(); }} onAgain={() => setRun(null)} />}
            {job.plans.length > 0 && (
              <>
                <h3>Plans of this job</h3>
                <ul class="plain">
                  {job.plans.map((p) => (
                    <li key={p.id}>
                      <a href={`#/plan/${p.id}/part`}>{p.title}</a> <span class="soft">{when(p.made)}</span>
                    </li>
                  ))}
                </ul>
              </>
            )}
          </section>
          <details>
            <summary>History, a copy, throwing away</summary>
            <ul class="plain small">
              {job.past.map((p, i) => (
                <li key={i}><span class="soft">{when(p.at)}</span> {p.what}</li>
              ))}
            </ul>
            <div class="row">
              <Work does={() => download(`/api/jobs/${job.id}/archive`)}>Keep a copy as a file</Work>
              <Work
                kind="danger"
                does={async () => {
                  if (!confirm(`Throw “${kept.name || "this job"}” away with its plans?`)) return;
                  await call("DELETE", `/api/jobs/${job.id}`);
                  location.hash = "#/";
                }}
              >
                Throw this job away
              </Work>
            </div>
          </details>
        </div>
      </div>
    </div>
  );
}

interface Taken {
  revision: number;
  draft: Draft;
  name: string;
}

/** The whole job as its file says it: drawing facts, known operations, overrides and every other key. */
function JobAsText({ id, keep, taken }: { id: string; keep: () => Promise<void>; taken: (t: Taken) => void }) {
  const [text, setText] = useState<{ text: string; revision: number } | null>(null);
  const open = async () => {
    await keep();
    setText(await get<{ text: string; revision: number }>(`/api/jobs/${id}/text`));
  };
  return (
    <details onToggle={(e) => void (e.currentTarget.open && open())}>
      <summary>The whole job as text: drawing facts, known operations, what you know about single features</summary>
      {text && (
        <>
          <textarea class="code" rows={18} spellcheck={false} aria-label="The job as TOML" value={text.text} onInput={(e) => setText({ ...text, text: e.currentTarget.value })} />
          <div class="row">
            <Work
              does={async () => {
                const kept = await put<Taken>(`/api/jobs/${id}/text`, text);
                taken(kept);
                await open();
              }}
            >
              Keep this text
            </Work>
            <span class="note">Every key of the job file counts here; it is checked when you plan.</span>
          </div>
        </>
      )}
    </details>
  );
}

/** Three lengths from a text; the text itself while it isn't three numbers yet, so that the check can say so. */
export function threeNumbers(text: string): number[] | string | null {
  if (!text.trim()) return null;
  const found = text.trim().split(/[\s×x;]+/).map((t) => Number(t.replace(",", ".")));
  return found.length === 3 && found.every((n) => Number.isFinite(n) && n > 0) && !/[\s.,]$/.test(text) ? found : text;
}

function without(table: Record<string, unknown>, key: string, value: unknown): Record<string, unknown> {
  const { [key]: _, ...rest } = table;
  return value === null ? rest : { ...rest, [key]: value };
}

/** All machines is the same as none named. */
export function chosenMachines(choices: Choices, now: string[] | undefined, id: string, on: boolean): string[] {
  const all = choices.machines.map((m) => m.id);
  const before = now?.length ? now : all;
  const after = all.filter((m) => (m === id ? on : before.includes(m)));
  return after.length === all.length || after.length === 0 ? [] : after;
}

function ShopChoice({ value, onInput }: { value: string | null; onInput: (v: string | null) => void }) {
  const start = useFetched(() => get<{ shops: { id: string; name: string }[] }>("/api/start"), []);
  const options: [string, string][] = [["", "the shop that comes with the program"], ...(start.data?.shops.map((s): [string, string] => [s.id, s.name]) ?? [])];
  return <Choice label="Shop" value={value ?? ""} onInput={(v) => onInput(v || null)} options={options} hint={<a href={`#/shop/${value ?? "example"}`}>Look at it, change it</a>} />;
}
