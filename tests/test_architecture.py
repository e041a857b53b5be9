"""Arrows go one way: no room imports a room to its right."""

import ast
from pathlib import Path

SOURCE = Path(__file__).parents[1] / "src" / "gracewright"
ORDER = ["errors", "pitch", "score", "study", "instruments", "graces", "divisions", "taste", "review",
         "sound", "sheet", "job", "desk", "cli"]  # fmt: skip


def imports_of(path: Path) -> set[str]:
    """First name below ``gracewright`` of each import in a module, wherever it stands in the module."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("gracewright."):
            found.add(node.module.split(".")[1])
        elif isinstance(node, ast.ImportFrom) and node.module == "gracewright":
            found.update(name.name for name in node.names if name.name in ORDER)
        elif isinstance(node, ast.Import):
            found.update(name.name.split(".")[1] for name in node.names if name.name.startswith("gracewright."))
    return found


def modules() -> list[tuple[str, Path]]:
    return [(path.relative_to(SOURCE).parts[0].removesuffix(".py"), path) for path in sorted(SOURCE.rglob("*.py"))]


def test_no_room_imports_a_room_to_its_right():
    wrong = [
        f"{path.relative_to(SOURCE)} imports {name}"
        for room, path in modules()
        if room in ORDER
        for name in imports_of(path)
        if name in ORDER and ORDER.index(name) > ORDER.index(room)
    ]

    assert wrong == []


def test_every_room_has_its_place_in_the_order():
    assert {room for room, _ in modules()} - {"__init__", "__main__", "data"} <= set(ORDER)
