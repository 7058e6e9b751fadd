"""Reads the package's source as a graph: who imports whom, which names are used, which words stand in texts.

Everything here works on source text alone and imports nothing of the package.
"""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection

NAME = "hillsight"


@dataclass(frozen=True)
class Import:
    """One name brought into a module: ``from module import name``, or ``import module`` with no name.

    known_as : what the importing module calls it
    """

    module: str
    name: str | None
    known_as: str


@dataclass
class Module:
    """A parsed module: its dotted name, its tree and what it imports, wherever in it that stands."""

    name: str
    path: Path
    tree: ast.Module
    imports: list[Import] = field(default_factory=list)


def modules_of(package: Path) -> dict[str, Module]:
    """Every module of a package by dotted name; a package's ``__init__`` by the package's own name."""
    found = {}
    for path in sorted(package.rglob("*.py")):
        parts = (package.name, *path.relative_to(package).with_suffix("").parts)
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found[name] = parsed(name, path.read_text(encoding="utf-8"), path)
    return found


def parsed(name: str, source: str, path: Path = Path()) -> Module:
    """A module with its imports, also those inside functions and for type checking."""
    module = Module(name, path, ast.parse(source))
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            module.imports += [Import(node.module, a.name, a.asname or a.name) for a in node.names]
        elif isinstance(node, ast.Import):
            module.imports += [Import(a.name, None, a.asname or a.name.split(".")[0]) for a in node.names]
    return module


def arrows(modules: dict[str, Module]) -> dict[str, set[str]]:
    """Modules that each module imports from.

    The package's own ``__init__`` has no arrows to it or from it: it is the face, and hands out what the
    rooms hold.
    """
    found = {}
    for name, module in modules.items():
        to = set()
        for one in module.imports:
            whole = f"{one.module}.{one.name}"
            to |= {whole if whole in modules else one.module} & set(modules)
        found[name] = to - {name, NAME} if name != NAME else set()
    return found


def cycles(graph: dict[str, set[str]]) -> list[list[str]]:
    """Groups of modules that can be reached from one another, sorted (Tarjan 1972, from memory)."""
    number: dict[str, int] = {}
    lowest: dict[str, int] = {}
    open_path: list[str] = []
    found = []

    def visit(node: str) -> None:
        number[node] = lowest[node] = len(number)
        open_path.append(node)
        for other in sorted(graph.get(node, ())):
            if other not in number:
                visit(other)
                lowest[node] = min(lowest[node], lowest[other])
            elif other in open_path:
                lowest[node] = min(lowest[node], number[other])
        if lowest[node] == number[node]:
            group = open_path[open_path.index(node) :]
            del open_path[len(open_path) - len(group) :]
            if len(group) > 1:
                found.append(sorted(group))

    for node in sorted(graph):
        if node not in number:
            visit(node)
    return sorted(found)


def private_names_from_elsewhere(module: Module) -> set[str]:
    """Names with one leading underscore that a module takes from another module of the package."""
    ours = [one for one in module.imports if one.module.split(".")[0] == NAME]
    found = {f"{one.module}.{one.name}" for one in ours if one.name and _private(one.name)}
    aliases = {one.known_as: one for one in ours}
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and _private(node.attr):
            one = aliases.get(node.value.id)
            if one is not None:
                found.add(f"{one.module}.{one.name}.{node.attr}" if one.name else f"{one.module}.{node.attr}")
    return found


def _private(name: str) -> bool:
    return name.startswith("_") and not name.startswith("__")


#: An option as it is typed; not a variable of a style sheet (``var(--ink)``, ``--ink: black``).
_OPTION = re.compile(r"(?<![\w-])(?<!var\()--[a-z][a-z0-9-]*(?![\w-]*\s*:)")


def option_words(text: str) -> set[str]:
    """Options of a command line that a text names."""
    return set(_OPTION.findall(text))


def option_words_in_strings(module: Module) -> set[str]:
    """Options that any text of a module names: messages, parts of f-strings and docstrings alike."""
    texts = [
        n.value for n in ast.walk(module.tree) if isinstance(n, ast.Constant) and isinstance(n.value, str)
    ]
    return set().union(*(option_words(text) for text in texts)) if texts else set()


def public_names(module: Module) -> dict[str, ast.stmt]:
    """Functions, classes and constants at a module's top whose names do not begin with an underscore."""
    found: dict[str, ast.stmt] = {}
    for node in _top_level(module.tree.body):
        names: list[str] = []
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            names = [node.name]
        elif isinstance(node, ast.TypeAlias):
            names = [node.name.id]
        elif isinstance(node, ast.Assign):
            names = [n.id for target in node.targets for n in ast.walk(target) if isinstance(n, ast.Name)]
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            names = [node.target.id]
        found |= {name: node for name in names if not name.startswith("_")}
    return found


def _top_level(body: list[ast.stmt]) -> list[ast.stmt]:
    """Statements of a module's top, also those under a condition such as TYPE_CHECKING."""
    found = []
    for node in body:
        found.append(node)
        if isinstance(node, ast.If):
            found += _top_level([*node.body, *node.orelse])
    return found


def unused_names(modules: dict[str, Module], entry_points: Collection[str] = ()) -> set[str]:
    """Public names, as ``module:name``, that nothing in the package uses.

    A use is: the name in its own module outside its own body (also in the text of an annotation); an import
    from its module; an attribute of its module; an entry point; a word in a text of the package's own
    ``__init__``, which finds what it hands out by name. A capital name may also be fetched as an attribute of
    anything that is not an imported module, as a registry does that goes through modules.
    """
    taken: set[str] = {point.replace(":", ".") for point in entry_points}
    fetched: set[str] = set()
    for module in modules.values():
        aliases = {}
        for one in module.imports:
            whole = f"{one.module}.{one.name}" if one.name else one.module
            aliases[one.known_as] = whole
            taken.add(whole)
        for node in ast.walk(module.tree):
            if isinstance(node, ast.Attribute):
                dotted = _dotted(node)
                if dotted and dotted.split(".")[0] in aliases:
                    head, _, rest = dotted.partition(".")
                    taken |= {f"{aliases[head]}.{rest}", dotted}
                elif node.attr.isupper():
                    fetched.add(node.attr)
    face = modules.get(NAME)
    handed_out = set()
    if face is not None:
        texts = [n.value for n in ast.walk(face.tree) if isinstance(n, ast.Constant)]
        handed_out = {w for text in texts if isinstance(text, str) for w in _words(text)}
    unused = set()
    for name, module in modules.items():
        uses = _uses(module)
        for public, node in public_names(module).items():
            used = f"{name}.{public}" in taken or public in fetched or public in handed_out or name == NAME
            if not used and not uses.get(public, set()) - set(map(id, ast.walk(node))):
                unused.add(f"{name}:{public}")
    return unused


def _words(text: str) -> list[str]:
    return re.findall(r"\w+", text)


def _dotted(node: ast.expr) -> str | None:
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        before = _dotted(node.value)
        return f"{before}.{node.attr}" if before else None
    return None


def _uses(module: Module) -> dict[str, set[int]]:
    """Where a module uses each name: the identities of the nodes of its tree."""
    found: dict[str, set[int]] = {}
    for node in ast.walk(module.tree):
        words: list[str] = []
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            words = [node.id]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            # A short text of names: an annotation, cast(), __all__.
            words = _words(node.value) if re.fullmatch(r"[\w.\[\], |]{1,80}", node.value) else []
        for word in words:
            found.setdefault(word, set()).add(id(node))
    return found


def outside_packages(module: Module, standard: frozenset[str]) -> set[str]:
    """First parts of the names of what a module imports from other projects."""
    return {one.module.split(".")[0] for one in module.imports} - standard - {NAME, "__future__"}
