/* Which components are to blame for the channels that are dead: service/lines/core in the browser, exact in the same way,
   with floating-point numbers in place of 30 digits. Sets are whole numbers without limit, a bit for each member. */

const MOST_CASES = 30_000; // more are refused
const STEP = 1e-12; // what logarithms are rounded to, so that sums of them are exact
const NEAR = Math.round(1e-9 / STEP); // sets of causes this near to each other are equally probable

export class Contradiction extends Error {}

const first = (/** @type {bigint} */ mask) => mask & -mask;
const number = (/** @type {bigint} */ bit) => bit.toString(2).length - 1;
const count = (/** @type {bigint} */ mask) => { let many = 0; for (let left = mask; left; left &= left - 1n) many += 1; return many; };
function* bits(/** @type {bigint} */ mask) { for (let left = mask; left; left &= left - 1n) yield number(first(left)); }
const product = (numbers) => numbers.reduce((all, one) => all * one, 1);
const byName = (one, other) => (one < other ? -1 : Number(one > other));

/* What lines tell of components. `probabilities` has that of each name to be bad before, `lines` are {through, heard}
   with names and "good", "dead" or anything else. The answer has the `evidence`, how probably each is `bad`, and the most
   probable `explanation` with its `share`.

   Throws a Contradiction where a line is dead though all that it goes through was heard good, or where too much hangs
   together. */
export function blame(probabilities, lines) {
  const cleared = new Set(lines.filter((line) => line.heard === "good").flatMap((line) => line.through));
  const dead = lines.filter((line) => line.heard === "dead").map((line) => new Set(line.through.filter((name) => !cleared.has(name))));
  if (dead.some((names) => !names.size)) throw new Contradiction("All that a dead channel goes through was heard good");
  const groups = groupsOf(dead, probabilities), { whole, cases } = casesOf(groups), sums = new Map();
  for (const each of cases) {
    const group = groups[each.group];
    each.bad = product([group.bad, ...each.ifBad.map((part) => sums.get(part))]);
    each.good = each.ifGood ? product([group.good, ...each.ifGood.map((part) => sums.get(part))]) : 0;
    sums.set(each.part, each.bad + each.good);
  }
  const evidence = product(whole.map((part) => sums.get(part))), names = Object.keys(probabilities);
  const bad = Object.fromEntries(names.map((name) => [name, cleared.has(name) ? 0 : probabilities[name]]));
  Object.assign(bad, after(groups, whole, cases, sums, probabilities));
  const explanation = explained(groups, whole, cases, probabilities), chosen = new Set(explanation);
  const truth = product(names.filter((name) => !cleared.has(name)).map((name) => (chosen.has(name) ? probabilities[name] : 1 - probabilities[name])));
  return { evidence: evidence * product([...cleared].map((name) => 1 - probabilities[name])), bad, explanation, share: truth / evidence };
}

/* Components that occur in the same dead lines, as {members, bad, good, lines}, those that are decided first before others. A
   line that is dead whenever another is says nothing more. */
function groupsOf(dead, probabilities) {
  const kept = [];
  for (const names of [...dead].sort((one, other) => one.size - other.size)) {
    if (!kept.some((other) => [...other].every((name) => names.has(name)))) kept.push(names);
  }
  const occurs = new Map(), members = new Map();
  kept.forEach((names, line) => { for (const name of names) occurs.set(name, (occurs.get(name) ?? 0n) | 1n << BigInt(line)); });
  for (const name of [...occurs.keys()].sort(byName)) members.set(occurs.get(name), [...(members.get(occurs.get(name)) ?? []), name]);
  return ordered([...members.keys()]).map((lines) => {
    let bad = 0, good = 1;
    for (const name of members.get(lines)) [bad, good] = [bad + good * probabilities[name], good * (1 - probabilities[name])];
    return { members: members.get(lines), bad, good, lines };
  });
}

/* Whoever shares lines with the fewest others goes last. */
function ordered(masks) {
  const ascending = (one, other) => count(one) - count(other) || (one < other ? -1 : 1);
  const shared = masks.filter((mask) => count(mask) > 1).sort(ascending);
  /** @type {bigint[]} */
  const neighbors = shared.map((mask, at) => shared.reduce((all, other, j) => (j !== at && mask & other ? all | 1n << BigInt(j) : all), 0n));
  const last = masks.filter((mask) => count(mask) === 1).sort(ascending), left = new Set(shared.keys());
  while (left.size) {
    const chosen = [...left].reduce((best, at) => (count(neighbors[at]) < count(neighbors[best]) ? at : best));
    left.delete(chosen);
    for (const at of bits(neighbors[chosen])) neighbors[at] = (neighbors[at] | neighbors[chosen]) & ~(1n << BigInt(at) | 1n << BigInt(chosen));
    last.push(shared[chosen]);
  }
  return last.reverse();
}

/* All cases of the groups, each after what it leads to: a part of what is dead with its first group decided. A part is the
   lines that are dead of something undecided and the undecided groups through them, as text. */
function casesOf(/** @type {{lines: bigint}[]} */ groups) {
  /** @type {bigint[]} */
  const through = [];
  groups.forEach(({ lines }, at) => { for (const line of bits(lines)) through[line] = (through[line] ?? 0n) | 1n << BigInt(at); });

  function reached(/** @type {bigint} */ lines, /** @type {bigint} */ undecided) {
    let all = first(lines), ahead = all, among = 0n;
    while (ahead) {
      const line = first(ahead), fresh = through[number(line)] & undecided & ~among;
      ahead ^= line;
      among |= fresh;
      for (const at of bits(fresh)) {
        const more = groups[at].lines & lines & ~all;
        all |= more;
        ahead |= more;
      }
    }
    return { lines: all, groups: among };
  }

  /* What lines and groups fall into, or null where a line has no group left. */
  function parts(/** @type {bigint} */ lines, /** @type {bigint} */ undecided) {
    const made = [];
    for (let left = lines; left;) {
      const one = reached(left, undecided);
      if (!one.groups) return null;
      made.push(one);
      left ^= one.lines;
    }
    return made;
  }

  const key = (part) => `${part.lines} ${part.groups}`, found = new Map();
  const whole = parts((1n << BigInt(through.length)) - 1n, (1n << BigInt(groups.length)) - 1n), pending = [...whole];
  while (pending.length) {
    const part = pending.pop(), name = key(part);
    if (found.has(name)) continue;
    if (found.size >= MOST_CASES) throw new Contradiction("What is to blame hangs together too much");
    const decided = first(part.groups), group = number(decided), others = part.groups ^ decided;
    const ifBad = parts(part.lines & ~groups[group].lines, others), ifGood = parts(part.lines, others);
    const freed = ifBad.reduce((left, one) => left ^ one.groups, others);
    found.set(name, { part: name, left: count(part.groups), group, freed, ifBad: ifBad.map(key), ifGood: ifGood && ifGood.map(key) });
    pending.push(...ifBad, ...(ifGood ?? []));
  }
  return { whole: whole.map(key), cases: [...found.values()].sort((one, other) => one.left - other.left) };
}

/* How probably each member of a group is bad, given that all lines are dead. */
function after(groups, whole, cases, sums, probabilities) {
  const reached = new Map(whole.map((part) => [part, 1])), decided = groups.map(() => 0), freed = groups.map(() => 0);
  const reach = (part, share) => reached.set(part, (reached.get(part) ?? 0) + share);
  for (const each of [...cases].reverse()) {
    const share = (reached.get(each.part) * each.bad) / sums.get(each.part);
    decided[each.group] += share;
    for (const part of each.ifBad) reach(part, share);
    for (const at of bits(each.freed)) freed[at] += share;
    for (const part of each.ifGood ?? []) reach(part, (reached.get(each.part) * each.good) / sums.get(each.part));
  }
  return Object.fromEntries(groups.flatMap((group, at) => (
    group.members.map((name) => [name, probabilities[name] * (decided[at] / group.bad + freed[at])])
  )));
}

/* The most probable set of bad components. A choice is its log odds in steps and its turn in a tie, the lower the better. */
function explained(groups, whole, cases, probabilities) {
  const names = groups.flatMap((group) => group.members).sort(byName), each = 1n << BigInt(names.length);
  const rank = new Map(names.map((name, at) => [name, 1n << BigInt(names.length - 1 - at)]));
  const odds = (name) => Math.round((Math.log(probabilities[name]) - Math.log1p(-probabilities[name])) / STEP);
  const ofGroup = groups.map((group) => best(group.members.map((name) => ({ odds: odds(name), turn: each - rank.get(name) }))));
  const chosen = new Map(), joint = (factors) => factors.reduce(both, [{ odds: 0, turn: 0n }]);
  for (const one of cases) {
    const ifBad = joint([ofGroup[one.group], ...one.ifBad.map((part) => chosen.get(part))]);
    chosen.set(one.part, one.ifGood ? best([...ifBad, ...joint(one.ifGood.map((part) => chosen.get(part)))]) : ifBad);
  }
  const { turn } = joint(whole.map((part) => chosen.get(part))).at(-1), ranks = (each - (turn % each)) % each;
  return names.filter((name) => ranks & rank.get(name));
}

const both = (some, others) => best(some.flatMap((one) => others.map((other) => ({ odds: one.odds + other.odds, turn: one.turn + other.turn }))));

/* Those choices that may be part of the best set of all: near the most probable one, and earlier in a tie than what is more
   probable. */
function best(choices) {
  const sorted = [...choices].sort((one, other) => other.odds - one.odds || (one.turn < other.turn ? -1 : 1)), kept = [];
  for (const choice of sorted) {
    if (choice.odds < sorted[0].odds - NEAR) break;
    if (!kept.length || choice.turn < kept.at(-1).turn) kept.push(choice);
  }
  return kept;
}
