"""The mistakes: what may be wrong in a line of Python, one at a time.

Comparisons and their boundaries, conditions turned round, arithmetic, numbers off by one, smallest
for largest, statements left out, loops that end early or not, and nothing returned. Left alone are
texts, annotations, asserts (which guard against our own mistakes) and the decorators of classes.
"""

import ast
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

COMPARISONS: Final[dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
ARITHMETIC: Final[dict[type[ast.operator], type[ast.operator]]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}
OPPOSITES: Final = {"min": "max", "max": "min", "any": "all", "all": "any", "floor": "ceil"}


@dataclass(frozen=True, slots=True)
class Mistake:
    """One change of one module.

    ``lines`` are those of the statement's head it stands in, ``runs_at_import`` says that no
    function holds it. ``text`` is for people: what stood there, and what stands there now.
    """

    path: str
    lines: tuple[int, ...]
    text: str
    runs_at_import: bool
    place: int
    variant: int

    @property
    def name(self) -> str:
        """Where it is and what, in one line."""
        return f"{self.path}:{self.lines[0]}: {self.text}"

    def made_in(self, source: str) -> ast.Module:
        """Give the module with the mistake in it, ready to be compiled."""
        tree = ast.parse(source)
        right = next(itertools.islice(_nodes(tree), self.place, None)).at
        wrong = next(itertools.islice(_wrong(right), self.variant, None))
        for parent in ast.walk(tree):
            for name, value in ast.iter_fields(parent):
                if value is right:
                    setattr(parent, name, wrong)
                elif isinstance(value, list):
                    value[:] = [wrong if each is right else each for each in value]
        if isinstance(right, ast.expr | ast.stmt):
            ast.copy_location(wrong, right)
        return ast.fix_missing_locations(tree)


def mistakes_in(source: str, path: str) -> list[Mistake]:
    """Find every mistake that may be made in a module's source."""
    return [
        Mistake(
            path=path,
            lines=node.lines,
            text=f"{_short(node.at)}  ->  {_short(wrong)}",
            runs_at_import=node.runs_at_import,
            place=place,
            variant=variant,
        )
        for place, node in enumerate(_nodes(ast.parse(source)))
        for variant, wrong in enumerate(_wrong(node.at))
    ]


@dataclass(frozen=True, slots=True)
class _Node:
    at: ast.AST
    lines: tuple[int, ...]
    runs_at_import: bool


def _nodes(tree: ast.AST) -> Iterator[_Node]:
    """Give the nodes that may be wrong, always in the same order."""
    yield from _below(tree, (1,), runs_at_import=True)


def _below(node: ast.AST, lines: tuple[int, ...], *, runs_at_import: bool) -> Iterator[_Node]:
    for name, value in ast.iter_fields(node):
        inside = runs_at_import
        if name in {"annotation", "returns", "type_params"}:
            continue
        if name == "decorator_list" and isinstance(node, ast.ClassDef):
            continue
        if isinstance(node, ast.FunctionDef) and name == "body":
            inside = False
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or isinstance(child, ast.Assert):
                continue
            its_lines = _head(child) if isinstance(child, ast.stmt) else lines
            yield _Node(child, its_lines, inside)
            yield from _below(child, its_lines, runs_at_import=inside)


def _head(statement: ast.stmt) -> tuple[int, ...]:
    """Give the lines of a statement without those of the statements within it."""
    body = getattr(statement, "body", None)
    end = statement.end_lineno or statement.lineno
    if isinstance(body, list) and body:
        end = max(statement.lineno, body[0].lineno - 1)
    return tuple(range(statement.lineno, end + 1))


def _wrong(node: ast.AST) -> Iterator[ast.AST]:
    """Give what might stand there instead by mistake."""
    if isinstance(node, ast.stmt):
        yield from _wrong_statement(node)
    elif isinstance(node, ast.Constant):
        yield from _wrong_constant(node.value)
    else:
        yield from _wrong_expression(node)


def _wrong_expression(node: ast.AST) -> Iterator[ast.AST]:
    match node:
        case ast.Compare(left, ops, comparators):
            for number, operator in enumerate(ops):
                for other in COMPARISONS[type(operator)]:
                    yield ast.Compare(
                        left, [*ops[:number], other(), *ops[number + 1 :]], comparators
                    )
        case ast.BoolOp(operator, values):
            yield ast.BoolOp(ast.Or() if isinstance(operator, ast.And) else ast.And(), values)
        case ast.UnaryOp(ast.Not() | ast.USub(), operand):
            yield operand
        case ast.BinOp(left, operator, right) if type(operator) in ARITHMETIC:
            yield ast.BinOp(left, ARITHMETIC[type(operator)](), right)
        case ast.IfExp(test, body, orelse):
            yield ast.IfExp(test, orelse, body)
        case ast.Call(ast.Name(name), args, keywords) if name in OPPOSITES and (args or keywords):
            yield ast.Call(ast.Name(OPPOSITES[name], ast.Load()), args, keywords)
        case ast.comprehension(target, iterated, conditions, is_async) if conditions:
            yield ast.comprehension(target, iterated, [], is_async)


def _wrong_constant(value: object) -> Iterator[ast.AST]:
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int | float):
        yield ast.Constant(value + 1)


def _wrong_statement(node: ast.stmt) -> Iterator[ast.AST]:
    match node:
        case ast.If(test, body, orelse) if not _is_comparison(test):
            yield ast.If(ast.UnaryOp(ast.Not(), test), body, orelse)
        case ast.Return(value) if value is not None and ast.unparse(value) != "None":
            yield ast.Return(ast.Constant(None))
        case ast.AugAssign(target, operator, value) if type(operator) in ARITHMETIC:
            yield ast.AugAssign(target, ARITHMETIC[type(operator)](), value)
            yield ast.Pass()
        case ast.Assign([ast.Attribute() | ast.Subscript()]) | ast.Raise():
            yield ast.Pass()
        case ast.Expr(value) if not isinstance(value, ast.Constant):
            yield ast.Pass()
        case ast.Continue():
            yield ast.Break()
        case ast.Break():
            yield ast.Continue()


def _is_comparison(test: ast.expr) -> bool:
    """Say whether turning a condition round is a mistake that its comparison has already."""
    return isinstance(test, ast.Compare) or (
        isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not)
    )


def _short(node: ast.AST) -> str:
    if isinstance(node, ast.If):
        return f"if {ast.unparse(node.test)}"
    if isinstance(node, ast.comprehension):
        return ast.unparse(node).strip()
    return " ".join(ast.unparse(node).split())[:100]
