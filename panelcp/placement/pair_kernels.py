"""Compiled loops over all pairs of inlet and exit in all sampled worlds, in single precision."""

import numpy as np
from numba import njit, prange


@njit(cache=True, error_model="numpy")
def _parts_below(behind, patch, needed):
    """Parts of the worlds with behind - patch below 0, and with it at least the needed pressure."""
    below, enough = np.int32(0), np.int32(0)
    for s in range(len(patch)):
        available = behind[s] - patch[s]
        below += np.int32(available < np.float32(0.0))
        enough += np.int32(available >= needed[s])
    return below / len(patch), enough / len(patch)


@njit(cache=True, error_model="numpy")
def _lower_to_available(behind, patch, least):
    """Lower `least` to behind - patch, world by world."""
    for s in range(len(patch)):
        least[s] = np.minimum(behind[s] - patch[s], least[s])


@njit(cache=True, error_model="numpy")
def _lower_to_ratio(behind, patch, needed, least):
    """Lower `least` to (behind - patch) / needed, world by world; needed above 0."""
    for s in range(len(patch)):
        least[s] = np.minimum((behind[s] - patch[s]) / needed[s], least[s])


@njit(cache=True, error_model="numpy")
def _mean_and_deviation(values):
    """Mean and standard deviation, added up in double precision; nan with infinite values."""
    total = 0.0
    for s in range(len(values)):
        total += values[s]
    mean, square = total / len(values), 0.0
    for s in range(len(values)):
        square += (values[s] - mean) ** 2
    return mean, np.sqrt(square / len(values))


@njit(cache=True, error_model="numpy")
def _count_below(values, limit):
    """Number of values below a limit."""
    count = np.int32(0)
    for s in range(len(values)):
        count += np.int32(values[s] < limit)
    return count


@njit(cache=True, error_model="numpy")
def _raise_to(least, inlet, best, best_inlet):
    """Note an inlet wherever it is better than the best before it; a tie keeps the lower number."""
    for s in range(len(least)):
        best_inlet[s] = inlet if least[s] > best[s] else best_inlet[s]
        best[s] = least[s] if least[s] > best[s] else best[s]


@njit(cache=True, parallel=True, error_model="numpy")
def look_at_pairs(behind, patches, needed, decides, counts, allowed, rows, numbers, found, by_c):
    """Every inlet with some exits in all worlds; each pass of the loop writes for one exit alone.

    Parameters
    ----------
    behind : (n_inlets, n_conditions, n_samples) float32, Pa
    patches : (n_exits, n_conditions, n_samples) float32, Pa
    needed : (n_conditions, n_samples) float32, Pa, above 0 where the condition decides
    decides : (n_conditions,) bool
    counts : (n_conditions,) bool, those in which a reversal is told
    allowed : (n_inlets, n_exits) bool, pairs that may be the best of a world
    rows : (3, n_exits, n_samples) float32, room for two rows; into the third go the largest least
        ratios of each exit, -inf where it has no pair
    numbers : (n_exits, n_samples) int32, out: inlets of these, -1 without
    found : (4, n_inlets, n_exits) float64, out: mean and deviation of the least ratio, parts of the
        worlds where it reaches 1 and where the flow reverses in a condition that counts
    by_c : (2, n_conditions, n_inlets, n_exits) float64, out: parts of the worlds with reversed flow
        and with enough pressure
    """
    n_samples = needed.shape[1]
    for e in prange(len(patches)):
        least, lowest, best, best_inlet = rows[0, e], rows[1, e], rows[2, e], numbers[e]
        best[:], best_inlet[:] = -np.inf, -1
        for i in range(len(behind)):
            least[:], lowest[:] = np.inf, np.inf
            for c in range(len(needed)):
                drawn, patch, need = behind[i, c], patches[e, c], needed[c]
                by_c[0, c, i, e], by_c[1, c, i, e] = _parts_below(drawn, patch, need)
                if counts[c]:
                    _lower_to_available(drawn, patch, lowest)
                if decides[c]:
                    _lower_to_ratio(drawn, patch, need, least)
            found[0, i, e], found[1, i, e] = _mean_and_deviation(least)
            found[2, i, e] = (n_samples - _count_below(least, np.float32(1.0))) / n_samples
            found[3, i, e] = _count_below(lowest, np.float32(0.0)) / n_samples
            if allowed[i, e]:
                _raise_to(least, i, best, best_inlet)


@njit(cache=True, parallel=True, error_model="numpy")
def keep_best(best, best_inlet, first, n_exits, ratio, pair):
    """Best pair of every world, of those before and some exits more; ties go to the lowest number.

    Parameters
    ----------
    best, best_inlet : (n_some, n_samples) float32 and int32, from `look_at_pairs`
    first : number of the first of these exits
    n_exits : number of all exits; a pair has the number inlet * n_exits + exit
    ratio, pair : (n_samples,) float32 and int64, in and out; -inf and -1 to begin with
    """
    for s in prange(len(ratio)):
        for e in range(len(best)):
            number = np.int64(best_inlet[e, s]) * n_exits + first + e
            better = best[e, s] > ratio[s]
            if better or (best[e, s] == ratio[s] and best_inlet[e, s] >= 0 and number < pair[s]):
                ratio[s], pair[s] = best[e, s], number
