// The picture of one way with its controls.
import type { RefObject } from "preact";
import { useEffect, useRef, useState } from "preact/hooks";
import { post } from "./api";
import { Work } from "./bits";
import { Fixture, type Options } from "./fixture";
import { num } from "./format";
import type { Dimension, SceneData, Station } from "./types";
import { drawsIn3d, View3d } from "./view3d";

export interface Marked {
  found: Dimension | null;
  where: number[] | null;
  text: string;
}

/** Hands the canvas to the browser's downloads as it is seen. */
function picture(canvas: HTMLCanvasElement): void {
  const link = document.createElement("a");
  link.href = canvas.toDataURL("image/png");
  link.download = "fixture.png";
  link.click();
}

interface Props {
  data: SceneData;
  address: string;
  picked: string;
  onPick: (station: string) => void;
  marked: Marked | null;
  moved: Options["moved"];
  stations: Station[];
  sideAngles: { name: string; angle: number }[];
}

interface AsCut {
  after: Record<string, string>;
  meshes: Record<string, { vertices: string; triangles: string }>;
}

export function Fixture3d({ data, address, picked, onPick, marked, moved, stations, sideAngles }: Props) {
  const canvas = useRef<HTMLCanvasElement>(null);
  const made: RefObject<Fixture | null> = useRef<Fixture | null>(null);
  const label = useRef<HTMLDivElement>(null);
  const [cycle, setCycle] = useState(0);
  const [angle, setAngle] = useState(0);
  const [machine, setMachine] = useState(false);
  const [apart, setApart] = useState(0);
  const [section, setSection] = useState(0);
  const [cut, setCut] = useState<AsCut | null>(null);
  const [asCut, setAsCut] = useState(false);
  const [works] = useState(drawsIn3d);
  const cycles = data.scene?.cycles.length ?? 0;
  const turns = data.machine?.axis && data.scene?.cycles[cycle]?.bodies.some((b) => b.group !== "table");

  useEffect(() => {
    if (!canvas.current || !works) return;
    const view = new View3d(canvas.current);
    const fixture = new Fixture(view);
    made.current = fixture;
    view.onTheme = () => fixture.themed();
    view.onDraw = () => {
      const tag = label.current;
      if (!tag) return;
      const at = fixture.label && view.onScreen(fixture.label.at);
      tag.hidden = !at;
      if (!at || !fixture.label) return;
      tag.textContent = fixture.label.text;
      tag.style.transform = `translate(${at.x + 14}px, ${at.y - 34}px)`;
    };
    return () => {
      fixture.close();
      view.close();
      made.current = null;
    };
  }, [works]);
  const seen = useRef<SceneData["scene"]>(null);
  useEffect(() => {
    const fixture = made.current;
    if (!fixture) return;
    fixture.show(data, { cycle, machine, asCut: asCut && cut ? cut.after : null, moved }, cut?.meshes);
    fixture.pick(picked);
    if (seen.current === null) fixture.frame();
    seen.current = data.scene;
  }, [data, cycle, machine, asCut, cut, moved]);
  useEffect(() => made.current?.turn(angle), [angle, data, cycle]);
  useEffect(() => made.current?.pull(apart), [apart]);
  useEffect(() => made.current?.section(section), [section, machine, cycle]);
  useEffect(() => made.current?.pick(picked), [picked]);
  useEffect(() => {
    made.current?.mark(marked?.found ?? null, marked?.where ?? null, marked?.text ?? "");
    if (marked?.found) setAngle(Math.round(marked.found.angle * 10) / 10);
  }, [marked]);

  const down = useRef<[number, number] | null>(null);
  const click = (e: PointerEvent) => {
    const from = down.current;
    down.current = null;
    if (!from || Math.hypot(e.clientX - from[0], e.clientY - from[1]) > 4 || !canvas.current) return;
    const box = canvas.current.getBoundingClientRect();
    onPick(made.current?.stationAt(((e.clientX - box.left) / box.width) * 2 - 1, 1 - ((e.clientY - box.top) / box.height) * 2) ?? "");
  };
  const firstCut = async () => {
    setCut(await post<AsCut>(`${address}/cut`));
    setAsCut(true);
  };
  if (!works) return <p class="notice">This browser doesn't draw in 3D. The sides below show every station.</p>;
  return (
    <figure class="stage">
      <div class="canvas">
        <canvas
          ref={canvas}
          tabIndex={0}
          role="img"
          aria-label="The fixture in 3D. Arrow keys turn it, plus and minus zoom, zero brings the first view back. Choose a station in the list beside it."
          onPointerDown={(e) => (down.current = [e.clientX, e.clientY])}
          onPointerUp={click}
        />
        <div class="tag" ref={label} hidden />
      </div>
      <figcaption class="controls">
        {cycles > 1 && (
          <label>
            start{" "}
            <select value={cycle} onChange={(e) => setCycle(Number(e.currentTarget.value))}>
              {Array.from({ length: cycles }, (_, i) => <option value={i} key={i}>{i + 1}</option>)}
            </select>
          </label>
        )}
        {turns && (
          <>
            <label>
              index angle <input type="range" min={0} max={360} step={1} value={angle} onInput={(e) => setAngle(e.currentTarget.valueAsNumber)} /> <output>{num(angle, 0)}°</output>
            </label>
            <span class="group">
              {sideAngles.map((s) => (
                <button type="button" class="small" key={s.name} onClick={() => setAngle(s.angle)} aria-label={`${s.name} towards the spindle`}>{s.name}</button>
              ))}
            </span>
          </>
        )}
        <label>section <input type="range" min={0} max={0.98} step={0.02} value={section} onInput={(e) => setSection(e.currentTarget.valueAsNumber)} /></label>
        <label>pull apart <input type="range" min={0} max={120} step={2} value={apart} onInput={(e) => setApart(e.currentTarget.valueAsNumber)} /></label>
        <label class="check"><input type="checkbox" checked={machine} onChange={(e) => setMachine(e.currentTarget.checked)} /> machine round it</label>
        {cut ? (
          <label class="check"><input type="checkbox" checked={asCut} onChange={(e) => setAsCut(e.currentTarget.checked)} /> parts as cut</label>
        ) : (
          <Work kind="small" does={firstCut}>Parts as cut</Work>
        )}
        <button type="button" class="small" onClick={() => canvas.current && picture(canvas.current)}>Save this picture</button>
        <label>
          station{" "}
          <select value={picked} onChange={(e) => onPick(e.currentTarget.value)}>
            <option value="">none</option>
            {stations.flatMap((s) => s.parts).map((n) => <option value={n} key={n}>{n}</option>)}
          </select>
        </label>
      </figcaption>
    </figure>
  );
}
