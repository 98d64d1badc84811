"""Counting pairs that stand in the wrong order, in n log n; what rank statistics rest on."""

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]


def inversions(values: Values) -> int:
    """Count the pairs i < j with values[i] > values[j]; equal values make no inversion.

    Parameters
    ----------
    values : array
        Shape (n,), finite.

    Notes
    -----
    The ranks are sorted bit by bit from the highest; whoever has a 1 and stands before a 0 of the same group is counted at
    that bit. Each of the log2(n) rounds is a handful of array operations.
    """
    kind = np.uint16 if len(values) <= 65536 else np.uint32  # 16 bits are sorted by radix
    ranks: NDArray[np.unsignedinteger] = np.unique(values, return_inverse=True)[1].astype(kind)
    place = np.arange(len(ranks))
    total = 0
    for bit in reversed(range(int(ranks.max(initial=0)).bit_length())):
        one = (ranks >> bit) & 1
        ones_before = np.cumsum(one) - one
        group = ranks >> (bit + 1)
        is_first = np.append(True, group[1:] != group[:-1])
        start = np.maximum.accumulate(np.where(is_first, place, 0))
        total += int(np.sum((ones_before - ones_before[start])[one == 0]))
        ranks = ranks[np.argsort(ranks >> bit, kind="stable")]
    return total


def tie_sizes(values: Values) -> NDArray[np.float64]:
    """Give how many values share each value that occurs more than once, shape (n_ties,)."""
    counts = np.unique(values, return_counts=True)[1]
    return counts[counts > 1].astype(np.float64)
