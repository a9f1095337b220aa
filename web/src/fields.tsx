// Inputs with their labels, hints and faults tied to them.
import type { ComponentChildren } from "preact";
import { useId } from "preact/hooks";
import { inMm, inUnit, unitNow } from "./format";

interface Common {
  label: string;
  hint?: ComponentChildren;
  fault?: string;
}

export function Text({ label, hint, fault, value, onInput, long, list }: Common & { value: string; onInput: (v: string) => void; long?: boolean; list?: string[] }) {
  const id = useId();
  const shared = {
    id,
    value,
    "aria-describedby": hint || fault ? `${id}-hint` : undefined,
    "aria-invalid": fault ? true : undefined,
  };
  return (
    <div class="field">
      <label for={id}>{label}</label>
      {long ? (
        <textarea {...shared} rows={3} onInput={(e) => onInput(e.currentTarget.value)} />
      ) : (
        <input {...shared} type="text" list={list ? `${id}-list` : undefined} onInput={(e) => onInput(e.currentTarget.value)} />
      )}
      {list && (
        <datalist id={`${id}-list`}>
          {list.map((v) => (
            <option value={v} key={v} />
          ))}
        </datalist>
      )}
      <Hint id={`${id}-hint`} hint={hint} fault={fault} />
    </div>
  );
}

export function Num({ label, hint, fault, value, onInput, unit, min, step = "any", placeholder }: Common & { value: number | null | undefined; onInput: (v: number | null) => void; unit?: string; min?: number; step?: number | "any"; placeholder?: string }) {
  const id = useId();
  return (
    <div class="field">
      <label for={id}>
        {label}
        {unit && <span class="soft">, {unit}</span>}
      </label>
      <input
        id={id}
        type="number"
        value={value ?? ""}
        min={min}
        step={step}
        placeholder={placeholder}
        aria-describedby={hint || fault ? `${id}-hint` : undefined}
        aria-invalid={fault ? true : undefined}
        onInput={(e) => onInput(e.currentTarget.value === "" ? null : e.currentTarget.valueAsNumber)}
      />
      <Hint id={`${id}-hint`} hint={hint} fault={fault} />
    </div>
  );
}

/** A length that is kept in mm and shown in the reader's unit. */
export function Length({ value, onInput, placeholder, min, ...more }: Common & { value: number | null | undefined; onInput: (mm: number | null) => void; placeholder?: number | string; min?: number }) {
  return (
    <Num
      {...more}
      unit={unitNow() === "mm" ? "mm" : "in"}
      min={min === undefined ? undefined : inUnit(min)}
      value={value === null || value === undefined ? value : inUnit(value)}
      placeholder={typeof placeholder === "number" ? String(inUnit(placeholder)) : placeholder}
      onInput={(v) => onInput(v === null ? null : inMm(v))}
    />
  );
}

export function Choice({ label, hint, fault, value, onInput, options }: Common & { value: string; onInput: (v: string) => void; options: [string, string][] }) {
  const id = useId();
  return (
    <div class="field">
      <label for={id}>{label}</label>
      <select id={id} value={value} aria-describedby={hint || fault ? `${id}-hint` : undefined} aria-invalid={fault ? true : undefined} onChange={(e) => onInput(e.currentTarget.value)}>
        {options.map(([v, text]) => (
          <option value={v} key={v}>
            {text}
          </option>
        ))}
      </select>
      <Hint id={`${id}-hint`} hint={hint} fault={fault} />
    </div>
  );
}

export function Check({ label, value, onInput }: { label: string; value: boolean; onInput: (v: boolean) => void }) {
  return (
    <label class="check">
      <input type="checkbox" checked={value} onChange={(e) => onInput(e.currentTarget.checked)} /> {label}
    </label>
  );
}

function Hint({ id, hint, fault }: { id: string; hint?: ComponentChildren; fault?: string }) {
  if (!hint && !fault) return null;
  return (
    <p class="hint" id={id}>
      {fault ? <span class="short">! {fault}</span> : hint}
    </p>
  );
}
