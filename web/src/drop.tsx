// Where a STEP file goes in: dropped anywhere on the page, or chosen.
import { useEffect, useRef, useState } from "preact/hooks";

export function Drop({ label, onFile }: { label: string; onFile: (file: File) => Promise<unknown> }) {
  const [over, setOver] = useState(false);
  const [busy, setBusy] = useState("");
  const latest = useRef(onFile);
  latest.current = onFile;
  const take = async (file: File | undefined) => {
    if (!file) return;
    setBusy(file.name);
    try {
      await latest.current(file);
    } finally {
      setBusy("");
    }
  };
  useEffect(() => {
    const drag = (e: DragEvent) => {
      if (!e.dataTransfer?.types.includes("Files")) return;
      e.preventDefault();
      setOver(e.type === "dragover");
    };
    const drop = (e: DragEvent) => {
      if (!e.dataTransfer?.files.length) return;
      e.preventDefault();
      setOver(false);
      void take(e.dataTransfer.files[0]);
    };
    addEventListener("dragover", drag);
    addEventListener("dragleave", drag);
    addEventListener("drop", drop);
    return () => {
      removeEventListener("dragover", drag);
      removeEventListener("dragleave", drag);
      removeEventListener("drop", drop);
    };
  }, []);
  return (
    <label class={`drop${over ? " over" : ""}${busy ? " busy-now" : ""}`}>
      <input
        type="file"
        accept=".step,.stp,.p21"
        class="unseen"
        onChange={(e) => {
          const input = e.currentTarget;
          void take(input.files?.[0]).then(() => (input.value = ""));
        }}
      />
      <span aria-live="polite">{busy ? `Reading ${busy} …` : label}</span>
    </label>
  );
}
