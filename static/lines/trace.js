/* What to try first where one part of a dead line is to blame: service/lines/core/trace.py in the browser, by the same
   recursion over all sets of suspects, as bits of a number. */

export const MOST_PARTS = 16;

/* The first step of the plan of least expected time, for `parts` {weight, swap_s} from the source to the mixer, and
   `listen` with the seconds to listen between part j and j + 1, at j, where one can: {expected_s, worst_s} and either
   {bypass: true}, {listen: j}, or {swap: k} for the k-th part, counted from 0. */
export function trace(parts, listen, bypass) {
  const sets = 1 << parts.length, time = new Float64Array(sets), weight = new Float64Array(sets), choice = new Int8Array(sets);
  const joints = parts.map((_, a) => parts.map((__, b) => cheapest(listen, a, b)));
  for (let suspects = 1; suspects < sets; suspects += 1) {
    const last = 31 - Math.clz32(suspects);
    weight[suspects] = parts[last].weight + weight[suspects ^ 1 << last];
  }
  for (let suspects = 1; suspects < sets; suspects += 1) {
    const all = weight[suspects];
    let least = bypass * all, chosen = -1, before = 0, last = -1;
    for (let left = suspects; left;) {
      const lowest = left & -left, at = 31 - Math.clz32(lowest), swap = parts[at].swap_s * all + time[suspects ^ lowest];
      if (swap < least) [least, chosen] = [swap, MOST_PARTS + at];
      if (before) {
        const [seconds, joint] = joints[last][at], heard = seconds * all + time[before] + time[left];
        if (heard < least) [least, chosen] = [heard, joint];
      }
      before |= lowest;
      left ^= lowest;
      last = at;
    }
    time[suspects] = least;
    choice[suspects] = chosen;
  }

  function worst(suspects) {
    const chosen = choice[suspects];
    if (chosen < 0) return bypass;
    if (chosen < MOST_PARTS) {
      const before = suspects & ((1 << chosen) - 1);
      return joints[chosen - 1][chosen][0] + Math.max(worst(before), worst(suspects ^ before));
    }
    const others = suspects ^ 1 << chosen - MOST_PARTS;
    return parts[chosen - MOST_PARTS].swap_s + (others ? worst(others) : 0);
  }

  const whole = sets - 1, chosen = choice[whole];
  const step = chosen < 0 ? { bypass: true } : chosen < MOST_PARTS ? { listen: chosen } : { swap: chosen - MOST_PARTS };
  return { ...step, expected_s: time[whole] / weight[whole], worst_s: worst(whole) };
}

/* The seconds and the joint that is the cheapest between the suspects a and b, where those between them are cleared. */
function cheapest(listen, a, b) {
  let least = [Infinity, 0];
  for (let joint = a + 1; joint <= b; joint += 1) if ((listen[joint] ?? Infinity) < least[0]) least = [listen[joint], joint];
  return least;
}
