"""Eight float32 at a time: LLVM vector values as numba values, in generic IR for any processor.

LLVM lowers an ``<8 x float>`` to AVX registers, to pairs of SSE or NEON registers, or to scalars;
every lane rounds as the scalar operation does, so a lane gives the bytes that a scalar gives.
"""

from llvmlite import ir
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic, models, register_model

LANES = 8
INT32 = ir.IntType(32)
INT64 = ir.IntType(64)


class Lanes(types.Type):
    """The numba type of eight lanes of float32 or of eight truth values."""

    def __init__(self, element):
        self.element = element
        super().__init__(name=f"lanes({element})")


@register_model(Lanes)
class LanesModel(models.PrimitiveModel):
    """An LLVM vector value."""

    def __init__(self, manager, lanes):
        if lanes.element is types.boolean:
            element = ir.IntType(1)
        else:
            element = manager.lookup(lanes.element).get_value_type()
        super().__init__(manager, lanes, ir.VectorType(element, LANES))


FLOATS = Lanes(types.float32)
TRUTHS = Lanes(types.boolean)


def _pointer(context, builder, signature, args, vector_type):
    """Address of lane 0 at args[1] of the array args[0]."""
    array = context.make_array(signature.args[0])(context, builder, args[0])
    index = context.cast(builder, args[1], signature.args[1], types.int64)
    return builder.bitcast(builder.gep(array.data, [index]), vector_type.as_pointer())


@intrinsic
def load8(typing_context, array, index):
    """Eight consecutive float32 of an array."""

    def generate(context, builder, signature, args):
        vector_type = context.get_value_type(FLOATS)
        return builder.load(_pointer(context, builder, signature, args, vector_type), align=4)

    return FLOATS(array, index), generate


@intrinsic
def store8(typing_context, array, index, lanes):
    """Write eight lanes to consecutive float32 of an array."""

    def generate(context, builder, signature, args):
        builder.store(args[2], _pointer(context, builder, signature, args, args[2].type), align=4)
        return context.get_dummy_value()

    return types.void(array, index, lanes), generate


@intrinsic
def splat8(typing_context, x):
    """Put the same float32 into all lanes."""

    def generate(context, builder, signature, args):
        vector_type = context.get_value_type(FLOATS)
        one = builder.insert_element(
            ir.Constant(vector_type, ir.Undefined), args[0], ir.Constant(INT32, 0)
        )
        mask = ir.Constant(ir.VectorType(INT32, LANES), [0] * LANES)
        return builder.shuffle_vector(one, one, mask)

    return FLOATS(types.float32), generate


def _binary(name):
    """Make the intrinsic of a lane-wise operation of two vectors."""

    @intrinsic
    def operate(typing_context, a, b):
        def generate(context, builder, signature, args):
            return getattr(builder, name)(*args)

        return FLOATS(a, b), generate

    return operate


add8, sub8, mul8, div8 = (_binary(name) for name in ("fadd", "fsub", "fmul", "fdiv"))


def _select(comparison):
    """Make the intrinsic of ``a if a OP b else b``, lane by lane."""

    @intrinsic
    def pick(typing_context, a, b):
        def generate(context, builder, signature, args):
            first = builder.fcmp_ordered(comparison, *args)
            return builder.select(first, *args)

        return FLOATS(a, b), generate

    return pick


min8, max8 = _select("<"), _select(">")


def _compare(comparison):
    """Make the intrinsic that compares lanes; NaN compares as false."""

    @intrinsic
    def compare(typing_context, a, b):
        def generate(context, builder, signature, args):
            return builder.fcmp_ordered(comparison, *args)

        return TRUTHS(a, b), generate

    return compare


less8, less_equal8, unlike8 = _compare("<"), _compare("<="), _compare("!=")


def _logic(name):
    """Make the intrinsic of a lane-wise operation of truth values."""

    @intrinsic
    def operate(typing_context, a, b):
        def generate(context, builder, signature, args):
            return getattr(builder, name)(*args)

        return TRUTHS(a, b), generate

    return operate


and8, or8 = _logic("and_"), _logic("or_")


@intrinsic
def fma8(typing_context, a, b, c):
    """Lane-wise a * b + c, rounded once."""

    def generate(context, builder, signature, args):
        # The builder's own fma takes scalars only.
        kind = ir.FunctionType(args[0].type, [args[0].type] * 3)
        function = cgutils.get_or_insert_function(builder.module, kind, "llvm.fma.v8f32")
        return builder.call(function, args)

    return FLOATS(a, b, c), generate


@intrinsic
def bits8(typing_context, truths):
    """Truth values as the low eight bits of a uint32, lane 0 lowest."""

    def generate(context, builder, signature, args):
        return builder.zext(builder.bitcast(args[0], ir.IntType(LANES)), INT32)

    return types.uint32(truths), generate


@intrinsic
def swap_halves8(typing_context, a):
    """Lanes 4 to 7 before lanes 0 to 3."""

    def generate(context, builder, signature, args):
        mask = ir.Constant(ir.VectorType(INT32, LANES), [4, 5, 6, 7, 0, 1, 2, 3])
        return builder.shuffle_vector(args[0], args[0], mask)

    return FLOATS(a), generate


def _lane(number):
    """Make the intrinsic that reads one lane."""

    @intrinsic
    def read(typing_context, a):
        def generate(context, builder, signature, args):
            return builder.extract_element(args[0], ir.Constant(INT32, number))

        return types.float32(a), generate

    return read


LANE = tuple(_lane(number) for number in range(LANES))
lane0, lane1, lane2, lane3, lane4, lane5, lane6, lane7 = LANE


@intrinsic
def lowest_bit(typing_context, bits):
    """Find the lowest set bit of a uint32 that is not zero."""

    def generate(context, builder, signature, args):
        return builder.zext(builder.cttz(args[0], ir.Constant(ir.IntType(1), 1)), INT64)

    return types.int64(types.uint32), generate


@intrinsic
def prefetch(typing_context, array, index):
    """Ask for the cache line of an array's element; no effect on any value."""

    def generate(context, builder, signature, args):
        array_value = context.make_array(signature.args[0])(context, builder, args[0])
        position = context.cast(builder, args[1], signature.args[1], types.int64)
        pointer = builder.bitcast(
            builder.gep(array_value.data, [position]), ir.IntType(8).as_pointer()
        )
        kind = ir.FunctionType(ir.VoidType(), [pointer.type, INT32, INT32, INT32])
        function = cgutils.get_or_insert_function(builder.module, kind, "llvm.prefetch.p0i8")
        numbers = [ir.Constant(INT32, n) for n in (0, 3, 1)]  # read, keep, data
        builder.call(function, [pointer, *numbers])
        return context.get_dummy_value()

    return types.void(array, index), generate
