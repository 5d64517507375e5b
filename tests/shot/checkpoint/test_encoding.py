"""Whatever plain data and arrays a run holds come back as they were: values, types, order in memory, and what was one object is one."""
import json
import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as some
from hypothesis.extra import numpy as arrays

from fieldsolve.shot.checkpoint.packing import _is_contiguous, _spread
from fieldsolve.shot.kept.encoding import Encoder, decode

SCALARS = some.none() | some.booleans() | some.integers() | some.text() | some.floats() | some.complex_numbers() | some.sampled_from(
    [np.float64(0.1), np.float32(0.1), np.int64(-3), np.bool_(True), np.complex128(1j), np.float64(math.inf)])
KEYS = some.text() | some.integers() | some.tuples(some.text(), some.text())
VALUES = some.recursive(SCALARS, lambda inner: some.lists(inner) | some.lists(inner).map(tuple) | some.dictionaries(KEYS, inner),
                        max_leaves=20)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(VALUES)
def test_plain_data_come_back_with_their_types(value):
    encoder = Encoder(exact=True)
    data = json.loads(json.dumps(encoder.encode(value, "value"), allow_nan=False))
    back = decode(data, encoder.objects, encoder.arrays, {})
    assert repr(back) == repr(value) and type(back) is type(value) and encoder.lost == []


@settings(max_examples=60, deadline=None, derandomize=True)
@given(arrays.arrays(some.sampled_from([np.float64, np.int32, np.complex128]), arrays.array_shapes(min_dims=1, max_dims=3, min_side=1)),
       some.permutations(range(3)), some.sampled_from([1, 2, -1]))
def test_arrays_lie_in_memory_as_they_did(array, order, step):
    view = array.transpose([axis for axis in order if axis < array.ndim])[..., ::step]
    packed = np.ascontiguousarray(view)
    back = packed if _is_contiguous(view) else _spread(packed, list(view.strides))
    assert back.tobytes() == view.tobytes() and (_is_contiguous(view) or back.strides == view.strides)
