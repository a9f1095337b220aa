// The part as it is in the file, to turn.
import { useEffect, useRef, useState } from "preact/hooks";
import * as THREE from "three";
import { GLTFLoader } from "three/addons/loaders/GLTFLoader.js";
import { colour, drawsIn3d, View3d } from "./view3d";

export function Part3d({ id, name }: { id: string; name: string }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  const [state, setState] = useState<"waiting" | "there" | "failed">("waiting");
  useEffect(() => {
    if (!canvas.current || !drawsIn3d()) return setState("failed");
    const view = new View3d(canvas.current);
    let gone = false;
    const material = new THREE.MeshStandardMaterial({ color: colour("part"), roughness: 0.65, metalness: 0.1, side: THREE.DoubleSide });
    view.onTheme = () => material.color.copy(colour("part"));
    new GLTFLoader()
      .loadAsync(`/api/parts/${id}.glb`)
      .then((made) => {
        if (gone) return;
        made.scene.traverse((o) => {
          if (o instanceof THREE.Mesh) o.material = material;
        });
        made.scene.rotation.x = Math.PI / 2;
        made.scene.scale.setScalar(1000);
        made.scene.updateMatrixWorld(true);
        view.scene.add(made.scene);
        view.frame(new THREE.Box3().setFromObject(made.scene));
        setState("there");
      })
      .catch(() => !gone && setState("failed"));
    return () => {
      gone = true;
      view.close();
    };
  }, [id]);
  return (
    <figure class="stage part-stage" data-state={state}>
      <div class="canvas">
        <canvas ref={canvas} tabIndex={0} role="img" aria-label={`${name} in 3D. Arrow keys turn it, plus and minus zoom, zero brings the first view back.`} />
        {state === "waiting" && <p class="waiting">Drawing …</p>}
        {state === "failed" && <p class="waiting">This browser doesn't draw in 3D. Everything else works.</p>}
      </div>
      <figcaption>Drag or arrow keys turn, wheel or + and − zoom, 0 brings the first view back.</figcaption>
    </figure>
  );
}
