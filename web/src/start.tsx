// The first view: begin with a part, go on with a job.
import { call, get, post, upload } from "./api";
import { Faults, Loaded, useFetched, Work } from "./bits";
import { useState } from "preact/hooks";
import { plural, when } from "./format";
import { Drop } from "./drop";

interface Start {
  version: string;
  jobs: { id: string; name: string; changed: string; has_part: boolean; plans: number }[];
  shops: { id: string; name: string; changed: string }[];
  examples: string[];
}

const open = (id: string) => {
  location.hash = `#/job/${id}`;
};

async function begin(file?: File): Promise<void> {
  const { id } = await post<{ id: string }>("/api/jobs", { name: "" });
  try {
    if (file) await upload(`/api/jobs/${id}/part`, [file]);
  } catch (error) {
    await call("DELETE", `/api/jobs/${id}`);
    throw error;
  }
  open(id);
}

export function StartView() {
  const start = useFetched(() => get<Start>("/api/start"), []);
  const [error, setError] = useState<Error | null>(null);
  return (
    <div class="narrow">
      <h1>Which part costs you the most standing time?</h1>
      <p class="lede">
        Drop its solid model here. You will see how many fit on each fixture, what holds them, how long the machine runs alone, and what a part then costs.
      </p>
      <Drop label="Drop a STEP file, or choose one" onFile={(f) => begin(f).catch(setError)} />
      <Faults of={error} title="This file can't be used:" />
      <div class="row">
        <Work does={() => begin()}>Begin without a file</Work>
        <CopyIn />
        {start.data?.examples.map((name) => (
          <Work key={name} does={async () => open((await post<{ id: string }>("/api/jobs", { example: name })).id)}>
            Example: {name.replace(/_/g, " ")}
          </Work>
        ))}
      </div>
      <h2>Your jobs</h2>
      <Loaded of={start}>
        {(data) =>
          data.jobs.length ? (
            <ul class="cards">
              {data.jobs.map((j) => (
                <li key={j.id}>
                  <a href={`#/job/${j.id}`}>
                    <b>{j.name || "Without a name yet"}</b>
                    <span>{j.plans ? plural(j.plans, "plan") : j.has_part ? "not planned yet" : "no part yet"}</span>
                    <span class="soft">{when(j.changed)}</span>
                  </a>
                </li>
              ))}
            </ul>
          ) : (
            <p class="empty">None yet. The example shows what comes out, in two minutes.</p>
          )
        }
      </Loaded>
    </div>
  );
}

function CopyIn() {
  return (
    <Work
      does={async () => {
        const file = await chosen(".zip");
        if (file) open((await upload<{ id: string }>("/api/archives", [file])).id);
      }}
    >
      Bring in a job from a file
    </Work>
  );
}

/** Asks for one file of this machine. */
export function chosen(accept: string): Promise<File | null> {
  return new Promise((resolve) => {
    const input = document.createElement("input");
    input.type = "file";
    input.accept = accept;
    input.onchange = () => resolve(input.files?.[0] ?? null);
    input.oncancel = () => resolve(null);
    input.click();
  });
}
