// Talks to the server of this page, and to nobody else.

export interface Fault {
  file?: string;
  key?: string;
  value?: string;
  problem: string;
  allowed?: string;
  line?: number | null;
}

/** What the server refused, fault by fault. */
export class Refused extends Error {
  constructor(
    readonly status: number,
    readonly faults: Fault[],
  ) {
    super(faults.map(faultText).join("\n"));
  }

  /** Whether another window kept something in between. */
  get elsewhere(): boolean {
    return this.status === 409 && this.message.includes("another window");
  }
}

/** One fault as a sentence. */
export function faultText(f: Fault): string {
  const where = [f.file && f.file !== "job" ? f.file : "", f.line ? `line ${f.line}` : ""].filter(Boolean).join(", ");
  const what = f.key ? (f.value ? `${f.key} = ${f.value}` : f.key) : "";
  const head = [where, what].filter(Boolean).join(": ");
  return `${head ? head + " " : ""}${f.problem}${f.allowed ? ` (allowed: ${f.allowed})` : ""}`;
}

const KEY = "palletwright-key";

/** Takes the key from the address, once, and keeps it for this browser; the address then no longer shows it. */
export async function enter(): Promise<void> {
  const given = /^#key=([\w-]+)$/.exec(location.hash)?.[1];
  if (!given) return;
  localStorage.setItem(KEY, given);
  history.replaceState(null, "", location.pathname);
  await call("POST", "/api/enter", { key: given });
}

export async function call<T = unknown>(method: string, path: string, body?: unknown): Promise<T> {
  const headers: Record<string, string> = {};
  const key = localStorage.getItem(KEY);
  if (key) headers["x-palletwright-key"] = key;
  const form = body instanceof FormData;
  if (body !== undefined && !form) headers["content-type"] = "application/json";
  let answer: Response;
  try {
    answer = await fetch(path, {
      method,
      headers,
      body: body === undefined ? undefined : form ? body : JSON.stringify(body),
    });
  } catch {
    throw new Refused(0, [{ problem: "The program doesn't answer. Was palletwright serve ended? Start it again; nothing is lost." }]);
  }
  if (!answer.ok) throw await refusal(answer);
  return (await answer.json()) as T;
}

async function refusal(answer: Response): Promise<Refused> {
  try {
    const data = (await answer.json()) as { faults?: Fault[] };
    return new Refused(answer.status, data.faults ?? [{ problem: `refused (${answer.status})` }]);
  } catch {
    return new Refused(answer.status, [{ problem: `refused (${answer.status})` }]);
  }
}

export const get = <T>(path: string) => call<T>("GET", path);
export const post = <T>(path: string, body?: unknown) => call<T>("POST", path, body);
export const put = <T>(path: string, body?: unknown) => call<T>("PUT", path, body);

/** Sends a file as it is. */
export function upload<T>(path: string, files: File[]): Promise<T> {
  const form = new FormData();
  for (const file of files) form.append("file", file, file.name);
  return call<T>("POST", path, form);
}

/** Fetches a file and hands it to the browser's downloads; a refusal is thrown, not shown as a page. */
export async function download(path: string): Promise<void> {
  const answer = await fetch(path);
  if (!answer.ok) throw await refusal(answer);
  const said = /filename\*=UTF-8''([^;]+)/.exec(answer.headers.get("content-disposition") ?? "")?.[1];
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await answer.blob());
  link.download = said ? decodeURIComponent(said) : "file";
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
