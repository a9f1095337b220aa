// The shop as its files say it: single values here, whole files as text, tools from a table; the files' own checks.
import { useState } from "preact/hooks";
import { call, download, get, post, put, upload, type Fault } from "./api";
import { Faults, Loaded, useFetched, Work } from "./bits";
import { chosen } from "./start";

interface Shop {
  id: string | null;
  name: string;
  revision: number;
  files: Record<string, string>;
  data: Record<string, Record<string, unknown>>;
  defaults: Record<string, Record<string, number | string>>;
}

const KINDS: [string, string][] = [
  ["machine", "Machines"],
  ["carrier", "Carriers"],
  ["clamp", "Clamps"],
  ["locator", "Locators"],
  ["tool", "Tools"],
  ["cutter", "Cutters"],
  ["holder", "Holders"],
  ["material", "Materials of your own"],
];

const RATES: [string, string][] = [
  ["operator", "an operator's hour"],
  ["bench", "an hour at the bench"],
  ["design", "an hour of design"],
  ["toolroom", "an hour in the toolroom"],
  ["allowance", "allowance on attended times, fraction"],
  ["up_time", "share of the shift that machines are up"],
  ["shift_hours", "hours a shift"],
  ["shifts_per_year", "shifts a year"],
  ["payback_limit_months", "months in which money must be back"],
  ["swap_seconds", "s for a set change by hand, door to door"],
  ["station_seconds", "s for a station with blow-off and wipe"],
];
const FLOORS: [string, string][] = [
  ["cutter", "mm, cutter or holder to what it doesn't cut"],
  ["nose", "mm, spindle nose and housings"],
  ["index", "mm over the swing while indexing"],
  ["tool_setting_error", "mm of tool-setting error"],
  ["holding", "holding factor against a stop"],
  ["holding_friction", "holding factor by friction alone"],
  ["solid_gap", "mm between bodies of two stations"],
  ["lift_kg", "kg that one person lifts"],
];

export function ShopView({ id }: { id: string }) {
  const shop = useFetched(() => get<Shop>(`/api/shops/${id}`), [id]);
  const start = useFetched(() => get<{ shops: { id: string; name: string }[] }>("/api/start"), [id]);
  const bring = async () => {
    const file = await chosen(".toml");
    if (file) location.hash = `#/shop/${(await upload<{ id: string }>("/api/shops/toml", [file])).id}`;
  };
  return (
    <div class="narrow">
      <h1>Your shop</h1>
      <nav class="tabs" aria-label="Shops">
        <a href="#/shop/example" aria-current={id === "example" ? "page" : undefined}>Comes with the program</a>
        {start.data?.shops.map((s) => (
          <a key={s.id} href={`#/shop/${s.id}`} aria-current={id === s.id ? "page" : undefined}>{s.name}</a>
        ))}
      </nav>
      <div class="row">
        <Work does={async () => (location.hash = `#/shop/${(await post<{ id: string }>("/api/shops", { name: "My shop" })).id}`)}>Copy the shipped shop to make it mine</Work>
        <Work does={bring}>Bring in a TOML file</Work>
      </div>
      <Loaded of={shop}>{(data) => <Edited key={`${data.id}`} given={data} />}</Loaded>
    </div>
  );
}

function Edited({ given }: { given: Shop }) {
  const [shop, setShop] = useState(given);
  const [error, setError] = useState<Error | null>(null);
  const [word, setWord] = useState("");
  const fixed = shop.id === null;
  const kept = async (work: () => Promise<Shop>) => {
    setError(null);
    setWord("checking …");
    try {
      setShop(await work());
      setWord("kept; every check passes");
    } catch (caught) {
      setError(caught as Error);
      setWord("not kept");
    }
  };
  const set = (file: string, loc: (string | number)[], value: unknown) => void kept(() => call<Shop>("PATCH", `/api/shops/${shop.id}`, { revision: shop.revision, file, loc, value }));
  const top = Object.keys(shop.files)[0];
  const home = (table: string) => Object.keys(shop.data).find((f) => table in shop.data[f]) ?? top;
  return (
    <>
      <div class="row spread">
        <p class="soft" role="status">{fixed ? "This one can't be changed: copy it first." : word || "Change a value; it is kept when every check of the files passes."}</p>
        <div class="row">
          <Work does={() => download(`/api/shops/${shop.id ?? "example"}/toml`)}>Give out as TOML</Work>
          {!fixed && <ToolTable shop={shop} kept={kept} />}
          {!fixed && (
            <Work kind="danger" does={async () => { if (!confirm(`Throw the shop “${shop.name}” away?`)) return; await call("DELETE", `/api/shops/${shop.id}`); location.hash = "#/shop/example"; }}>
              Throw away
            </Work>
          )}
        </div>
      </div>
      <Faults of={error} title="Not kept, because:" />
      <Values title="Rates" table="rates" keys={RATES} file={home("rates")} shop={shop} fixed={fixed} set={set} />
      <Values title="Least margins" table="floors" keys={FLOORS} file={home("floors")} shop={shop} fixed={fixed} set={set} />
      {KINDS.map(([kind, title]) => (
        <Records key={kind} kind={kind} title={title} shop={shop} fixed={fixed} set={set} />
      ))}
      {Object.entries(shop.files).map(([file, text]) => (
        <FileText key={`${file}${shop.revision}`} file={file} text={text} shop={shop} fixed={fixed} kept={kept} />
      ))}
    </>
  );
}

type Set = (file: string, loc: (string | number)[], value: unknown) => void;

function Values({ title, table, keys, file, shop, fixed, set }: { title: string; table: string; keys: [string, string][]; file: string; shop: Shop; fixed: boolean; set: Set }) {
  const values = (shop.data[file]?.[table] ?? {}) as Record<string, unknown>;
  return (
    <section>
      <h2>{title}</h2>
      <div class="values">
        {keys.map(([key, text]) => (
          <Cell key={`${key}${String(values[key])}`} label={text} value={values[key]} other={shop.defaults[table]?.[key]} fixed={fixed} onSet={(v) => set(file, [table, key], v)} />
        ))}
      </div>
      <p class="note">Where nothing stands, the grey default counts.</p>
    </section>
  );
}

function Cell({ label, value, other, fixed, onSet }: { label: string; value: unknown; other?: number | string; fixed: boolean; onSet: (v: unknown) => void }) {
  const shown = value === undefined || value === null ? "" : typeof value === "object" ? JSON.stringify(value) : String(value);
  return (
    <label class="cell">
      <span>{label}</span>
      <input type="text" defaultValue={shown} placeholder={other === undefined ? "default" : `${other} (default)`} readOnly={fixed} onChange={(e) => onSet(typed(e.currentTarget.value, value))} />
    </label>
  );
}

/** A typed text as the kind of value that stood there: numbers as numbers, texts with a unit as texts. */
export function typed(text: string, before: unknown): unknown {
  const clean = text.trim();
  if (clean === "") return null;
  if (clean === "true" || clean === "false") return clean === "true";
  if (clean.startsWith("[") || clean.startsWith("{")) {
    try {
      return JSON.parse(clean);
    } catch {
      return clean;
    }
  }
  const number = Number(clean.replace(",", "."));
  return Number.isFinite(number) && (typeof before === "number" || before === undefined || /^-?[\d.,]+$/.test(clean)) ? number : clean;
}

function Records({ kind, title, shop, fixed, set }: { kind: string; title: string; shop: Shop; fixed: boolean; set: Set }) {
  const rows = Object.entries(shop.data).flatMap(([file, data]) => ((data[kind] as Record<string, unknown>[] | undefined) ?? []).map((row, at) => ({ file, at, row })));
  if (!rows.length) return null;
  return (
    <details>
      <summary>
        <b>{title}</b> <span class="soft">{rows.length}</span>
      </summary>
      {rows.map(({ file, at, row }) => (
        <details key={`${file}${at}`} class="record">
          <summary>
            {String(row.name ?? row.id ?? `T${String(row.number)} ${String(row.cutter ?? "")}`)} <span class="soft">{String(row.kind ?? "")}</span>
          </summary>
          <div class="values">
            {Object.entries(row).map(([key, value]) => (
              <Cell key={`${key}${JSON.stringify(value)}`} label={key} value={value} fixed={fixed} onSet={(v) => set(file, [kind, at, key], v)} />
            ))}
          </div>
        </details>
      ))}
    </details>
  );
}

function ToolTable({ shop, kept }: { shop: Shop; kept: (work: () => Promise<Shop>) => Promise<void> }) {
  return (
    <Work
      title="Columns: number, kind, DC, LU, LCF, DMM, OAL, holder, stick_out"
      does={async () => {
        const file = await chosen(".csv");
        if (file) await kept(async () => post<Shop>(`/api/shops/${shop.id}/tools`, { revision: shop.revision, csv: await file.text() }));
      }}
    >
      Tools from a CSV table
    </Work>
  );
}

function FileText({ file, text, shop, fixed, kept }: { file: string; text: string; shop: Shop; fixed: boolean; kept: (work: () => Promise<Shop>) => Promise<void> }) {
  const [now, setNow] = useState(text);
  const [faults, setFaults] = useState<Fault[] | null>(null);
  const body = { revision: shop.revision, file, text: now };
  return (
    <details>
      <summary>
        <b>{file}</b> <span class="soft">as text</span>
      </summary>
      <textarea class="code" rows={24} spellcheck={false} value={now} readOnly={fixed} aria-label={`Text of ${file}`} onInput={(e) => setNow(e.currentTarget.value)} />
      {!fixed && (
        <div class="row">
          <Work does={async () => setFaults((await post<{ faults: Fault[] }>(`/api/shops/${shop.id}/try`, body)).faults)}>Only check</Work>
          <Work kind="main" does={() => kept(() => put<Shop>(`/api/shops/${shop.id}/text`, body))}>Keep</Work>
          {faults && !faults.length && <span class="ok">✓ no fault</span>}
        </div>
      )}
      <Faults of={faults} />
    </details>
  );
}
