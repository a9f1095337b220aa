// Changing a way: stations dragged, turned, locked or left out, judged while they move and checked in full on release.
import { useEffect, useRef, useState } from "preact/hooks";
import { post, put } from "./api";
import { Faults, Passed, Work } from "./bits";
import { Length } from "./fields";
import { len, measured, minutes, plural } from "./format";
import { fitted, Otherwise } from "./otherwise";
import { SidePlan } from "./sideplan";
import type { Adapted, Design, EditState, Margin, Plan, Station, Terms, WholeWay } from "./types";

export interface Quick {
  passed: boolean;
  worst: Margin[];
  gap: { to: string; have: number; need: number; line: number[][] } | null;
  outside_mm2: number;
  ms: number;
}

interface Props {
  plan: Plan;
  way: WholeWay;
  address: string;
  stations: Station[];
  setStations: (s: Station[]) => void;
  picked: string;
  setPicked: (s: string) => void;
  again: () => Promise<void>;
}

interface Wish {
  locked?: string[];
  refit?: boolean;
  sides?: Record<string, number>;
  terms?: Terms;
}

export function Changing(props: Props) {
  const [warm, setWarm] = useState<"cold" | "warming" | "warm">("cold");
  const [error, setError] = useState<Error | null>(null);
  const begin = async () => {
    setWarm("warming");
    setError(null);
    try {
      await post(`${props.address}/warm`);
      setWarm("warm");
    } catch (caught) {
      setError(caught as Error);
      setWarm("cold");
    }
  };
  return (
    <section aria-labelledby="h-change" class="change">
      <h2 id="h-change">Would you set it up differently?</h2>
      {warm !== "warm" && (
        <p>
          <button type="button" onClick={() => void begin()} disabled={warm === "warming"} aria-busy={warm === "warming"}>
            Change this way
          </button>{" "}
          <span class="soft" aria-live="polite">
            {warm === "warming" ? "Grips and tools are being made ready: ten seconds or so, once." : "Move, turn, lock or leave out stations, other clamps, tools, sides and margins; what is short shows while you drag."}
          </span>
        </p>
      )}
      <Faults of={error} />
      {warm === "warm" && <Desk {...props} />}
    </section>
  );
}

/** Steps kept on the server one after another, each checked in full; what was refused, and what fitting gave. */
function useSteps({ way, address, setStations, again }: Props) {
  const [state, setState] = useState<EditState>(way.state);
  const [busy, setBusy] = useState("");
  const [error, setError] = useState<Error | null>(null);
  const [said, setSaid] = useState("");
  useEffect(() => setState(way.state), [way]);
  const base = state.design ?? way.design!;
  const guarded = async (words: string, work: () => Promise<void>) => {
    setBusy(words);
    setError(null);
    try {
      await work();
    } catch (caught) {
      setError(caught as Error);
      setStations(base.stations);
    } finally {
      setBusy("");
    }
  };
  const checked = async () => {
    setBusy("Every check is being made …");
    setState((await post<{ state: EditState }>(`${address}/check`)).state);
    await again();
  };
  const stepped = async (design: Design, what: string, terms: Terms) => {
    setState(await post<EditState>(`${address}/steps`, { step: state.step, what: what.slice(0, 200), design, terms }));
    await checked();
  };
  return {
    state, busy, error, said, base, setError,
    keep: (stations: Station[], what: string) => guarded("It is being kept …", () => (setSaid(""), stepped({ ...base, stations }, what, state.terms))),
    fit: (wish: Wish, what: string, grips: Record<string, string> = {}) =>
      guarded("It is being fitted: some seconds …", async () => {
        setSaid("");
        const made = await post<Adapted>(`${address}/adapt`, { locked: state.locked, terms: state.terms, ...wish });
        const operations = made.design.operations.map((o) => (grips[o.clamping] ? { ...o, grip: grips[o.clamping] } : o));
        await stepped({ ...made.design, operations }, what, wish.terms ?? state.terms);
        setSaid(fitted(made));
      }),
    shift: (by: number) =>
      guarded(by < 0 ? "Taking it back …" : "Doing it again …", async () => {
        setSaid("");
        const now = await post<EditState>(`${address}/shift?by=${by}`);
        setState(now);
        await (now.checked ? again() : checked());
      }),
    lock: (names: string[]) => guarded("", async () => setState(await put<EditState>(`${address}/locked`, { locked: names }))),
  };
}

function Desk(props: Props) {
  const { way, address, stations, setStations, picked, setPicked } = props;
  const [quick, setQuick] = useState<Quick | null>(null);
  const steps = useSteps(props);
  const { state, busy, base } = steps;
  const station = stations.find((s) => s.parts.includes(picked)) ?? null;
  const ask = useLatest(steps.setError, setQuick);
  const judge = (next: Station[], name: string) => ask(() => post<Quick>(`${address}/quick`, { design: { ...base, stations: next }, station: name }));
  const move = (name: string, more: Partial<Station>): Station[] => {
    const next = stations.map((s) => (s.parts.includes(name) ? { ...s, ...more } : s));
    setStations(next);
    return next;
  };
  const leaveOut = (s: Station) => {
    setPicked("");
    setQuick(null);
    const next = stations.filter((o) => o !== s);
    setStations(next);
    void steps.keep(next, `run without station ${s.parts.join(", ")}`);
  };
  const back = (by: number) => {
    setQuick(null);
    void steps.shift(by);
  };
  useUndoKeys(!busy, state, back);
  const everything = stations.flatMap((s) => s.parts);
  const there = state.locked.filter((n) => everything.includes(n));
  const locked = (s: Station) => s.parts.some((n) => state.locked.includes(n));
  const { verdict } = state;
  const drawn = state.changed && !state.checked && verdict?.sides?.length ? { sides: verdict.sides.flat(), stations: base.stations } : { sides: way.sides.flat(), stations: way.design!.stations };
  return (
    <div>
      <div class="row desk-tools">
        <button type="button" disabled={!!busy || state.step === 0} onClick={() => back(-1)}>Undo</button>
        <button type="button" disabled={!!busy || state.step >= state.last} onClick={() => back(1)}>Redo</button>
        <button type="button" disabled={!!busy} onClick={() => void steps.fit({ refit: true }, `best with ${plural(there.length, "station")} locked`)} title="Every side is filled again; locked stations stay where they are.">
          Best with what I locked ({there.length})
        </button>
        <button type="button" class="quiet" disabled={!!busy || there.length === everything.length} onClick={() => void steps.lock(everything)}>Lock all</button>
        <button type="button" class="quiet" disabled={!!busy || !state.locked.length} onClick={() => void steps.lock([])}>Unlock all</button>
      </div>
      <p role="status" class={`standing ${state.changed ? (state.checked ? "ok" : "short") : "soft"}`}>
        {busy && <span class="busy" aria-hidden="true" />}
        {busy || (state.changed ? (state.checked ? `✓ Changed and checked: ${state.what}` : `✗ Changed, not passed: ${state.what}`) : state.checked ? "As planned" : "As it came in, not checked here")}
      </p>
      {steps.said && <p class="notice">{steps.said}</p>}
      <Faults of={steps.error} title="That was not kept:" />
      {verdict && !verdict.passed && !state.checked && (
        <div class="faults" role="alert">
          <strong>What stops it ({plural(verdict.failures.length, "fault")}):</strong>
          <ul>{verdict.failures.slice(0, 8).map((f) => <li key={f}>{f}</li>)}</ul>
          {verdict.failures.length > 8 && <p class="note">and {plural(verdict.failures.length - 8, "more")}</p>}
        </div>
      )}
      {verdict && state.checked && state.changed && <p class="note">Everything was checked in {minutes(verdict.ms / 1000)}; the numbers above are the new ones.</p>}
      <Otherwise address={address} terms={state.terms} step={state.step} locked={there.length} busy={!!busy} apply={(w) => steps.fit({ terms: w.terms, sides: w.sides, refit: w.refit }, w.what, w.grips)} />
      <div class="two desk">
        <div class="sides">
          {drawn.sides.map((side) => (
            <SidePlan
              key={`${side.mount}|${side.side}`}
              side={side}
              planned={drawn.stations}
              stations={stations.filter((s) => s.mount === side.mount && s.side === side.side)}
              operations={base.operations}
              picked={picked}
              isLocked={locked}
              gap={quick?.gap && station?.mount === side.mount && station.side === side.side ? quick.gap : null}
              onPick={setPicked}
              onMove={(name, x, y) => judge(move(name, { x, y }), name)}
              onDrop={(name, from) => {
                const now = stations.find((s) => s.parts.includes(name));
                if (now && (Math.abs(now.x - from.x) > 1e-6 || Math.abs(now.y - from.y) > 1e-6)) void steps.keep(stations, `station ${name} moved by ${len(now.x - from.x)}, ${len(now.y - from.y)}`);
              }}
            />
          ))}
        </div>
        <aside class="inspector">
          {!station && <p class="empty">Choose a station: drag it, or move it with the arrow keys (1 mm, with Shift 0.1 mm).</p>}
          {station && (
            <>
              <h3>Station {station.parts.join(", ")}{locked(station) && ", locked"}</h3>
              <div class="grid pair">
                <Length label="x" value={station.x} onInput={(x) => x !== null && judge(move(picked, { x }), picked)} />
                <Length label="y" value={station.y} onInput={(y) => y !== null && judge(move(picked, { y }), picked)} />
              </div>
              <div class="row">
                <Work does={() => steps.keep(stations, `station ${picked} set by hand`)} disabled={!!busy || locked(station)}>Keep and check</Work>
                <button type="button" disabled={!!busy || locked(station)} onClick={() => void steps.keep(move(picked, { turn: (station.turn + 1) % 4 }), `station ${picked} turned a quarter`)}>Turn a quarter</button>
                <button type="button" disabled={!!busy} aria-pressed={locked(station)} onClick={() => void steps.lock(locked(station) ? state.locked.filter((n) => !station.parts.includes(n)) : [...state.locked, ...station.parts])}>
                  {locked(station) ? "Unlock" : "Lock"}
                </button>
                <button type="button" disabled={!!busy || locked(station)} onClick={() => leaveOut(station)}>Run without it</button>
              </div>
              {quick && <Judged quick={quick} />}
            </>
          )}
          <p class="note">A broken stop, a short load: choose the station and run without it. Program, load sheet and finish time are then those without it; print them under “What does it need to start?”.</p>
        </aside>
      </div>
    </div>
  );
}

function Judged({ quick }: { quick: Quick }) {
  return (
    <div class={`quick ${quick.passed ? "" : "bad"}`} aria-live="polite">
      <p><Passed ok={quick.passed} /> <span class="soft">this station and its nearest neighbour, in {Math.round(quick.ms)} ms</span></p>
      {quick.gap && <p>Gap to {quick.gap.to}: <b>{len(quick.gap.have)}</b></p>}
      {quick.outside_mm2 > 0.01 && <p class="short">Past the side's free area by {Math.round(quick.outside_mm2)} mm²</p>}
      <ul class="small">
        {quick.worst.map((m, i) => (
          <li key={i} class={m.passed ? "" : "short"}>{m.check}, {m.subject} to {m.obstacle}: has {measured(m.have, m.unit)}, needs {measured(m.need, m.unit)}</li>
        ))}
      </ul>
    </div>
  );
}

/** Asks one thing at a time: while one runs, only the latest of those that follow waits. */
function useLatest<T>(failed: (e: Error) => void, answered: (t: T) => void): (make: () => Promise<T>) => void {
  const asking = useRef<{ running: boolean; next: (() => Promise<T>) | null }>({ running: false, next: null });
  return (make) => {
    asking.current.next = make;
    const turn = async () => {
      if (asking.current.running) return;
      asking.current.running = true;
      while (asking.current.next) {
        const now = asking.current.next;
        asking.current.next = null;
        await now().then(answered, failed);
      }
      asking.current.running = false;
    };
    void turn();
  };
}

function useUndoKeys(free: boolean, state: EditState, shift: (by: number) => void): void {
  useEffect(() => {
    const key = (e: KeyboardEvent) => {
      if (!(e.ctrlKey || e.metaKey) || !free || e.target instanceof HTMLInputElement || e.target instanceof HTMLTextAreaElement) return;
      const redo = e.key === "y" || (e.key === "Z" && e.shiftKey);
      if (e.key !== "z" && !redo) return;
      e.preventDefault();
      if (redo ? state.step < state.last : state.step > 0) shift(redo ? 1 : -1);
    };
    addEventListener("keydown", key);
    return () => removeEventListener("keydown", key);
  });
}
