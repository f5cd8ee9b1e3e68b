"""Where tests assert, read from their source: which assertions run for certain, and which only if a loop has turns.

An assertion in a loop over nothing passes. It runs *for certain* where it stands outside every loop, condition and
comprehension, or in loops that have a turn whatever the program does: over literals, constants (``UPPER_CASE``, enums,
``range`` of a number) and parameters of the test. A call of a function that asserts for certain counts as an assertion.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

Function = ast.FunctionDef | ast.AsyncFunctionDef
Comprehension = ast.ListComp | ast.SetComp | ast.GeneratorExp | ast.DictComp

ORDERED = {
    "enumerate",
    "zip",
    "sorted",
    "list",
    "tuple",
    "set",
    "reversed",
    "product",
    "permutations",
    "pairwise",
}
"""Functions that give turns where all their arguments do."""

OUTSIDE = {"raises", "warns", "fail", "check_call"}
"""Functions of other packages that fail a test, beside those named ``assert_…``."""


@dataclass(frozen=True)
class TestFunction:
    """A test and its assertions: `certain` that run whatever the program does, `others` that may not."""

    __test__ = False

    file: str
    name: str
    line: int
    certain: int
    others: int

    @property
    def may_say_nothing(self) -> bool:
        """Whether it has assertions and none runs for certain."""
        return self.others > 0 and self.certain == 0


class Sources:
    """Modules of the tests by their dotted name, read once, and what their functions assert."""

    def __init__(self, root: Path = ROOT) -> None:
        self.root = root
        self._modules: dict[str, _Module | None] = {}
        self._certain: dict[tuple[str, str], bool] = {}

    def tests(self, file: Path) -> Iterator[TestFunction]:
        """Yield the tests of a file in order."""
        name = ".".join(file.relative_to(self.root).with_suffix("").parts)
        module = self._module(name)
        if module is None:
            return
        for function in _test_functions(module.tree):
            certain, others = self._count(module, function)
            yield TestFunction(
                file.relative_to(self.root).as_posix(), function.name, function.lineno, certain, others
            )

    def _module(self, name: str) -> _Module | None:
        if name not in self._modules:
            path = self.root.joinpath(*name.split("."))
            path = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
            self._modules[name] = _Module(name, ast.parse(path.read_text("utf-8"))) if path.exists() else None
        return self._modules[name]

    def _count(self, module: _Module, function: Function) -> tuple[int, int]:
        counter = _Counter(self, module, function)
        counter.body(function.body, True)
        counted = sum(ast.unparse(decorator).startswith("at_least(") for decorator in function.decorator_list)
        return counter.certain + counted, counter.others

    def gives_turns(self, module: _Module, name: str) -> bool:
        """Whether every return of a function is of names that it asserts, or assumes, to hold something."""
        owner, attribute = module.owner(name)
        found = self._module(owner) if owner else None
        function = found.functions.get(attribute) if found else None
        if found is None or function is None:
            return False
        counter = _Counter(self, found, function)
        counter.body(function.body, True)
        returns = [n for n in ast.walk(function) if isinstance(n, ast.Return)]
        shown = counter.shown
        return bool(returns) and all(isinstance(n.value, ast.Name) and n.value.id in shown for n in returns)

    def asserts(self, module: _Module, name: str) -> bool | None:
        """Whether a function called by this name asserts for certain; None where it does not assert."""
        owner, attribute = module.owner(name)
        found = self._module(owner) if owner else None
        function = found.functions.get(attribute) if found else None
        if found is None or function is None:
            return None
        key = (found.name, attribute)
        if key not in self._certain:
            self._certain[key] = None  # a function that calls itself
            certain, others = self._count(found, function)
            self._certain[key] = True if certain else False if others else None
        return self._certain[key]


class _Module:
    """A parsed file: its functions, and what it imports from other tests."""

    def __init__(self, name: str, tree: ast.Module) -> None:
        self.name = name
        self.tree = tree
        self.functions = {n.name: n for n in tree.body if isinstance(n, Function)}
        self._from: dict[str, str] = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tests"):
                self._from |= {a.asname or a.name: f"{node.module}.{a.name}" for a in node.names}

    def owner(self, name: str) -> tuple[str, str]:
        """Return the module and the name in it of a function called `name` or `module.name`."""
        if name in self.functions:
            return self.name, name
        head, _, rest = name.partition(".")
        full = self._from.get(head, "") + (f".{rest}" if rest else "")
        owner, _, attribute = full.rpartition(".")
        return owner, attribute


class _Counter:
    """Walk a function in the order it runs, and count assertions that run for certain and others."""

    def __init__(self, sources: Sources, module: _Module, function: Function) -> None:
        self.sources, self.module = sources, module
        self.certain = self.others = 0
        self.local = {
            node.name: node
            for node in ast.walk(function)
            if isinstance(node, Function) and node is not function
        }
        names = function.args.posonlyargs + function.args.args + function.args.kwonlyargs
        self.constant = {name.arg for name in names if parametrised(function, name.arg)}
        self.constant |= {name.arg for name in names if sources.gives_turns(module, name.arg)}  # fixtures
        self.shown: set[str] = set()
        self.inside: set[str] = set()

    def body(self, body: list[ast.stmt], certain: bool) -> bool:
        """Count the assertions of a block; return whether what follows it still runs for certain."""
        for number, statement in enumerate(body):
            if isinstance(statement, ast.If) and _ends(statement.body) and not statement.orelse:
                # What follows an early return runs where the condition does not hold.
                return self._branches(statement.test, statement.body, body[number + 1 :], certain)
            certain = self._statement(statement, certain)
        return certain

    def _statement(self, node: ast.stmt, certain: bool) -> bool:
        match node:
            case ast.Assert():
                self._calls(node.test, False)
                self._show(node.test)
                self._add(certain and not self._holds_of_nothing(node.test))
            case ast.FunctionDef() | ast.AsyncFunctionDef() | ast.ClassDef():
                return certain
            case ast.For() | ast.AsyncFor():
                self._calls(node.iter, certain)
                turns = certain and self._has_turns(node.iter)
                if turns:
                    self.constant |= {n.id for n in ast.walk(node.target) if isinstance(n, ast.Name)}
                self.body(node.body, turns)
                self.body(node.orelse, False)
                return certain and not _leaves(node.body)
            case ast.While():
                endless = isinstance(node.test, ast.Constant) and bool(node.test.value)
                self.body(node.body, certain and endless)
                return certain and not _leaves(node.body)
            case ast.If():
                return self._branches(node.test, node.body, node.orelse, certain)
            case ast.With() | ast.AsyncWith():
                for item in node.items:
                    self._calls(item.context_expr, certain)
                return self.body(node.body, certain)
            case ast.Try() | ast.TryStar():
                after = self.body(node.body, certain)
                for handler in node.handlers:
                    self.body(handler.body, False)
                after = self.body(node.orelse, after)
                return self.body(node.finalbody, after)
            case ast.Return() | ast.Continue() | ast.Break() | ast.Raise():
                self._calls(node, certain)
                return False
            case ast.Match():
                for case in node.cases:
                    self.body(case.body, False)
            case ast.Expr(value=ast.Call(func=ast.Name(id="assume"), args=[test])):
                self._show(test)
            case _:
                if isinstance(node, ast.Assign) and self._has_turns(node.value):
                    self.constant |= {t.id for t in node.targets if isinstance(t, ast.Name)}
                self._calls(node, certain)
        return certain

    def _branches(self, test: ast.expr, yes: list[ast.stmt], no: list[ast.stmt], certain: bool) -> bool:
        """Count two branches; together they assert for certain where each of them does."""
        self._calls(test, certain)
        before, known = self.certain, set(self.constant)
        goes_on = self.body(yes, certain)
        mine, self.constant = self.certain - before, set(known)
        goes_on_too = self.body(no, certain)
        theirs, self.constant = self.certain - before - mine, known
        both = min(mine, theirs)
        self.certain = before + both
        self.others += mine + theirs - both
        return goes_on and goes_on_too

    def _calls(self, node: ast.AST, certain: bool) -> None:
        """Count the calls in an expression that assert."""
        for call in _calls_of(node):
            name = ast.unparse(call.func)
            last = name.rpartition(".")[2]
            if last in OUTSIDE or last.startswith("assert_"):
                self._add(certain)
            elif name in self.local and name not in self.inside:
                self.inside.add(name)
                self.body(self.local[name].body, certain)
                self.inside.discard(name)
            else:
                asserts = self.sources.asserts(self.module, name)
                if asserts is not None:
                    self._add(certain and asserts)

    def _show(self, test: ast.expr) -> None:
        names = _shown_by(test)
        self.shown |= names
        self.constant |= names

    def _add(self, certain: bool) -> None:
        self.certain += certain
        self.others += not certain

    def _has_turns(self, node: ast.expr) -> bool:
        """Whether a loop over this has a turn whatever the program does."""
        match node:
            case ast.Tuple() | ast.List() | ast.Set():
                return any(not isinstance(e, ast.Starred) or self._has_turns(e.value) for e in node.elts)
            case ast.Dict():
                return bool(node.keys)
            case ast.Constant():
                return isinstance(node.value, str) and bool(node.value)
            case ast.Name():
                return node.id in self.constant or _is_constant(node.id)
            case ast.Attribute():
                return _is_constant(node.attr)
            case ast.Subscript():
                return self._has_turns(node.value)
            case ast.BinOp(op=ast.BitOr() | ast.Add()):
                return self._has_turns(node.left) or self._has_turns(node.right)
            case ast.Call(func=ast.Name(id="range")):
                return True if all(map(self._is_number, node.args)) else False
            case ast.Call(func=ast.Name(id=name)) if name in ORDERED:
                return bool(node.args) and all(map(self._has_turns, node.args))
            case ast.Call(func=func) if self.sources.gives_turns(self.module, ast.unparse(func)):
                return True
            case ast.Call(func=ast.Attribute(attr="items" | "values" | "keys" | "split", value=value)):
                return self._has_turns(value)
            case ast.Call(func=ast.Attribute(attr="linspace" | "geomspace" | "logspace" | "arange")):
                return True
            case ast.ListComp() | ast.GeneratorExp() | ast.SetComp() | ast.DictComp():
                return all(self._has_turns(g.iter) and not g.ifs for g in node.generators)
        return False

    def _holds_of_nothing(self, test: ast.expr) -> bool:
        """Whether an asserted expression is true where a comprehension in it has no turn."""
        match test:
            case ast.Call(func=ast.Name(id="all"), args=[inner]):
                return isinstance(inner, Comprehension) and not self._has_turns(inner)
            case ast.UnaryOp(op=ast.Not(), operand=ast.Call(func=ast.Name(id="any"), args=[inner])):
                return not self._loops_have_turns(inner)
            case ast.UnaryOp(op=ast.Not(), operand=inner):
                return not self._loops_have_turns(inner)
            case ast.Compare(left=inner, ops=[ast.Eq()], comparators=[right]):
                return _is_empty(right) and not self._loops_have_turns(inner)
            case ast.Compare(left=inner, ops=[ast.LtE() | ast.Lt()]):
                return not self._loops_have_turns(inner)
            case ast.BoolOp(op=ast.And(), values=values):
                return all(map(self._holds_of_nothing, values))
        return False

    def _loops_have_turns(self, node: ast.expr) -> bool:
        return not isinstance(node, Comprehension) or all(self._has_turns(g.iter) for g in node.generators)

    def _is_number(self, node: ast.expr) -> bool:
        return isinstance(node, ast.Constant) or (isinstance(node, ast.Name) and _is_constant(node.id))


def parametrised(function: Function, name: str) -> bool:
    """Whether the test is parametrised by this name."""
    for decorator in function.decorator_list:
        if isinstance(decorator, ast.Call) and ast.unparse(decorator.func).endswith("parametrize"):
            first = decorator.args[0] if decorator.args else None
            if first is not None and name in ast.unparse(first).replace("'", " ").replace(",", " ").split():
                return True
    return False


def _test_functions(tree: ast.Module) -> Iterator[Function]:
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and node.name.startswith("Test"):
            yield from (n for n in node.body if isinstance(n, Function) and n.name.startswith("test_"))
        elif isinstance(node, Function) and node.name.startswith("test_"):
            yield node


def _calls_of(node: ast.AST) -> Iterator[ast.Call]:
    for inner in ast.walk(node):
        if isinstance(inner, ast.Call):
            yield inner


def _ends(body: list[ast.stmt]) -> bool:
    """Whether a block ends with a return from the function or the turn of a loop."""
    return isinstance(body[-1], ast.Return | ast.Continue)


def _leaves(body: list[ast.stmt]) -> bool:
    """Whether a block can return from the function."""
    for node in body:
        inner = [child for child in ast.iter_child_nodes(node) if isinstance(child, ast.stmt)]
        if isinstance(node, ast.Return) or (not isinstance(node, Function) and _leaves(inner)):
            return True
    return False


def _shown_by(test: ast.expr) -> set[str]:
    """Return the names that a condition shows to hold something: ``rows`` and ``len(rows) >= 3``."""
    match test:
        case ast.Name(id=name):
            return {name}
        case ast.Compare(left=ast.Call(func=ast.Name(id="len"), args=[ast.Name(id=name)]), ops=[op]):
            zero = ast.unparse(test.comparators[0]) == "0"
            return (
                {name} if isinstance(op, ast.Gt) or (isinstance(op, ast.Eq | ast.GtE) and not zero) else set()
            )
    return set()


def _is_empty(node: ast.expr) -> bool:
    return (isinstance(node, ast.List | ast.Tuple) and not node.elts) or ast.unparse(node) in ("set()", "{}")


def _is_constant(name: str) -> bool:
    return name.lstrip("_").isupper() or (name[:1].isupper() and not name.isupper())
