// One way with everything that argues for it, and the place where it is changed.
import { useEffect, useMemo, useRef, useState } from "preact/hooks";
import { get, post } from "./api";
import { Fact, Faults, Loaded, Table, useFetched, Work } from "./bits";
import { Changing } from "./change";
import { Fixture3d, type Marked } from "./fixture3d";
import { len, measured, num, sig } from "./format";
import { Held } from "./held";
import { MarginList } from "./margins";
import { MoneyStack, PayCurve } from "./money";
import { WHY } from "./questions";
import { angleOf } from "./sideangle";
import { TimeBar } from "./timebar";
import { WhatIf } from "./whatif";
import type { Dimension, Margin, Plan, SceneData, Station, WholeWay } from "./types";

export function WhyQuestion({ plan, way, again }: { plan: Plan; way: number; again: () => Promise<void> }) {
  const address = `/api/plans/${plan.id}/ways/${way}`;
  const whole = useFetched(() => get<WholeWay>(address), [address]);
  const scene = useFetched(() => get<SceneData>(`${address}/scene`), [address]);
  return (
    <Loaded of={whole}>
      {(data) => (
        <Argued
          plan={plan}
          way={data}
          scene={scene.data}
          address={address}
          again={async () => {
            await Promise.all([whole.again(), scene.again(), again()]);
          }}
        />
      )}
    </Loaded>
  );
}

function Argued({ plan, way, scene, address, again }: { plan: Plan; way: WholeWay; scene: SceneData | null; address: string; again: () => Promise<void> }) {
  const [picked, choose] = useState("");
  const [shown, setShown] = useState<Margin | null>(null);
  const [marked, setMarked] = useState<Marked | null>(null);
  const [drawing, setDrawing] = useState("");
  const [error, setError] = useState<Error | null>(null);
  const [stations, setStations] = useState<Station[]>(way.state.design?.stations ?? way.design?.stations ?? []);
  useEffect(() => setStations(way.state.design?.stations ?? way.design?.stations ?? []), [way]);
  const moved = useMemo(() => {
    const now = new Map(stations.flatMap((s) => s.parts.map((n): [string, Station] => [n, s])));
    return new Map((scene?.stations ?? way.design?.stations ?? []).flatMap((s) => s.parts.map((n): [string, { from: Station; to: Station | null }] => [n, { from: s, to: now.get(n) ?? null }])));
  }, [stations, way, scene]);
  const sideAngles = useMemo(() => (scene ? angles(scene, way) : []), [scene, way]);
  const picture = useRef<HTMLElement>(null);
  const setPicked = (station: string) => {
    choose(station);
    if (station === picked) return;
    setMarked(null);
    setShown(null);
  };
  const show = async (m: Margin) => {
    setShown(m);
    setError(null);
    const text = `${measured(m.have, m.unit)}, needs ${measured(m.need, m.unit)}`;
    setMarked({ found: null, where: m.where, text });
    const first = m.subject.split(" ")[0];
    if (stations.some((s) => s.parts.includes(first))) choose(first);
    picture.current?.scrollIntoView({ block: "nearest" });
    if (!m.check.includes("clearance") || !m.where) return;
    setDrawing("The tool is being placed; the first time takes a few seconds …");
    try {
      setMarked({ found: await post<Dimension>(`${address}/dimension`, { margin: m }), where: m.where, text });
    } catch (caught) {
      setError(caught as Error);
    } finally {
      setDrawing("");
    }
  };
  const today = way.today ?? plan.today;
  const unchecked = !way.state.checked;
  return (
    <>
      <h1>{WHY.text}</h1>
      <p class="lede">
        {way.name}: {way.timing?.label}, {way.timing?.sets === 1 ? "1 set" : `${way.timing?.sets} sets`}. A start waits for {way.timing?.waits_for}.
      </p>
      {unchecked && (
        <p class="notice short" role="status">
          {way.state.changed
            ? `! Changed: ${way.state.what}. The numbers below are those of before, until every check has passed again.`
            : "! This plan came in from a file. Its numbers are what that file says; nothing is printed before every check has passed here."}
        </p>
      )}
      {unchecked && !way.state.changed && (
        <Work
          does={async () => {
            const found = await post<{ passed: boolean; failures: string[] }>(`${address}/check`);
            await again();
            if (!found.passed) throw new Error(`It doesn't pass: ${found.failures.slice(0, 6).join("; ")}`);
          }}
        >
          Check this way
        </Work>
      )}
      <div class={`facts${unchecked ? " old" : ""}`}>
        <Fact value={sig(way.parts_per_start)} text="finished parts every start" today={sig(today.parts_per_start)} />
        <Fact value={`${sig(way.attended_minutes_per_part)} min`} text="attended a part" today={sig(today.attended_minutes_per_part)} />
        <Fact value={`${num(way.unattended_minutes, 0)} min`} text="alone in one go" today={num(today.unattended_minutes, 0)} />
        <Fact value={`${num(way.cost_per_part)} ${plan.currency}`} text={way.cost_range ? `a part, likely ${num(way.cost_range[0])} to ${num(way.cost_range[1])}` : "a part"} today={num(today.cost_per_part)} />
        <Fact value={`${num(way.capital, 0)} ${plan.currency}`} text="to spend once" />
        <Fact value={way.payback?.months != null ? `${sig(way.payback.months)} months` : "no payback"} text={way.payback?.months != null ? `likely ${sig(way.payback.low)} to ${sig(way.payback.high)}` : "see the money below"} />
        <Fact value={len(way.least_clearance_mm)} text="least tool clearance" />
        <Fact value={`× ${sig(way.least_holding_factor)}`} text="least holding factor" />
      </div>
      <section aria-labelledby="h-see" ref={picture}>
        <h2 id="h-see">What does it look like?</h2>
        {!scene && <p class="stage-waiting waiting">The picture is coming …</p>}
        {scene?.scene ? (
          <Fixture3d data={scene} address={address} picked={picked} onPick={setPicked} marked={marked} moved={moved} stations={stations} sideAngles={sideAngles} />
        ) : (
          scene && <NoPicture address={address} again={again} />
        )}
        <p class="note" aria-live="polite">{drawing}</p>
        <Faults of={error} />
      </section>
      {way.design && <Changing plan={plan} way={way} address={address} stations={stations} setStations={setStations} picked={picked} setPicked={setPicked} again={again} />}
      <section aria-labelledby="h-margins">
        <div class="title-row">
          <h2 id="h-margins">How close is it?{picked && ` Station ${picked}`}</h2>
          {picked && <button type="button" class="quiet" onClick={() => setPicked("")}>All stations</button>}
        </div>
        <MarginList margins={way.margins} picked={picked} show={(m) => void show(m)} shown={shown} />
      </section>
      <Held way={way} address={address} picked={picked} />
      {way.packing.length > 0 && (
        <section aria-labelledby="h-most">
          <h2 id="h-most">Could more stand there?</h2>
          <Table
            caption="How many stand on each side, and at most how many could"
            rows={way.packing}
            columns={[
              { head: "side", cell: (p) => p.side, words: true },
              { head: "operation", cell: (p) => p.operation },
              { head: "parts", cell: (p) => p.placed },
              { head: "at most", cell: (p) => p.bound },
              { head: "how that is known", cell: (p) => `${p.text}${p.bound_by ? `; bound by ${p.bound_by}` : ""}`, words: true },
            ]}
          />
        </section>
      )}
      <section aria-labelledby="h-time">
        <h2 id="h-time">Where do the seconds go?</h2>
        {way.cycles.map((c, i) => (
          <div key={i}>
            {way.cycles.length > 1 && <h3>Start {i + 1}</h3>}
            <TimeBar cycle={c} way={way} tools={plan.tools} number={i + 1} />
          </div>
        ))}
      </section>
      <section aria-labelledby="h-money">
        <h2 id="h-money">Where does the money go?</h2>
        <MoneyStack ways={[today, way]} currency={plan.currency} />
        {way.design && <WhatIf key={way.state.step} plan={plan} way={way} address={address} again={again} />}
        <PayCurve way={way} currency={plan.currency} limit={Number(plan.rates.payback_limit_months ?? 18)} />
      </section>
      <section aria-labelledby="h-reasons">
        <h2 id="h-reasons">Why so, and what it waits for</h2>
        <ul>{way.reasons.map((r, i) => <li key={i}><b>{r.about}</b>: {r.text}</li>)}</ul>
        <a class="button" href={`#/plan/${plan.id}/more/0`}>Why not one more?</a>
      </section>
    </>
  );
}

/** A plan keeps pictures of its best ways only; checking another one makes its picture, and its papers can be drawn. */
export function NoPicture({ address, again }: { address: string; again: () => Promise<void> }) {
  return (
    <p class="notice">
      The plan kept no picture of this way, only of its best ones.{" "}
      <Work
        does={async () => {
          const found = await post<{ passed: boolean; failures: string[] }>(`${address}/check`);
          if (!found.passed) throw new Error(`It doesn't pass any more: ${found.failures.slice(0, 4).join("; ")}`);
          await again();
        }}
      >
        Check it and make its picture
      </Work>
    </p>
  );
}

/** At which index angle each side faces the spindle. */
function angles(scene: SceneData, way: WholeWay): { name: string; angle: number }[] {
  const axis = scene.machine?.axis;
  const bodies = scene.scene?.cycles[0]?.bodies ?? [];
  if (!axis || !way.design) return [];
  const seen = new Map<string, number>();
  for (const s of scene.stations) {
    const body = bodies.find((b) => b.owner === s.parts[0] && b.group !== "table");
    if (body && !seen.has(s.side)) seen.set(s.side, angleOf(body.pose, axis.along));
  }
  return [...seen].map(([side, angle]) => ({ name: `side ${side.split("/").pop()}`, angle }));
}
