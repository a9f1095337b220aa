// How a way is held and cut: by operation, clamp by clamp, and cut by cut.
import { useState } from "preact/hooks";
import { post } from "./api";
import { Table, Work } from "./bits";
import { direction, minutes, num, sig } from "./format";
import type { HeldCut, WholeWay } from "./types";

export function Held({ way, address, picked }: { way: WholeWay; address: string; picked: string }) {
  const [cuts, setCuts] = useState<HeldCut[] | null>(null);
  const own = picked ? Number(picked.split(".")[0]) : 0;
  const settings = way.operations.flatMap((o) => (o.holding.set ?? []).map((s) => ({ ...s, operation: o.number })));
  const shown = (cuts ?? []).filter((c) => !own || c.operation === own);
  return (
    <section aria-labelledby="h-held">
      <h2 id="h-held">How is it held and cut?</h2>
      <Table
        caption="Operations"
        rows={way.operations}
        columns={[
          { head: "operation", cell: (o) => <b>{o.number}</b> },
          { head: "features", cell: (o) => o.features.join(", "), words: true },
          { head: "cut from", cell: (o) => o.directions.map(direction).join(", "), words: true },
          { head: "held by", cell: (o) => `${o.grip.kind.replace(/_/g, " ")} on a ${o.carrier}${o.grip.notes.length ? "; " + o.grip.notes.join("; ") : ""}`, words: true },
          { head: "holding", cell: (o) => `× ${sig(o.holding.factor)}, needs ${sig(o.holding.floor)}`, words: true },
          { head: "gives first", cell: (o) => <>{o.holding.gives_first}<small>under {o.holding.worst_load}</small></>, words: true },
          { head: "cutting a part", cell: (o) => minutes(o.cutting_seconds) },
        ]}
      />
      {settings.length > 0 && (
        <>
          <h3>What each clamp is set to</h3>
          <Table
            caption="Clamp settings"
            rows={settings}
            columns={[
              { head: "operation", cell: (s) => <b>{s.operation}</b> },
              { head: "clamp", cell: (s) => s.clamp, words: true },
              { head: "screw", cell: (s) => s.screw, words: true },
              { head: "slides below", cell: (s) => `${num(s.slides, 1)} ${s.unit}` },
              { head: "set", cell: (s) => <b>{num(s.set, 1)} {s.unit}</b> },
              { head: "gives past", cell: (s) => (s.gives === null ? "unknown" : `${num(s.gives, 1)} ${s.unit}`) },
              { head: "what gives", cell: (s) => s.by, words: true },
            ]}
          />
        </>
      )}
      {!cuts && way.design && <Work does={async () => setCuts(await post<HeldCut[]>(`${address}/held`))}>Holding of every cut</Work>}
      {cuts && (
        <>
          <h3>Holding of every cut{own ? ` of operation ${own}` : ""}, weakest first</h3>
          <Table
            caption="Holding by cut"
            rows={shown}
            mark={(c) => (c.factor === null || c.factor < c.floor ? "short" : "")}
            columns={[
              { head: "operation", cell: (c) => <b>{c.operation}</b> },
              { head: "cut", cell: (c) => c.cut, words: true },
              { head: "tool", cell: (c) => `T${c.tool}`, words: true },
              { head: "holds", cell: (c) => (c.factor === null ? "not at any load" : `× ${sig(c.factor)}`) },
              { head: "needs", cell: (c) => `× ${sig(c.floor)}` },
              { head: "gives first", cell: (c) => <>{c.gives_first}<small>under {c.worst}</small></>, words: true },
            ]}
          />
        </>
      )}
    </section>
  );
}
