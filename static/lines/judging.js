/* What a line check tells, worked out on the phone from what it keeps of the check (service/lines/checks/core/package.py):
   service/lines/checks/core/judging.py and tracing.py with the same answers. `sounds` has {heard, sounds_as} by channel. */

import { blame, Contradiction } from "./blame.js";
import { MOST_PARTS, trace } from "./trace.js";

const LEAST_SHOWN = 0.01; // what is less probably bad is not shown

const keysOf = (channel) => channel.parts.flatMap((part) => part.keys);
const rated = (pack, left = (_key) => true) => Object.fromEntries(
  Object.entries(pack.components).filter(([key]) => left(key)).map(([key, { probability }]) => [key, probability]),
);

export const isDead = (channel, sounds) => sounds[channel.id]?.heard === "dead";

/* What is to blame for what is dead: {blamed: [{key, bad, channels}], explanation: [key], share, problem, crossed: [sentence]}. */
export function judged(pack, sounds) {
  const crossed = crossings(pack, sounds), dead = pack.channels.filter((channel) => isDead(channel, sounds));
  const nothing = { blamed: [], explanation: [], share: 1, problem: "", crossed };
  if (!dead.length) return nothing;
  let answer;
  try {
    answer = blame(rated(pack), lines(pack, sounds));
  } catch (error) {
    if (error instanceof Contradiction) return { ...nothing, problem: error.message };
    throw error;
  }
  const blamed = Object.entries(answer.bad).filter(([, bad]) => bad >= LEAST_SHOWN)
    .map(([key, bad]) => ({ key, bad, channels: dead.filter((channel) => keysOf(channel).includes(key)).map((channel) => channel.number) }))
    .filter(({ channels }) => channels.length)
    .sort((one, other) => other.bad - one.bad || (one.key < other.key ? -1 : 1));
  return { ...nothing, blamed, explanation: answer.explanation, share: answer.share };
}

/* The lines as `blame` takes them: channels that are exchanged among themselves work, and count as good. */
function lines(pack, sounds) {
  return pack.channels.map((channel) => {
    const { heard } = sounds[channel.id] ?? {};
    return { through: keysOf(channel), heard: heard === "good" || ring(channel.id, sounds) ? "good" : heard };
  });
}

/* The channels whose sounds come back to this one in the end, itself first; null where they do not. */
function ring(id, sounds) {
  const next = (one) => (sounds[one]?.heard === "crossed" ? sounds[one].sounds_as : null), all = [id];
  for (let at = next(id); at; at = next(at)) {
    if (at === id) return all;
    if (all.includes(at)) return null;
    all.push(at);
  }
  return null;
}

/* The next thing to try on a dead channel, where the parts with the numbers in `cleared` are no suspects any more: {doing,
   sentence, bring, place, left_s, worst_s, part, if_good, if_dead}.

   Throws a Contradiction as `blame`. */
export function nextThing(pack, channel, sounds, cleared) {
  const weights = alone(pack, channel, sounds);
  const parts = channel.parts.map((part, at) => ({ ...part, number: at, weight: part.keys.reduce((sum, key) => sum + (weights[key] ?? 0), 0) }));
  const suspects = parts.filter((part) => part.weight > 0 && !cleared.includes(part.number))
    .sort((one, other) => other.weight - one.weight).slice(0, MOST_PARTS).sort((one, other) => one.number - other.number);
  const words = ([sentence, bring]) => ({ sentence, bring });
  if (!suspects.length) return { doing: "nothing", ...words(channel.nothing), place: "", left_s: 0, worst_s: 0, if_dead: [] };
  const at = {};
  suspects.slice(1).forEach((after, joint) => {
    const between = parts.slice(suspects[joint].number, after.number).find((part) => part.listen);
    if (between) at[joint + 1] = between;
  });
  const { listen_s: listen, bypass_s: one } = pack.times, bypass = one * pack.channels.filter((each) => isDead(each, sounds)).length; // one for each
  const plan = trace(suspects, Object.fromEntries(Object.keys(at).map((joint) => [joint, listen])), bypass);
  const spent = { left_s: plan.expected_s, worst_s: plan.worst_s }, before = [...cleared].sort((one, other) => one - other);
  if (plan.bypass) return { doing: "bypass", ...words(channel.bypass), place: channel.place, ...spent, if_dead: [] };
  if (plan.listen) {
    const part = at[plan.listen], numbers = suspects.map(({ number }) => number);
    return {
      doing: "listen", ...words(part.listen), place: part.place, ...spent, part,
      if_good: [...before, ...numbers.slice(0, plan.listen)], if_dead: [...before, ...numbers.slice(plan.listen)],
    };
  }
  const part = suspects[plan.swap];
  return { doing: "swap", ...words(part.swap), place: part.place, ...spent, part, if_good: null, if_dead: [...before, part.number] };
}

/* Of each component of a dead channel: a weight in proportion to how probably it alone of the line is bad. */
function alone(pack, channel, sounds) {
  const checked = lines(pack, sounds), mine = keysOf(channel), weights = {};
  blame(rated(pack), checked); // throws what cannot be
  for (const key of mine) {
    const rest = new Set(mine.filter((other) => other !== key)), left = (name) => !rest.has(name);
    const heard = checked.map((line) => ({ ...line, through: line.through.filter(left) })).filter((line) => line.through.length || line.heard === "dead");
    try {
      const odds = blame(rated(pack, left), heard).evidence / (1 - pack.components[key].probability);
      weights[key] = Number(odds.toPrecision(12)); // what is equally probable stays so, and the part nearer to the source is first
    } catch (error) {
      if (!(error instanceof Contradiction)) throw error; // this one cannot be it alone
    }
  }
  return weights;
}

/* A sentence for each set of channels that sound on each other's keys. */
function crossings(pack, sounds) {
  const named = new Map(pack.channels.map((channel) => [channel.id, channel])), listed = new Set(), sentences = [];
  for (const channel of pack.channels) {
    if (sounds[channel.id]?.heard !== "crossed" || listed.has(channel.id)) continue;
    const round = (ring(channel.id, sounds) ?? []).map((id) => named.get(id)).filter(Boolean), other = named.get(sounds[channel.id].sounds_as);
    if (round.length > 1) {
      for (const one of round) listed.add(one.id);
      const keys = [...round].sort((one, another) => one.number - another.number).map((one) => one.title).join(" and ");
      sentences.push(`${keys} sound on each other's keys. Nothing of theirs is dead: plugs are exchanged. ${where(round)}`);
    } else if (other) {
      sentences.push(`The key of ${channel.title} has the sound of ${other.title}. Listen to ${other.title} too. ${where([channel, other])}`);
    }
  }
  return sentences;
}

/* Where plugs of these channels can be exchanged: where their lines enter the same item, or the mixer. */
function where(round) {
  const [first, ...others] = round;
  const shared = first.items.filter((item) => others.every((channel) => channel.items.some(({ id }) => id === item.id)));
  return `Look where their plugs are side by side: ${[...shared.map((item) => item.name), "the mixer"].join(", ")}.`;
}
