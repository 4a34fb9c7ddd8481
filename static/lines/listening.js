/* How each channel of a line check stands by what this phone logged since the service last told: service/lines/checks/core/listening.py
   and actions.py for the entries of one phone. */

export const HEARD = "/api/v1/heard", CAUSES = "/api/v1/causes", SWAPS = "/api/v1/swaps";

/* By the id of each channel {heard, sounds_as, again, disputed}. `channels` are as the service told them, `entries` are {url, body} that
   it may not have had then, and `codes` has the codes of each channel's items. A channel about which something was done is to be listened to again. */
export function standings(channels, entries, codes = {}) {
  const now = Object.fromEntries(channels.map((one) => [one.channel, { ...one, heard: one.heard ?? "" }]));
  const again = (id) => { if (now[id]) now[id] = { heard: "", sounds_as: null, again: true, disputed: false }; };
  for (const { url, body } of [...entries].sort((one, other) => Date.parse(one.body.at) - Date.parse(other.body.at))) {
    if (url === HEARD) now[body.channel] = { heard: body.heard, sounds_as: body.sounds_as ?? null, again: false, disputed: false };
    else if (url === CAUSES) again(body.channel);
    else if (url === SWAPS) Object.keys(codes).filter((id) => codes[id].includes(body.bad)).forEach(again);
  }
  return now;
}

/* The codes of the items of each channel, by its id. */
export function codesOf(pack) {
  const codes = (channel) => channel.parts.flatMap((part) => part.keys.map((key) => pack.components[key].code)).filter(Boolean);
  return Object.fromEntries((pack.channels ?? []).map((channel) => [channel.id, codes(channel)]));
}

/* The package after swaps: what it says of an item it says of the spare that replaced it, which has another code. */
export function withSwaps(pack, entries) {
  const swaps = entries.filter(({ url }) => url === SWAPS);
  if (!swaps.length) return pack;
  return JSON.parse(swaps.reduce((text, { body }) => text.replaceAll(body.bad, body.spare), JSON.stringify(pack)));
}
