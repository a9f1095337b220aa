import { get } from "./api";
import { Table, useFetched } from "./bits";
import { direction, len, num, plural, sig, size } from "./format";
import { Part3d } from "./part3d";
import { PART } from "./questions";
import type { Job, Plan } from "./types";

export function PartQuestion({ plan }: { plan: Plan }) {
  const job = useFetched(() => get<Job>(`/api/jobs/${plan.job_id}`), [plan.job_id]);
  const { part } = plan;
  const same = job.data?.part && job.data.part.file === part.file ? job.data.part : null;
  const pain = typeof job.data?.draft.pain === "string" ? job.data.draft.pain : "";
  return (
    <>
      <h1>{PART.text}</h1>
      {pain && <blockquote>What hurts: {pain}</blockquote>}
      <div class="two">
        <div>
          <p>
            <b>{part.name}</b>, {part.material}, {size(part.size_mm)}, cut from a blank of {size(part.blank_mm)} ({sig(part.blank_kg)} kg). {num(plan.job.per_year, 0)} a year{plan.job.batch ? `, ${num(plan.job.batch, 0)} at a time` : ""}.
          </p>
          {plan.makeable ? (
            <p class="verdict ok">✓ Every face that needs cutting is reached.</p>
          ) : (
            <div class="verdict short">
              ! Left over, because no tool of the shop reaches it:
              <ul>
                {plan.left_over.map((l, i) => (
                  <li key={i}>{l.feature}: {sig(l.mm3)} mm³, {l.why}. {l.would_do}</li>
                ))}
              </ul>
            </div>
          )}
          {part.notes.length > 0 && <ul class="small">{part.notes.map((n, i) => <li key={i}>{n}</li>)}</ul>}
        </div>
        {same && <Part3d id={same.id} name={part.name} />}
      </div>
      <h2>What is cut, and from where</h2>
      <Table
        caption="Features"
        rows={plan.features}
        columns={[
          { head: "feature", cell: (f) => f.id, words: true },
          { head: "kind", cell: (f) => f.kind.replace(/_/g, " "), words: true },
          { head: "diameter", cell: (f) => (f.diameter_mm ? len(f.diameter_mm) : "") },
          { head: "depth", cell: (f) => (f.depth_mm ? len(f.depth_mm) : "") },
          { head: "thread", cell: (f) => f.thread ?? "", words: true },
          { head: "mm³", cell: (f) => num(f.volume_mm3, 0) },
          { head: "from", cell: (f) => f.directions.map(direction).join(", "), words: true },
          { head: "tools that do it", cell: (f) => f.tools.map((t) => `T${t}`).join(" "), words: true },
        ]}
      />
      <p class="note">{plural(plan.features.length, "feature")}. Directions point from the part towards the spindle, in the file's frame.</p>
    </>
  );
}
