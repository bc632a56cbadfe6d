"""Small faults in a Python file, made from its syntax tree: each one changes a single comparison, sign or number.

Logic mutants change what is decided or computed: a comparison and its boundary, ``and``/``or``/``not``, + - * /, a
sign, ``min``/``max``, a condition always or never true, a returned value, a truth value, a call left out. Constant
mutants change a number: an integer by one, another number by 1.3. Docstrings, annotations, decorators and what only
the type checker sees stay as they are.
"""

import ast
import copy
import random
from collections.abc import Iterator
from dataclasses import dataclass

BOUNDARIES = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
}
OPPOSITES = {
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
SUMS = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Pow: ast.Mult,
}
EXTREMES = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "any": "all", "all": "any"}
STRETCH = 1.3
ANNOTATIONS = ("annotation", "returns", "decorator_list", "type_params")


@dataclass(frozen=True)
class Mutant:
    """One fault. kind: ``logic`` or ``constant``; line: the line it begins on, stripped; text: the whole file."""

    file: str
    number: int
    line: str
    change: str
    kind: str
    text: str


def mutants(file, source):
    """Every mutant of a source text, in its order."""
    lines = source.splitlines(keepends=True)
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line.encode()))
    raw, found = source.encode(), []
    for node, change, new, kind in _changes(ast.parse(source)):
        start = starts[node.lineno - 1] + node.col_offset
        stop = starts[node.end_lineno - 1] + node.end_col_offset
        text = (raw[:start] + new.encode() + raw[stop:]).decode()
        found.append(Mutant(file, node.lineno, lines[node.lineno - 1].strip(), change, kind, text))
    return found


def sample(every, logic, constants, seed):
    """So many of each kind, drawn with the seed, in the order of the file; all of them where there are no more."""
    draw = random.Random(seed)
    chosen = []
    for kind, count in (("logic", logic), ("constant", constants)):
        of_kind = [m for m in every if m.kind == kind]
        chosen += draw.sample(of_kind, min(count, len(of_kind)))
    return sorted(chosen, key=every.index)


def _changes(tree) -> Iterator[tuple[ast.AST, str, str, str]]:
    """Node, what is changed in words, its new text, kind."""
    for node in _seen(tree):
        for new in _logic(node):
            yield node, _words(node, new), _text(new), "logic"
        if isinstance(node, ast.If | ast.IfExp | ast.While):
            # A loop that never ends is found by its time, which costs more than it tells.
            for value in (False,) if isinstance(node, ast.While) else (True, False):
                yield node.test, f"if {ast.unparse(node.test)} → if {value}", str(value), "logic"
        if isinstance(node, ast.comprehension):
            for test in node.ifs:
                yield test, f"if {ast.unparse(test)} → if True", "True", "logic"
        number = _other_number(node)
        if number is not None:
            yield node, f"{ast.unparse(node)} → {number}", f"({number})", "constant"


def _seen(node) -> Iterator[ast.AST]:
    """The nodes that may be changed, parents first."""
    if isinstance(node, ast.JoinedStr) or (isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"):
        return  # before Python 3.12 the parts of an f-string do not know where they stand
    yield node
    for name, value in ast.iter_fields(node):
        if name in ANNOTATIONS or (isinstance(node, ast.keyword) and node.arg == "strict"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST):
                yield from _seen(child)


def _logic(node) -> Iterator[ast.AST]:  # noqa: PLR0912 - one branch a sort of node
    match node:
        case ast.Compare(ops=[*ops]):
            for at, op in enumerate(ops):
                others = BOUNDARIES.get(type(op)) or (OPPOSITES[type(op)],)
                for other in others:
                    yield _with(node, ops=[*ops[:at], other(), *ops[at + 1 :]])
        case ast.BoolOp(op=ast.And()):
            yield _with(node, op=ast.Or())
        case ast.BoolOp(op=ast.Or()):
            yield _with(node, op=ast.And())
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            yield node.operand
        case ast.BinOp(op=op) if type(op) in SUMS and not any(_is_text(side) for side in (node.left, node.right)):
            yield _with(node, op=SUMS[type(op)]())
        case ast.AugAssign(op=op) if type(op) in SUMS:
            yield _with(node, op=SUMS[type(op)]())
        case ast.Return(value=value) if value is not None and not _is_none(value):
            yield ast.Return(ast.Constant(None))
        case ast.Constant(value=bool()):
            yield ast.Constant(not node.value)
        case ast.Call(func=ast.Name(id=name)) if name in EXTREMES:
            yield _with(node, func=ast.Name(EXTREMES[name]))
        case ast.Call(func=ast.Attribute(attr=name)) if name in EXTREMES and _is_array(node.func):
            yield _with(node, func=_with(node.func, attr=EXTREMES[name]))
        case ast.Expr(value=ast.Call()):
            yield ast.Pass()


def _is_array(func):
    """Whether ``.min`` and the like may be a number's: not ``Model.any`` and other words of our own."""
    return func.attr not in {"any", "all"} or not isinstance(func.value, ast.Name)


def _is_text(node):
    return isinstance(node, ast.JoinedStr) or (isinstance(node, ast.Constant) and isinstance(node.value, str))


def _is_none(node):
    return isinstance(node, ast.Constant) and node.value is None


def _other_number(node):
    if not isinstance(node, ast.Constant) or isinstance(node.value, bool) or not isinstance(node.value, int | float):
        return None
    if isinstance(node.value, int):
        return node.value + 1
    return node.value * STRETCH if node.value else STRETCH


def _with(node, **parts):
    other = copy.copy(node)
    for name, value in parts.items():
        setattr(other, name, value)
    return other


def _words(old, new):
    return f"{ast.unparse(old)} → {ast.unparse(new)}"


def _text(new):
    return ast.unparse(new) if isinstance(new, ast.stmt) else f"({ast.unparse(new)})"
