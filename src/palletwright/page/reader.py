"""In a child: a STEP file read with limits on time and memory, and its picture made."""

from __future__ import annotations

from multiprocessing.connection import Connection

from palletwright.errors import InputError

COLOUR = (0.29, 0.42, 0.58, 1.0)


def run(pipe: Connection, file: str, solid: int | None, limits: tuple[float, int, float]) -> None:
    """Read a file under limits (s of the processor, bytes, s by the clock).

    Says ("part", (facts, picture)) or ("faults", rows).
    """
    import resource

    seconds, memory, wait = limits
    resource.setrlimit(resource.RLIMIT_AS, (memory, memory))
    resource.setrlimit(resource.RLIMIT_CPU, (int(seconds), int(seconds) + 5))
    from palletwright.solid import glb_bytes, read_step

    try:
        made = read_step(file, solid, timeout=wait - 5)
    except InputError as error:
        pipe.send(("faults", [(f.file, f.key, f.value, f.problem, f.allowed) for f in error.faults]))
        return
    except MemoryError:
        pipe.send(("faults", [(file, "", "", "needs more memory than reading may take", f"{memory / 1e9:.0f} GB")]))
        return
    low, high = made.mesh.bounds
    info = {
        "name": made.name,
        "unit": made.unit,
        "size_mm": (high - low).tolist(),
        "low_mm": low.tolist(),
        "volume_mm3": made.volume,
        "faces": len(made.faces),
        "triangles": len(made.mesh.triangles),
        "notes": list(made.notes),
    }
    pipe.send(("part", (info, glb_bytes([(made.name, made.mesh, COLOUR)]))))
