"""Imports point one way: along the flow. The CAD kernel stays in its room. Files keep the house's names."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "palletwright"

FLOW = (
    *("verdict", "errors", "units", "progress", "cache"),
    *("shop", "job", "solid", "field", "cutting", "grip", "access", "scene", "holding", "layout", "reach"),
    *("cycle", "flow", "plan", "papers", "page", "demo", "verbs", "tables", "cli"),
)
ABOVE_THE_FLOW = ("__init__", "__main__", "warm")
KERNEL = ("OCP", "build123d")
KERNEL_USERS = ("solid", "demo/parts.py")
"""The room that knows the kernel, and the script that modelled the example's parts."""

FORBIDDEN = {"utils", "util", "common", "helpers", "helper", "misc", "core", "manager", "managers", "base_utils"}
LONGEST_FILE = 400


def room_of(file: Path, root: Path = SOURCE) -> str:
    """The room that a file belongs to: its folder, or its own name at the top."""
    return file.relative_to(root).parts[0].removesuffix(".py")


def imports_of(file: Path, root: Path = SOURCE) -> Iterator[tuple[int, str]]:
    """(line, dotted module) of every import, wherever it stands, relative ones made absolute."""
    package = ["palletwright", *file.relative_to(root).parts[:-1]]
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, name.name) for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            yield node.lineno, module
            yield from ((node.lineno, f"{module}.{name.name}") for name in node.names)


def arrows(root: Path = SOURCE) -> dict[tuple[str, str], str]:
    """(from room, to room) with one place where it happens."""
    found: dict[tuple[str, str], str] = {}
    for file in sorted(root.rglob("*.py")):
        for line, module in imports_of(file, root):
            parts = module.split(".")
            if parts[0] == "palletwright" and len(parts) > 1 and parts[1] in FLOW:
                found.setdefault((room_of(file, root), parts[1]), f"{file.relative_to(root)}:{line}")
    return found


def against_the_flow(found: dict[tuple[str, str], str]) -> list[str]:
    """Arrows that point down the flow, or to a room that the flow doesn't know."""
    wrong = []
    for (source, target), where in found.items():
        if source in ABOVE_THE_FLOW or source == target:
            continue
        if source not in FLOW or FLOW.index(target) > FLOW.index(source):
            wrong.append(f"{where}: {source} imports {target}")
    return wrong


def module_name(file: Path) -> str:
    parts = ["palletwright", *file.relative_to(SOURCE).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def at_import(file: Path) -> Iterator[str]:
    """Modules that are imported when this one is: those inside functions and under TYPE_CHECKING are not."""
    pending: list[ast.stmt] = list(ast.parse(file.read_text(encoding="utf-8")).body)
    while pending:
        node = pending.pop()
        if isinstance(node, ast.If) and "TYPE_CHECKING" not in ast.unparse(node.test):
            pending += [*node.body, *node.orelse]
        elif isinstance(node, ast.Try):
            pending += [*node.body, *node.orelse, *node.finalbody]
        elif isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and not node.level and node.module:
            inner = {f"{node.module}.{name.name}" for name in node.names}
            known = {m for m in inner if _is_module(m)}
            yield from known
            if inner - known:
                yield node.module


def _is_module(dotted: str) -> bool:
    place = SOURCE.parent.joinpath(*dotted.split("."))
    return place.with_suffix(".py").is_file() or (place / "__init__.py").is_file()


def test_imports_follow_the_flow() -> None:
    assert against_the_flow(arrows()) == []


def test_an_arrow_against_the_flow_is_found(tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()
    (tmp_path / "shop" / "model.py").write_text("def f():\n    from ..job import model\n")
    (tmp_path / "stray.py").write_text("from palletwright import plan\n")
    assert against_the_flow(arrows(tmp_path)) == ["shop/model.py:2: shop imports job", "stray.py:1: stray imports plan"]


def test_no_module_imports_itself_in_a_circle() -> None:
    names = {module_name(file): file for file in SOURCE.rglob("*.py")}
    graph = {name: {m for m in at_import(file) if m in names and m != name} for name, file in names.items()}
    finished: set[str] = set()

    def walk(name: str, trail: tuple[str, ...]) -> None:
        assert name not in trail, " -> ".join((*trail[trail.index(name) :], name))
        if name not in finished:
            for target in sorted(graph[name]):
                walk(target, (*trail, name))
            finished.add(name)

    for name in sorted(graph):
        walk(name, ())


def test_only_the_solid_room_knows_the_cad_kernel() -> None:
    wrong = [
        f"{file.relative_to(SOURCE)}:{line} imports {module}"
        for file in sorted(SOURCE.rglob("*.py"))
        if not str(file.relative_to(SOURCE)).startswith(KERNEL_USERS)
        for line, module in imports_of(file)
        if module.split(".")[0] in KERNEL
    ]
    assert wrong == []


def test_every_room_is_in_the_flow() -> None:
    rooms = {room_of(file) for file in SOURCE.rglob("*.py")}
    assert rooms <= {*FLOW, *ABOVE_THE_FLOW}


def test_files_say_what_idea_they_hold() -> None:
    wrong = [str(f.relative_to(SOURCE)) for f in SOURCE.rglob("*.py") if set(f.with_suffix("").parts[-2:]) & FORBIDDEN]
    assert wrong == []


def test_folders_are_at_most_two_deep_and_files_short_enough_to_read() -> None:
    deep = [str(f) for f in SOURCE.rglob("*.py") if len(f.relative_to(SOURCE).parts) > 3]
    long = [f"{f.name}: {n}" for f in SOURCE.rglob("*.py") if (n := len(f.read_text().splitlines())) > LONGEST_FILE]
    assert deep + long == []


@pytest.mark.parametrize("name", ["README.md", "LICENSE", "CHANGELOG.md"])
def test_the_papers_of_a_project_are_there(name: str) -> None:
    assert (ROOT / name).is_file()
