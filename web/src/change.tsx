// Changing a way: stations dragged, turned, locked or left out, judged while they move and checked in full on release.
import { useEffect, useRef, useState } from "preact/hooks";
import { post } from "./api";
import { Faults, Passed, Work } from "./bits";
import { Choice, Num } from "./fields";
import { len, measured, minutes, plural, sig } from "./format";
import { SidePlan } from "./sideplan";
import type { Design, EditState, Margin, Plan, Station, WholeWay } from "./types";

export interface Quick {
  passed: boolean;
  worst: Margin[];
  gap: { to: string; have: number; need: number; line: number[][] } | null;
  outside_mm2: number;
  ms: number;
}

interface Grips {
  operation: number;
  clamping: number;
  grips: { id: string; kind: string; notes: string[]; holding: number | null; seconds: number; used: boolean }[];
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
            {warm === "warming" ? "Grips and tools are being made ready: ten seconds or so, once." : "Move, turn, lock or leave out stations; margins follow while you drag."}
          </span>
        </p>
      )}
      <Faults of={error} />
      {warm === "warm" && <Desk {...props} />}
    </section>
  );
}

function Desk({ way, address, stations, setStations, picked, setPicked, again }: Props) {
  const [quick, setQuick] = useState<Quick | null>(null);
  const [state, setState] = useState<EditState>(way.state);
  const [busy, setBusy] = useState("");
  const [error, setError] = useState<Error | null>(null);
  const [lock, setLock] = useState<string[]>(way.state.locked);
  const root = useRef<HTMLDivElement>(null);
  useEffect(() => setState(way.state), [way]);
  const base = way.state.design ?? way.design!;
  const station = stations.find((s) => s.parts.includes(picked)) ?? null;
  const asking = useRef<{ running: boolean; next: (() => Promise<void>) | null }>({ running: false, next: null });

  /** The quick check of what is dragged; while one runs only the latest place waits. */
  const ask = (next: Station[], name: string) => {
    const run = async () => {
      try {
        setQuick(await post<Quick>(`${address}/quick`, { design: { ...base, stations: next }, station: name }));
      } catch (caught) {
        setError(caught as Error);
      }
    };
    asking.current.next = run;
    const turn = async () => {
      if (asking.current.running) return;
      asking.current.running = true;
      while (asking.current.next) {
        const now = asking.current.next;
        asking.current.next = null;
        await now();
      }
      asking.current.running = false;
    };
    void turn();
  };
  const [grips, setGrips] = useState<Grips[]>([]);
  useEffect(() => {
    post<Grips[]>(`${address}/grips`).then(setGrips, setError);
  }, [address]);
  const keep = async (next: Station[], what: string, locked = lock, operations = base.operations) => {
    setError(null);
    setBusy("Every check is being made …");
    try {
      const design: Design = { ...base, stations: next, operations };
      setState(await post<EditState>(`${address}/steps`, { step: state.step, what, design, locked }));
      setState((await post<{ state: EditState }>(`${address}/check`)).state);
      await again();
    } catch (caught) {
      setError(caught as Error);
      setStations(base.stations);
    } finally {
      setBusy("");
    }
  };
  const move = (name: string, more: Partial<Station>): Station[] => {
    const next = stations.map((s) => (s.parts.includes(name) ? { ...s, ...more } : s));
    setStations(next);
    return next;
  };
  const shift = async (by: number) => {
    setBusy(by < 0 ? "Taking it back …" : "Doing it again …");
    setError(null);
    try {
      const now = await post<EditState>(`${address}/shift?by=${by}`);
      setState(now.checked ? now : (await post<{ state: EditState }>(`${address}/check`)).state);
      setQuick(null);
      await again();
    } catch (caught) {
      setError(caught as Error);
    } finally {
      setBusy("");
    }
  };
  const leaveOut = (s: Station) => {
    setPicked("");
    setQuick(null);
    const next = stations.filter((o) => o !== s);
    setStations(next);
    void keep(next, `run without station ${s.parts.join(", ")}`);
  };
  useEffect(() => {
    const key = (e: KeyboardEvent) => {
      if (!(e.ctrlKey || e.metaKey) || busy || e.target instanceof HTMLInputElement || e.target instanceof HTMLTextAreaElement) return;
      const redo = e.key === "y" || (e.key === "Z" && e.shiftKey);
      if (e.key !== "z" && !redo) return;
      e.preventDefault();
      if (redo ? state.step < state.last : state.step > 0) void shift(redo ? 1 : -1);
    };
    addEventListener("keydown", key);
    return () => removeEventListener("keydown", key);
  });
  const locked = (s: Station) => s.parts.some((n) => lock.includes(n));
  const verdict = state.verdict;
  return (
    <div ref={root}>
      <div class="row desk-tools">
        <button type="button" disabled={!!busy || state.step === 0} onClick={() => void shift(-1)}>Undo</button>
        <button type="button" disabled={!!busy || state.step >= state.last} onClick={() => void shift(1)}>Redo</button>
        <span role="status" class={state.changed ? (state.checked ? "ok" : "short") : "soft"}>
          {busy || (state.changed ? (state.checked ? `✓ Changed and checked: ${state.what}` : `✗ Changed, not passed: ${state.what}`) : "As planned")}
        </span>
      </div>
      <Faults of={error} title="That was not kept:" />
      {verdict && !verdict.passed && state.changed && (
        <div class="faults" role="alert">
          <strong>What stops it ({plural(verdict.failures.length, "fault")}):</strong>
          <ul>{verdict.failures.slice(0, 8).map((f) => <li key={f}>{f}</li>)}</ul>
        </div>
      )}
      {verdict && state.checked && state.changed && <p class="note">Everything was checked in {minutes(verdict.ms / 1000)}; the numbers above are the new ones.</p>}
      {grips.some((g) => g.grips.length > 1) && (
        <div class="grid">
          {grips.filter((g) => g.grips.length > 1).map((g) => (
            <Choice
              key={g.clamping}
              label={`Operation ${g.operation} is held by`}
              value={base.operations.find((o) => o.clamping === g.clamping)?.grip ?? ""}
              onInput={(id) => void keep(stations, `operation ${g.operation} held by ${id}`, lock, base.operations.map((o) => (o.clamping === g.clamping ? { ...o, grip: id } : o)))}
              options={g.grips.map((o): [string, string] => [o.id, `${o.kind.replace(/_/g, " ")} (${o.id}), holds × ${sig(o.holding)}, cuts in ${minutes(o.seconds)}`])}
            />
          ))}
        </div>
      )}
      <div class="two desk">
        <div class="sides">
          {way.sides.flat().map((side) => (
            <SidePlan
              key={`${side.mount}|${side.side}`}
              side={side}
              planned={way.design!.stations}
              stations={stations.filter((s) => s.mount === side.mount && s.side === side.side)}
              operations={way.design!.operations}
              picked={picked}
              isLocked={locked}
              gap={quick?.gap && station?.mount === side.mount && station.side === side.side ? quick.gap : null}
              onPick={setPicked}
              onMove={(name, x, y) => ask(move(name, { x, y }), name)}
              onDrop={(name, from) => {
                const now = stations.find((s) => s.parts.includes(name));
                if (now && (Math.abs(now.x - from.x) > 1e-6 || Math.abs(now.y - from.y) > 1e-6)) void keep(stations, `station ${name} moved by ${len(now.x - from.x)}, ${len(now.y - from.y)}`);
              }}
            />
          ))}
        </div>
        <aside class="inspector" aria-live="polite">
          {!station && <p class="empty">Choose a station: drag it, or move it with the arrow keys (1 mm, with Shift 0.1 mm).</p>}
          {station && (
            <>
              <h3>Station {station.parts.join(", ")}</h3>
              <div class="grid">
                <Num label="x" unit="mm" value={Math.round(station.x * 1000) / 1000} onInput={(x) => x !== null && ask(move(picked, { x }), picked)} />
                <Num label="y" unit="mm" value={Math.round(station.y * 1000) / 1000} onInput={(y) => y !== null && ask(move(picked, { y }), picked)} />
              </div>
              <div class="row">
                <Work does={() => keep(stations, `station ${picked} set by hand`)} disabled={!!busy || locked(station)}>Keep and check</Work>
                <button type="button" disabled={!!busy || locked(station)} onClick={() => { const next = move(picked, { turn: (station.turn + 1) % 4 }); void keep(next, `station ${picked} turned a quarter`); }}>Turn a quarter</button>
                <button type="button" disabled={!!busy} aria-pressed={locked(station)} onClick={() => setLock(locked(station) ? lock.filter((n) => !station.parts.includes(n)) : [...lock, ...station.parts])}>
                  {locked(station) ? "Unlock" : "Lock"}
                </button>
                <button type="button" disabled={!!busy || locked(station)} onClick={() => leaveOut(station)}>Run without it</button>
              </div>
              {quick && (
                <div class={`quick ${quick.passed ? "" : "bad"}`}>
                  <p><Passed ok={quick.passed} /> <span class="soft">quick check of this station and its neighbours, {Math.round(quick.ms)} ms</span></p>
                  {quick.gap && <p>Gap to {quick.gap.to}: <b>{len(quick.gap.have)}</b></p>}
                  {quick.outside_mm2 > 0.01 && <p class="short">Past the side's free area by {Math.round(quick.outside_mm2)} mm²</p>}
                  <ul class="small">
                    {quick.worst.map((m, i) => (
                      <li key={i} class={m.passed ? "" : "short"}>{m.check}, {m.subject} to {m.obstacle}: has {measured(m.have, m.unit)}, needs {measured(m.need, m.unit)}</li>
                    ))}
                  </ul>
                </div>
              )}
            </>
          )}
          <p class="note">Without a station (a broken stop, a short load) the program, the load sheet and the finish time are made anew: leave it out, and print under “What does it need to start?”.</p>
        </aside>
      </div>
    </div>
  );
}
