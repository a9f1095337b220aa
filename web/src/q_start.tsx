// What it needs to start: things to buy and make, papers and programs, the pages for the machine, the cautions.
import { useState } from "preact/hooks";
import { download } from "./api";
import { Table, Work } from "./bits";
import { Choice } from "./fields";
import { num, plural } from "./format";
import { CAUTION, START } from "./questions";
import type { Plan } from "./types";

export function StartQuestion({ plan, way }: { plan: Plan; way: number }) {
  const w = plan.ways[way];
  const [paper, setPaper] = useState("A4");
  const [unit, setUnit] = useState("mm");
  const [language, setLanguage] = useState("en");
  const blocked = !w.state.checked;
  const at = `/api/plans/${plan.id}`;
  return (
    <>
      <h1>{START.text}</h1>
      <p>
        <b>{w.name}</b>: {w.timing?.label}, {plural(w.timing?.sets ?? 1, "set")}.
      </p>
      {blocked && <p class="notice short">{w.state.changed ? "This way was changed and not every check has passed since." : "This plan came in from a file and wasn't checked here."} Papers and programs come once it is checked: <a href={`#/plan/${plan.id}/why/${way}`}>to the check</a>.</p>}
      {!w.has_scene && <p class="notice">The plan kept no pictures of this way, so its papers can't be drawn yet: <a href={`#/plan/${plan.id}/why/${way}`}>check it and make its picture</a>.</p>}
      <section aria-labelledby="h-papers">
        <h2 id="h-papers">Papers and programs</h2>
        <div class="grid">
          <Choice label="Paper" value={paper} onInput={setPaper} options={[["A4", "A4"], ["A3", "A3"], ["Letter", "Letter"]]} />
          <Choice label="Lengths" value={unit} onInput={setUnit} options={[["mm", "mm"], ["inch", "inch"]]} />
          <Choice label="Language" value={language} onInput={setLanguage} options={[["en", "English"], ["de", "German"]]} />
        </div>
        <div class="row">
          <Work kind="main" disabled={blocked || !w.has_scene} does={() => download(`${at}/papers.zip?way=${way}&paper=${paper}&unit=${unit}&language=${language}`)}>All papers and programs</Work>
          <Work disabled={blocked} does={() => download(`${at}/report.html?way=${way}`)}>The plan as one file to send</Work>
          <a class="button" aria-disabled={blocked} href={blocked ? undefined : `${at}/report.html?way=${way}&show=true`} target="_blank" rel="noopener">Read it here</a>
          <Work disabled={blocked} does={() => download(`${at}/plan.json?way=${way}`)}>Its data (JSON)</Work>
          <Work does={() => download(`${at}/again.py`)}>Python that plans it again</Work>
        </div>
        <p class="note">Set-up, load and prove-out sheets, bill and case for the money as PDF and tables; carriers as STEP and drawings; program skeletons. One folder, packed.</p>
      </section>
      <section aria-labelledby="h-machine">
        <h2 id="h-machine">At the machine</h2>
        <div class="row">
          <a class="button" href={`#/machine/${plan.id}/${way}/load`}>Load sheet for a tablet</a>
          <a class="button" href={`#/machine/${plan.id}/${way}/prove`}>Prove-out for a tablet</a>
        </div>
      </section>
      <section aria-labelledby="h-bill">
        <h2 id="h-bill">To buy and to make</h2>
        <Table
          caption="Bill"
          rows={w.bill}
          columns={[
            { head: "what", cell: (b) => b[0], words: true },
            { head: plan.currency, cell: (b) => num(b[1], 0) },
          ]}
        />
        <p>Together {num(w.capital, 0)} {plan.currency}.</p>
      </section>
      <section aria-labelledby="h-rests">
        <h2 id="h-rests">What these numbers rest on</h2>
        <ul class="small">{plan.assumptions.map((a, i) => <li key={i}>{a}</li>)}</ul>
        <p class="caution"><b>Before the first start:</b> {CAUTION}</p>
        <p class="note">Plan {plan.identity}, seed {plan.seed}, planned in {num(plan.seconds, 0)} s{plan.stopped_early ? ", stopped early" : ""}.</p>
      </section>
    </>
  );
}
