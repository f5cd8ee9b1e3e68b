"""Where tests assert, read from their source: which assertions run for certain, and which only if a loop has turns.

An assertion in a loop over nothing passes. It runs *for certain* where it stands outside every loop, condition and
comprehension, or in loops that have a turn whatever the program does: over literals, constants (``UPPER_CASE``, enums,
``range`` of a number), parameters of the test, and what was asserted, or assumed of a drawn case, to hold something.
A call of a function that asserts for certain counts as an assertion, and so does `tests.support.shares.at_least`.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

Function = ast.FunctionDef | ast.AsyncFunctionDef
Comprehension = ast.ListComp | ast.SetComp | ast.GeneratorExp | ast.DictComp
Branch = ast.Return | ast.Continue | ast.Break | ast.Raise

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

OF_ITSELF = {"items", "values", "keys", "split"}
"""Methods that give turns where what they are called on does."""

STEPS = {"linspace", "geomspace", "logspace", "arange"}

OUTSIDE = {"raises", "warns", "fail"}
"""Functions of other packages that fail a test, beside those named ``assert_…``."""


@dataclass(frozen=True)
class TestFunction:
    """A test and how many assertions it has: `certain` that run whatever the program does, `others` that may not."""

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
    """Files of tests by their dotted name, read once, and what their functions assert.

    Parameters
    ----------
    root : Path
        Folder that holds the package ``tests``.
    """

    def __init__(self, root: Path = ROOT) -> None:
        self.root = root
        self._modules: dict[str, _Module | None] = {}
        self._certain: dict[tuple[str, str], bool | None] = {}

    def tests(self, file: Path) -> Iterator[TestFunction]:
        """Yield the tests of a file in order."""
        module = self._module(".".join(file.relative_to(self.root).with_suffix("").parts))
        if module is None:
            return
        for function in _test_functions(module.tree):
            name = file.relative_to(self.root).as_posix()
            yield TestFunction(name, function.name, function.lineno, *self._count(module, function))

    def asserts(self, module: _Module, name: str) -> bool | None:
        """Whether a function called by this name asserts for certain; None where it does not assert at all."""
        found = self._found(module, name)
        if found is None:
            return None
        key = (found[0].name, found[1].name)
        if key not in self._certain:
            self._certain[key] = None  # where a function calls itself
            certain, others = self._count(*found)
            self._certain[key] = True if certain else False if others else None
        return self._certain[key]

    def gives_turns(self, module: _Module, name: str) -> bool:
        """Whether every return of a function is of names that it asserts, or assumes, to hold something."""
        found = self._found(module, name)
        if found is None:
            return False
        counter = _Counter(self, *found)
        counter.body(found[1].body, True)
        returned = [node.value for node in ast.walk(found[1]) if isinstance(node, ast.Return)]
        return bool(returned) and all(
            isinstance(value, ast.Name) and value.id in counter.shown for value in returned
        )

    def _module(self, name: str) -> _Module | None:
        if name not in self._modules:
            path = self.root.joinpath(*name.split("."))
            path = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
            self._modules[name] = _Module(name, ast.parse(path.read_text("utf-8"))) if path.exists() else None
        return self._modules[name]

    def _found(self, module: _Module, name: str) -> tuple[_Module, Function] | None:
        owner, attribute = module.owner(name)
        found = self._module(owner) if owner else None
        function = found.functions.get(attribute) if found else None
        return (found, function) if found and function else None

    def _count(self, module: _Module, function: Function) -> tuple[int, int]:
        counter = _Counter(self, module, function)
        counter.body(function.body, True)
        counted = sum(ast.unparse(decorator).startswith("at_least(") for decorator in function.decorator_list)
        return counter.certain + counted, counter.others


class _Module:
    """A parsed file: its functions, and what it imports from other files of tests."""

    def __init__(self, name: str, tree: ast.Module) -> None:
        self.name = name
        self.tree = tree
        self.functions = {node.name: node for node in tree.body if isinstance(node, Function)}
        self._from: dict[str, str] = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("tests"):
                self._from |= {a.asname or a.name: f"{node.module}.{a.name}" for a in node.names}

    def owner(self, name: str) -> tuple[str, str]:
        """Return the file and the name in it of a function called `name` or `module.name`."""
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
        inner = [node for node in ast.walk(function) if isinstance(node, Function)]
        self.local = {node.name: node for node in inner if node is not function}
        self.inside: set[str] = set()
        self.shown: set[str] = set()
        """Names that hold something, as was asserted or assumed."""
        names = [arg.arg for arg in (*function.args.args, *function.args.kwonlyargs)]
        of_test = _parameters(function)
        self.constant = {name for name in names if name in of_test or sources.gives_turns(module, name)}
        """Names whose loops have turns: parameters of the test, fixtures, literals, and those `shown`."""

    def body(self, body: list[ast.stmt], certain: bool) -> bool:
        """Count the assertions of a block; return whether what follows it still runs for certain."""
        for number, statement in enumerate(body):
            if (
                isinstance(statement, ast.If)
                and isinstance(statement.body[-1], Branch)
                and not statement.orelse
            ):
                # What follows an early return runs where its condition does not hold.
                return self._branches(statement.test, statement.body, body[number + 1 :], certain)
            certain = self._statement(statement, certain)
        return certain

    def _statement(self, node: ast.stmt, certain: bool) -> bool:
        match node:
            case ast.Assert(test=test):
                self._calls(test, False)
                self._show(test)
                self._add(certain and not self._holds_of_nothing(test))
            case ast.For() | ast.AsyncFor() | ast.While():
                return self._loop(node, certain)
            case ast.If(test=test, body=yes, orelse=no):
                return self._branches(test, yes, no, certain)
            case ast.With(items=items, body=inner) | ast.AsyncWith(items=items, body=inner):
                for item in items:
                    self._calls(item.context_expr, certain)
                return self.body(inner, certain)
            case ast.Try() | ast.TryStar():
                after = self.body(node.body, certain)
                for handler in node.handlers:
                    self.body(handler.body, False)
                return self.body([*node.orelse, *node.finalbody], after)
            case ast.FunctionDef() | ast.AsyncFunctionDef() | ast.ClassDef():
                pass
            case _:
                self._plain(node, certain)
                return certain and not isinstance(node, Branch)
        return certain

    def _plain(self, node: ast.stmt, certain: bool) -> None:
        if isinstance(node, ast.Expr) and ast.unparse(node).startswith("assume("):
            self._show(node.value.args[0] if isinstance(node.value, ast.Call) else node.value)
        elif isinstance(node, ast.Assign) and self._has_turns(node.value):
            self.constant |= {target.id for target in node.targets if isinstance(target, ast.Name)}
        self._calls(node, certain)

    def _loop(self, node: ast.For | ast.AsyncFor | ast.While, certain: bool) -> bool:
        turns = False
        if not isinstance(node, ast.While):
            self._calls(node.iter, certain)
            turns = certain and self._has_turns(node.iter)
        if turns and not isinstance(node, ast.While):
            self.constant |= {name.id for name in ast.walk(node.target) if isinstance(name, ast.Name)}
        self.body(node.body, turns)
        self.body(node.orelse, False)
        return certain and not _returns(node.body)

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
        for call in (inner for inner in ast.walk(node) if isinstance(inner, ast.Call)):
            name = ast.unparse(call.func)
            last = name.rpartition(".")[2]
            if last in OUTSIDE or last.startswith("assert_"):
                self._add(certain)
            elif name in self.local and name not in self.inside:
                self.inside.add(name)
                self.body(self.local[name].body, certain)
                self.inside.discard(name)
            elif (asserts := self.sources.asserts(self.module, name)) is not None:
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
            case ast.Tuple(elts=elements) | ast.List(elts=elements) | ast.Set(elts=elements):
                return any(not isinstance(e, ast.Starred) or self._has_turns(e.value) for e in elements)
            case ast.Dict(keys=keys):
                return bool(keys)
            case ast.Constant(value=value):
                return isinstance(value, str) and bool(value)
            case ast.Name(id=name):
                return name in self.constant or _is_constant(name)
            case ast.Attribute(attr=name):
                return _is_constant(name)
            case ast.Subscript(value=value):
                return self._has_turns(value)
            case ast.BinOp(op=ast.BitOr() | ast.Add(), left=left, right=right):
                return self._has_turns(left) or self._has_turns(right)
            case ast.Call():
                return self._call_has_turns(node)
        return isinstance(node, Comprehension) and all(
            self._has_turns(part.iter) and not part.ifs for part in node.generators
        )

    def _call_has_turns(self, node: ast.Call) -> bool:
        name = ast.unparse(node.func)
        last = name.rpartition(".")[2]
        if name == "range":
            return all(isinstance(arg, ast.Constant) or _is_constant(ast.unparse(arg)) for arg in node.args)
        if last in ORDERED:
            return bool(node.args) and all(map(self._has_turns, node.args))
        if last in OF_ITSELF and isinstance(node.func, ast.Attribute):
            return self._has_turns(node.func.value)
        return last in STEPS or self.sources.gives_turns(self.module, name)

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


def _parameters(function: Function) -> set[str]:
    """Return the names by which a test is parametrised."""
    names: set[str] = set()
    for decorator in function.decorator_list:
        if isinstance(decorator, ast.Call) and ast.unparse(decorator.func).endswith("parametrize"):
            first = decorator.args[0]
            names |= {
                name.strip()
                for word in ast.walk(first)
                if isinstance(word, ast.Constant)
                for name in str(word.value).split(",")
            }
    return names


def _test_functions(tree: ast.Module) -> Iterator[Function]:
    for node in tree.body:
        if isinstance(node, ast.ClassDef) and node.name.startswith("Test"):
            yield from (n for n in node.body if isinstance(n, Function) and n.name.startswith("test_"))
        elif isinstance(node, Function) and node.name.startswith("test_"):
            yield node


def _returns(body: list[ast.stmt]) -> bool:
    """Whether a block can return from the function."""
    for node in body:
        inner = [child for child in ast.iter_child_nodes(node) if isinstance(child, ast.stmt)]
        if isinstance(node, ast.Return) or (not isinstance(node, Function) and _returns(inner)):
            return True
    return False


def _shown_by(test: ast.expr) -> set[str]:
    """Return the names that a condition shows to hold something: ``rows`` and ``len(rows) >= 3``."""
    match test:
        case ast.Name(id=name):
            return {name}
        case ast.Compare(left=ast.Call(func=ast.Name(id="len"), args=[ast.Name(id=name)]), ops=[op, *_]):
            zero = ast.unparse(test.comparators[0]) == "0"
            return (
                {name} if isinstance(op, ast.Gt) or (isinstance(op, ast.Eq | ast.GtE) and not zero) else set()
            )
    return set()


def _is_empty(node: ast.expr) -> bool:
    return (isinstance(node, ast.List | ast.Tuple) and not node.elts) or ast.unparse(node) in ("set()", "{}")


def _is_constant(name: str) -> bool:
    """Whether a name is that of a constant or an enum."""
    return name.lstrip("_").isupper() or (name[:1].isupper() and name.isidentifier())
