// Small pieces that every view uses.
import type { ComponentChildren } from "preact";
import { useCallback, useEffect, useRef, useState } from "preact/hooks";
import { faultText, Refused, type Fault } from "./api";

/** Data that is fetched, with its waiting and failed states. */
export function useFetched<T>(make: () => Promise<T>, on: unknown[]): { data: T | null; error: Error | null; again: () => Promise<void> } {
  const [state, set] = useState<{ data: T | null; error: Error | null }>({ data: null, error: null });
  const turn = useRef(0);
  const again = useCallback(async () => {
    const mine = ++turn.current;
    try {
      const data = await make();
      if (mine === turn.current) set({ data, error: null });
    } catch (error) {
      if (mine === turn.current) set((s) => ({ data: s.data, error: error as Error }));
    }
  }, on);
  useEffect(() => {
    set((s) => ({ ...s, error: null }));
    void again();
  }, [again]);
  return { ...state, again };
}

export function Faults({ of, title }: { of: Error | Fault[] | null; title?: string }) {
  const faults = of instanceof Refused ? of.faults : of instanceof Error ? [{ problem: of.message }] : (of ?? []);
  if (!faults.length) return null;
  return (
    <div class="faults" role="alert">
      {title && <strong>{title}</strong>}
      <ul>
        {faults.map((f, i) => (
          <li key={i}>{faultText(f)}</li>
        ))}
      </ul>
      {of instanceof Refused && of.elsewhere && <button type="button" onClick={() => location.reload()}>Load it again</button>}
    </div>
  );
}

/** Waiting, failed or there: the same place on the page for all three, so that nothing jumps. */
export function Loaded<T>({ of, children }: { of: { data: T | null; error: Error | null; again?: () => Promise<void> }; children: (data: T) => ComponentChildren }) {
  if (of.data) return <>{children(of.data)}</>;
  if (!of.error) return <p class="waiting">One moment …</p>;
  return (
    <div class="failed">
      <Faults of={of.error} title="This could not be shown." />
      {of.again && (
        <button type="button" onClick={() => void of.again?.()}>
          Try again
        </button>
      )}
    </div>
  );
}

/** A button whose work takes a while: it says so, can't be pressed twice, and shows what was refused. */
export function Work({ does, children, kind = "", disabled = false, title }: { does: () => Promise<unknown>; children: ComponentChildren; kind?: string; disabled?: boolean; title?: string }) {
  const [busy, setBusy] = useState(false);
  const [error, setError] = useState<Error | null>(null);
  const press = async () => {
    setBusy(true);
    setError(null);
    try {
      await does();
    } catch (caught) {
      setError(caught as Error);
    } finally {
      setBusy(false);
    }
  };
  return (
    <span class="work">
      <button type="button" class={kind} disabled={busy || disabled} aria-busy={busy} onClick={() => void press()} title={title}>
        {children}
        {busy && <span class="busy" aria-hidden="true" />}
      </button>
      <Faults of={error} />
    </span>
  );
}

export function Fact({ value, text, today }: { value: string; text: string; today?: string }) {
  return (
    <div class="fact">
      <b>{value}</b>
      <span>{text}</span>
      {today && <em>today {today}</em>}
    </div>
  );
}

export interface Column<T> {
  head: string;
  cell: (row: T) => ComponentChildren;
  words?: boolean;
}

export function Table<T>({ rows, columns, mark, caption }: { rows: T[]; columns: Column<T>[]; mark?: (row: T) => string; caption?: string }) {
  return (
    <div class="wide" role="region" aria-label={caption ?? "Table"} tabIndex={0}>
      <table>
        {caption && <caption class="unseen">{caption}</caption>}
        <thead>
          <tr>
            {columns.map((c) => (
              <th scope="col" class={c.words ? "words" : ""} key={c.head}>
                {c.head}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {rows.map((row, i) => (
            <tr class={mark?.(row) ?? ""} key={i}>
              {columns.map((c) => (
                <td class={c.words ? "words" : ""} data-of={c.head} key={c.head}>
                  {c.cell(row)}
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

/** A passed or failed check: a word and a sign, never a colour alone. */
export const Passed = ({ ok }: { ok: boolean }) => <span class={ok ? "ok" : "short"}>{ok ? "✓ holds" : "✗ short"}</span>;
