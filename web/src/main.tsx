// Which view the address asks for.
import { render } from "preact";
import { useEffect, useErrorBoundary, useState } from "preact/hooks";
import { enter, Refused } from "./api";
import { Faults } from "./bits";
import { setUnit, unitNow } from "./format";
import { JobView } from "./job";
import { PlanView } from "./plan";
import { SheetView } from "./sheet";
import { ShopView } from "./shop";
import { StartView } from "./start";

function useRoute(): string[] {
  const [route, set] = useState(location.hash);
  useEffect(() => {
    const changed = () => {
      set(location.hash);
      window.scrollTo(0, 0);
    };
    addEventListener("hashchange", changed);
    set(location.hash); // it may have changed before anybody listened
    return () => removeEventListener("hashchange", changed);
  }, []);
  return route.replace(/^#\/?/, "").split("/").filter(Boolean).map(decodeURIComponent);
}

/** A view that breaks says so, and the way back stays open. */
function Guarded({ route }: { route: string[] }) {
  const [broken, mend] = useErrorBoundary();
  useEffect(() => void (broken && mend()), [route.join("/")]);
  if (!broken) return <View route={route} />;
  return (
    <div class="failed failed-view">
      <h1>This could not be shown</h1>
      <Faults of={broken as Error} />
      <p>Nothing that was entered is lost.</p>
      <button type="button" onClick={mend}>Try again</button> <a class="button" href="#/">To the jobs</a>
    </div>
  );
}

function View({ route }: { route: string[] }) {
  const [kind, id, ...rest] = route;
  if (kind === "job" && id) return <JobView id={id} key={id} />;
  if (kind === "plan" && id) return <PlanView id={id} question={rest[0] ?? "part"} way={Number(rest[1] ?? 0)} key={id} />;
  if (kind === "machine" && id) return <SheetView id={id} way={Number(rest[0] ?? 0)} page={rest[1] ?? "load"} />;
  if (kind === "shop" && id) return <ShopView id={id} key={id} />;
  return <StartView />;
}

function Page() {
  const route = useRoute();
  const [, draw] = useState(0);
  const [error, setError] = useState<Error | null>(null);
  useEffect(() => {
    const failed = (e: PromiseRejectionEvent) => e.reason instanceof Refused && setError(e.reason);
    addEventListener("unhandledrejection", failed);
    return () => removeEventListener("unhandledrejection", failed);
  }, []);
  const other = unitNow() === "mm" ? "inch" : "mm";
  return (
    <>
      <a class="skip" href="#main" onClick={(e) => { e.preventDefault(); document.getElementById("main")?.focus(); }}>
        To the content
      </a>
      <header class="top">
        <a class="home" href="#/">Palletwright</a>
        <nav aria-label="Places">
          <a href="#/" aria-current={route.length === 0 ? "page" : undefined}>Jobs</a>
          <a href="#/shop/example" aria-current={route[0] === "shop" ? "page" : undefined}>Shops</a>
        </nav>
        <button type="button" class="quiet" onClick={() => { setUnit(other); draw((n) => n + 1); }}>
          Lengths in {unitNow() === "mm" ? "mm" : "inch"} <span class="soft">(show {other})</span>
        </button>
      </header>
      <Faults of={error} />
      <main id="main" tabIndex={-1}>
        <Guarded route={route} key={unitNow()} />
      </main>
    </>
  );
}

await enter().catch(() => undefined);
const place = document.getElementById("page")!;
place.replaceChildren();
render(<Page />, place);
