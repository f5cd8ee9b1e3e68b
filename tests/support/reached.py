"""Which functions of the package can be reached from a command or a public name, by reading the source alone.

The search errs towards "reached": a name that reached code reads reaches what the module knows by it, and an
attribute reaches every method of that name of every reached class. What is left over is reached by nothing.
"""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["Package", "Unit", "unreached"]

_PLAIN_DECORATORS = frozenset(
    [
        "abstractmethod",
        "cache",
        "cached_property",
        "classmethod",
        "contextmanager",
        "dataclass",
        "lru_cache",
        "override",
        "property",
        "setter",
        "staticmethod",
        "total_ordering",
        "unique",
    ]
)
"""Decorators that do not hand the function to somebody who calls it."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(eq=False)
class Unit:
    """A function, a class, a method or a constant: what is reached or not."""

    module: Module
    name: str
    node: ast.AST
    owner: Unit | None = None
    methods: list[Unit] = field(default_factory=list)

    @property
    def place(self) -> str:
        owner = f"{self.owner.name}." if self.owner else ""
        return f"{self.module.name}.{owner}{self.name}"

    @property
    def is_function(self) -> bool:
        return isinstance(self.node, Function)

    def code(self) -> Iterator[ast.AST]:
        """Yield what runs when the unit is used: for a class, its body without the methods."""
        if isinstance(self.node, ast.ClassDef):
            own = {id(method.node) for method in self.methods}
            yield from (*self.node.bases, *(word.value for word in self.node.keywords))
            yield from self.node.decorator_list
            for statement in self.node.body:
                if id(statement) in own:
                    yield from statement.decorator_list  # type: ignore[attr-defined]
                else:
                    yield statement
        else:
            yield self.node

    def is_called_by_others(self) -> bool:
        """Whether somebody outside calls it once it is there: a special method, a validator, a callback."""
        if self.owner is not None and self.name.startswith("_") and self.name.endswith("_"):
            return True
        return any(_last_name(word) not in _PLAIN_DECORATORS for word in self.node.decorator_list)  # type: ignore[attr-defined]


def _last_name(decorator: ast.expr) -> str:
    while isinstance(decorator, ast.Call):
        decorator = decorator.func
    return decorator.attr if isinstance(decorator, ast.Attribute) else ast.unparse(decorator)


class Module:
    """One file: what it defines, what it imports, and what it does when it is loaded."""

    def __init__(self, name: str, path: Path) -> None:
        self.name = name
        self.units: dict[str, list[Unit]] = {}
        self.imports: dict[str, tuple[str, str]] = {}
        self.loading: list[ast.stmt] = []
        self.is_package = path.name == "__init__.py"
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            self._note_import(node)
        self._note(tree.body)

    def _note_import(self, node: ast.AST) -> None:
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                self.imports[alias.asname or alias.name] = (node.module, alias.name)
        elif isinstance(node, ast.Import):
            for alias in node.names:
                self.imports[alias.asname or alias.name.split(".")[0]] = (alias.name, "")

    def _note(self, body: Iterable[ast.stmt]) -> None:
        for statement in body:
            if isinstance(statement, Function | ast.ClassDef):
                self._add(Unit(self, statement.name, statement))
            elif isinstance(statement, ast.Assign | ast.AnnAssign):
                targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
                for part in (part for target in targets for part in ast.walk(target)):
                    if isinstance(part, ast.Name):
                        self._add(Unit(self, part.id, statement))
            elif not isinstance(statement, ast.Import | ast.ImportFrom):
                self.loading.append(statement)

    def _add(self, unit: Unit) -> None:
        self.units.setdefault(unit.name, []).append(unit)
        if isinstance(unit.node, ast.ClassDef):
            for inner in unit.node.body:
                if isinstance(inner, Function):
                    unit.methods.append(Unit(self, inner.name, inner, unit))


class Package:
    """All modules of a package.

    Parameters
    ----------
    folder : Path
        The folder of the package; its name is the package's.
    """

    def __init__(self, folder: Path) -> None:
        self.modules: dict[str, Module] = {}
        for path in sorted(folder.rglob("*.py")):
            parts = path.relative_to(folder.parent).with_suffix("").parts
            name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
            self.modules[name] = Module(name, path)

    def units(self) -> Iterator[Unit]:
        for module in self.modules.values():
            for some in module.units.values():
                for unit in some:
                    yield unit
                    yield from unit.methods

    def find(self, module: str, name: str) -> list[Unit] | Module | None:
        """Return what a module knows by a name, through any number of imports."""
        for _ in range(20):
            inner = self.modules.get(f"{module}.{name}" if name else module)
            known = self.modules.get(module)
            if known is not None and name in known.units:
                return known.units[name]
            if known is not None and name in known.imports and known.imports[name] != (module, name):
                module, name = known.imports[name]
                continue
            return inner
        raise AssertionError(f"{module}.{name}: imports go round in circles")


class _Search:
    def __init__(self, package: Package) -> None:
        self.package = package
        self.reached: set[Unit] = set()
        self.attributes: set[str] = set()
        self.loaded: set[str] = set()
        self.waiting: list[tuple[Module, ast.AST]] = []
        self.by_name: dict[str, list[Unit]] = {}

    def reach(self, units: Iterable[Unit]) -> None:
        for unit in units:
            if unit in self.reached:
                continue
            self.reached.add(unit)
            self.load(unit.module)
            self.waiting += [(unit.module, node) for node in unit.code()]
            for method in unit.methods:
                self.by_name.setdefault(method.name, []).append(method)
                if method.is_called_by_others() or method.name in self.attributes:
                    self.reach([method])

    def load(self, module: Module) -> None:
        if module.name in self.loaded:
            return
        self.loaded.add(module.name)
        self.waiting += [(module, statement) for statement in module.loading]
        for units in module.units.values():
            self.reach(unit for unit in units if unit.is_function and unit.is_called_by_others())
        for source, name in module.imports.values():
            for place in (source, f"{source}.{name}"):
                if place in self.package.modules:
                    self.load(self.package.modules[place])

    def run(self) -> None:
        while self.waiting:
            module, tree = self.waiting.pop()
            for node in ast.walk(tree):
                if not isinstance(getattr(node, "ctx", None), ast.Load):
                    continue  # not a name, or one that is given a value
                if isinstance(node, ast.Name):
                    self._meet(self.package.find(module.name, node.id))
                elif isinstance(node, ast.Attribute):
                    self._attribute(module, node)

    def _meet(self, found: list[Unit] | Module | None) -> None:
        if isinstance(found, Module):
            self.load(found)
        elif found is not None:
            self.reach(found)

    def _attribute(self, module: Module, node: ast.Attribute) -> None:
        base = self._module_of(module, node.value)
        if base is not None:
            self._meet(self.package.find(base.name, node.attr))
        elif node.attr not in self.attributes:
            self.attributes.add(node.attr)
            self.reach(self.by_name.get(node.attr, []))

    def _module_of(self, module: Module, node: ast.expr) -> Module | None:
        if isinstance(node, ast.Name):
            found = self.package.find(module.name, node.id)
        elif isinstance(node, ast.Attribute) and (base := self._module_of(module, node.value)) is not None:
            found = self.package.find(base.name, node.attr)
        else:
            return None
        return found if isinstance(found, Module) else None


def unreached(package: Package, roots: Iterable[tuple[str, str]]) -> list[Unit]:
    """Return what no root reaches, in the order of the files.

    Parameters
    ----------
    package : Package
    roots : iterable of (str, str)
        Module and name of what people call: commands and public names. Of a class, every public method.
    """
    search = _Search(package)
    for module, name in roots:
        found = package.find(module, name)
        if not isinstance(found, list):
            raise LookupError(f"{module}.{name}: no such name")
        search.reach(found)
        search.reach(method for unit in found for method in unit.methods if not method.name.startswith("_"))
    search.run()
    return [unit for unit in package.units() if unit not in search.reached]
