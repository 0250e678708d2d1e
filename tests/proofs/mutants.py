"""Small faults put into the ledger one by one: does a test see each of them?

A mutant is the source of a module with one thing changed: a comparison, a boundary, a
sign, a number, a condition, a statement taken out. The functions of the module that is
loaded get the code of the mutant, so that whoever imported them runs it; this happens
in a forked process, which the fault ends with. No package is needed for it.
"""

import ast
import importlib
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import FunctionType, ModuleType


ROOT = Path(__file__).resolve().parents[2]
MODULES = (
    "inventory.rules.costing",
    "inventory.domain.once",
    "inventory.domain.locks",
    "inventory.domain.spare",
    "inventory.domain.promises",
    "inventory.domain.ledger",
)
"""The ledger, and what works out its lines, balances, layers and locks."""

FEW = MODULES[:4]
"""What a small run takes."""

Edit = tuple[Callable[[], None], ast.AST, ast.AST]
"""What makes the change, and the node before and after it."""

_OTHERS: dict[type, tuple[type, ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.Add: (ast.Sub,),
    ast.Sub: (ast.Add,),
    ast.Mult: (ast.Add,),
    ast.BitOr: (ast.BitAnd,),
    ast.BitAnd: (ast.BitOr,),
    ast.And: (ast.Or,),
    ast.Or: (ast.And,),
}


@dataclass(frozen=True, kw_only=True)
class Mutant:
    """One fault: where it stands, and the words before and after."""

    module: str
    function: str
    line: int
    was: str
    now: str
    place: int
    variant: int

    @property
    def name(self) -> str:
        """Name the fault without its line, which moves."""
        return f"{self.module}.{self.function}: {self.was} -> {self.now}"


def mutants_of(module: str) -> list[Mutant]:
    """Give each fault that can be put into a module, in the order of its text."""
    found = []
    for place, (node, function) in enumerate(_nodes(_tree(module))):
        for variant, (change, was, now) in enumerate(_edits(node)):
            del change
            found.append(
                Mutant(
                    module=module,
                    function=function,
                    line=getattr(was, "lineno", getattr(node, "lineno", 0)),
                    was=_words(was),
                    now=_words(now),
                    place=place,
                    variant=variant,
                )
            )
    return found


def put_in(mutant: Mutant) -> None:
    """Give the functions of the loaded module the code of the mutant."""
    tree = _tree(mutant.module)
    node = [one for one, _function in _nodes(tree)][mutant.place]
    change, _was, _now = list(_edits(node))[mutant.variant]
    change()
    module = importlib.import_module(mutant.module)
    changed = ModuleType(mutant.module)
    changed.__file__ = module.__file__
    # its classes are made anew beside the real ones, and nobody sees them
    code = compile(ast.fix_missing_locations(tree), str(module.__file__), "exec")
    exec(code, changed.__dict__)  # noqa: S102 (our own source with one fault)
    for name, value in vars(changed).items():
        _replace(module, name, value)


def _replace(module: ModuleType, name: str, value: object) -> None:
    """Put one function, the methods of one class, or one table in the old one's place."""
    old = vars(module).get(name)
    mine = getattr(value, "__module__", None) == module.__name__
    if isinstance(value, FunctionType) and isinstance(old, FunctionType) and mine:
        _give_code(old, value)
    elif isinstance(value, type) and isinstance(old, type) and mine:
        for method, body in vars(value).items():
            real = vars(old).get(method)
            both = isinstance(body, FunctionType) and isinstance(real, FunctionType)
            # one that has lost its super() has no cell for it any more
            if both and not _give_code(real, body):
                setattr(old, method, body)
    elif name.isupper() and old is not None and value != old:
        for other in list(sys.modules.values()):
            if vars(other).get(name) is old:
                setattr(other, name, value)


def _give_code(old: FunctionType, new: FunctionType) -> bool:
    if old.__code__.co_freevars != new.__code__.co_freevars:
        return False
    old.__code__ = new.__code__
    old.__defaults__, old.__kwdefaults__ = new.__defaults__, new.__kwdefaults__
    return True


def _tree(module: str) -> ast.Module:
    source = (ROOT / module.replace(".", "/")).with_suffix(".py")
    return ast.parse(source.read_text(encoding="utf-8"))


def _nodes(tree: ast.AST, function: str = "") -> Iterator[tuple[ast.AST, str]]:
    """Walk what is run: no annotations, decorators, imports, words to people."""
    for child in ast.iter_child_nodes(tree):
        if _is_not_run(tree, child):
            continue
        inside = function
        if isinstance(child, ast.FunctionDef | ast.ClassDef):
            inside = f"{function}.{child.name}".lstrip(".")
        yield child, inside
        yield from _nodes(child, inside)


def _is_not_run(parent: ast.AST, node: ast.AST) -> bool:
    if isinstance(node, ast.Import | ast.ImportFrom | ast.expr_context):
        return True
    if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
        return True
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return True
    if isinstance(node, ast.Call) and ast.unparse(node.func) == "_":
        return True
    annotations = [
        getattr(parent, "annotation", None),
        getattr(parent, "returns", None),
        *getattr(parent, "decorator_list", []),
    ]
    return node in annotations


def _edits(node: ast.AST) -> Iterator[Edit]:
    """Give the changes that one node can take; each is made in place."""
    yield from _operators(node)
    yield from _values(node)
    yield from _questions(node)
    yield from _conditions(node)
    yield from _removals(node)


def _operators(node: ast.AST) -> Iterator[Edit]:
    """Put another operator in the place of one."""
    if isinstance(node, ast.Compare):
        for number, operator in enumerate(node.ops):
            for other in _OTHERS.get(type(operator), ()):
                ops = [*node.ops[:number], other(), *node.ops[number + 1 :]]
                yield _set(node, ops=ops)
    elif isinstance(node, ast.BinOp | ast.AugAssign | ast.BoolOp):
        for other in _OTHERS.get(type(node.op), ()):
            yield _set(node, op=other())


def _values(node: ast.AST) -> Iterator[Edit]:
    """Change a number by one, a yes to a no, a sign."""
    if isinstance(node, ast.Constant):
        if isinstance(node.value, bool):
            yield _set(node, value=not node.value)
        elif isinstance(node.value, int):
            yield _set(node, value=node.value + 1)
    elif isinstance(node, ast.UnaryOp):
        if isinstance(node.op, ast.USub):
            yield _set(node, op=ast.UAdd())
        elif isinstance(node.op, ast.Not):
            yield _set(node, operand=_not(node.operand))


def _questions(call: ast.AST) -> Iterator[Edit]:
    """Leave out a step of a question to the database, a condition, or an order."""
    if not isinstance(call, ast.Call):
        return
    steps = {"select_for_update", "filter", "exclude", "order_by"}
    orders = {"sorted": "list", "min": "max", "max": "min"}
    if isinstance(call.func, ast.Attribute) and call.func.attr in steps:
        everything = ast.Attribute(value=call.func.value, attr="all", ctx=ast.Load())
        yield _set(call, func=everything, args=[], keywords=[])
        if len(call.keywords) > 1:
            for number in range(len(call.keywords)):
                rest = [*call.keywords[:number], *call.keywords[number + 1 :]]
                yield _set(call, keywords=rest)
    elif isinstance(call.func, ast.Name) and call.func.id in orders:
        other = ast.Name(id=orders[call.func.id], ctx=ast.Load())
        keywords = [] if other.id == "list" else call.keywords
        yield _set(call, func=other, keywords=keywords)


def _conditions(node: ast.AST) -> Iterator[Edit]:
    """Turn a condition round, unless it is a comparison, which has edits of its own."""
    own = ast.Compare | ast.UnaryOp
    if isinstance(node, ast.If | ast.IfExp | ast.While):
        if not isinstance(node.test, own):
            turned = _not(node.test)
            yield lambda: setattr(node, "test", turned), node.test, turned
    elif isinstance(node, ast.comprehension):
        for number, test in enumerate(node.ifs):
            if not isinstance(test, own):
                turned = _not(test)
                yield _put(node.ifs, number, turned), test, turned


def _removals(node: ast.AST) -> Iterator[Edit]:
    """Take one statement out of a body, or the result out of a return."""
    if (
        isinstance(node, ast.Return)
        and node.value
        and ast.unparse(node.value) != "None"
    ):
        yield _set(node, value=ast.Constant(value=None))
    for field in ("body", "orelse", "finalbody"):
        body = getattr(node, field, None)
        for number, statement in enumerate(body if isinstance(body, list) else ()):
            if _can_go(statement):
                yield _put(body, number, ast.Pass()), statement, ast.Pass()
            elif isinstance(statement, ast.With) and _names_nothing(statement):
                always = ast.Constant(value=True)
                bare = ast.If(test=always, body=statement.body, orelse=[])
                yield _put(body, number, bare), statement, bare


def _can_go(statement: ast.AST) -> bool:
    if isinstance(statement, ast.Expr):
        return not isinstance(statement.value, ast.Constant)
    return isinstance(statement, ast.AugAssign | ast.Raise | ast.Continue | ast.Break)


def _names_nothing(statement: ast.With) -> bool:
    return all(item.optional_vars is None for item in statement.items)


def _not(test: ast.expr) -> ast.UnaryOp:
    return ast.UnaryOp(op=ast.Not(), operand=test)


def _set(node: ast.AST, **values: object) -> Edit:
    """Change fields of a node; tells the node as it is and as it would be."""
    kind = type(node)
    fields = {name: getattr(node, name) for name in node._fields if hasattr(node, name)}

    def change() -> None:
        for name, value in values.items():
            setattr(node, name, value)

    return change, node, kind(**{**fields, **values})


def _put(items: list, number: int, value: ast.AST) -> Callable[[], None]:
    return lambda: items.__setitem__(number, value)


def _words(node: ast.AST) -> str:
    """Say a node in one short line."""
    text = " ".join(ast.unparse(ast.fix_missing_locations(node)).split())
    return text if len(text) <= 120 else f"{text[:117]}..."
